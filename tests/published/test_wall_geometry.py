"""The wall's first harmonic against a constructed round trace."""

import numpy as np
import pytest
from worked_cases import column

from tests.wall.one_section import section


def test_first_harmonic_of_a_round_trace() -> None:
    """NIST/SEMATECH e-Handbook 2.3.4.4, formulae; the numbers are constructed: R 10, e 0.3 at 40 degrees."""
    found = section(column("CRC-03", "r"), orders=2)
    assert found is not None
    assert found.mean_wall_mm == pytest.approx(10.0, abs=5e-9)
    assert np.hypot(found.ecc_cos_mm, found.ecc_sin_mm) == pytest.approx(0.3, abs=5e-9)
    assert np.degrees(np.arctan2(found.ecc_sin_mm, found.ecc_cos_mm)) == pytest.approx(40.0, abs=5e-7)
