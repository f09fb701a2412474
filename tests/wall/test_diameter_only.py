"""What a diameter tells and what it does not; concentricity by its several names."""

import numpy as np
import pytest

from pipeline.results import Refused
from pipeline.wall.diameter_only import (
    minimum_wall_verdict,
)
from tests.said import said


def test_a_diameter_never_passes_a_minimum_wall() -> None:
    """The trap: a mean wall twice the limit still passes nothing; one under it certainly fails."""
    refused = minimum_wall_verdict(0.66, 0.002, 0.3302)
    assert isinstance(refused, Refused)
    assert said(refused.reason) == (
        "This line measures the diameter only, which stays the same however far the conductor sits off center: "
        "the thinnest wall cannot be known. Fit a wall gauge, or judge cut samples."
    )
    assert minimum_wall_verdict(0.3302 - 0.004, 0.002, 0.3302) == "fails"
    assert isinstance(minimum_wall_verdict(0.3302 - 0.003, 0.002, 0.3302), Refused)


def test_the_diameter_does_not_see_the_offset_nor_three_lobes() -> None:
    """Numerically: widths of the outline are the same for any offset, and for a three-lobed outline."""
    a = np.radians(np.arange(0, 360, 0.05))

    def width(rho: np.ndarray, at: float) -> float:
        x = rho * np.cos(a - at)
        return x.max() - x.min()

    round_outline = np.full(a.size, 1.3)
    # A body of constant width: support function 1.3 + 0.002 cos 3a, drawn from its support points.
    h, dh = 1.3 + 0.002 * np.cos(3 * a), -0.006 * np.sin(3 * a)
    x, y = h * np.cos(a) - dh * np.sin(a), h * np.sin(a) + dh * np.cos(a)
    for at in np.radians([0.0, 20.0, 45.0, 90.0]):
        assert width(round_outline, at) == pytest.approx(2.6, abs=1e-5)
        lobes = x * np.cos(at) + y * np.sin(at)
        assert lobes.max() - lobes.min() == pytest.approx(2.6, abs=1e-5)
