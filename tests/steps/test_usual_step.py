"""The usual distance between readings, also of a counter so coarse that most of them share a place (derivation)."""

import numpy as np
import pytest

from pipeline.steps.evidence import usual_step_m


def test_a_fine_counter_has_its_median() -> None:
    assert usual_step_m(np.array([0.0, 0.5, 1.0, 1.5, 9.0])) == 0.5


@pytest.mark.parametrize("spacing", [0.1, 0.3, 0.44])
def test_a_coarse_counter_has_the_mean_without_gaps(spacing: float) -> None:
    at = np.floor(np.arange(5000) * spacing)
    at[3000:] += 400.0
    assert usual_step_m(at) == pytest.approx(spacing, rel=1e-2)


def test_readings_on_one_place_have_no_distance() -> None:
    assert usual_step_m(np.zeros(10)) == 0.0
