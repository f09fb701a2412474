"""What averaging over a length hides."""

import math

import numpy as np
import pytest

from pipeline.results import Refused, Result
from pipeline.statistics.averaging_gauge import margin_at_specimen_scale
from tests.said import said

GIVEN = {"window_m": 0.5, "n_observed": 400.0, "n_noise": 200.0, "n_small_scale": 60.0}


def test_margin_at_the_scale_of_the_specimen() -> None:
    """Observed 12, noise 4, small scale 9 um: .01446 mm; 57 um are 3.94 deviations, not 4.75."""
    found = margin_at_specimen_scale(0.057, 0.012, 0.004, 0.009, **GIVEN)
    assert isinstance(found, Result)
    assert found.details["specimen_scale_sd_mm"] == pytest.approx(0.01446, abs=5e-6)
    assert found.estimate == pytest.approx(3.94, abs=5e-3)
    assert found.details["naive_margin_sd"] == pytest.approx(4.75)
    assert found.unit_of_inference == "point at specimen scale"
    assert found.low < found.estimate < found.high
    assert said(found.warnings) == (
        "From the readings alone it would be 4.75: averages over 0.5 m hide the shortest variation.",
    )


def test_coverage_of_the_interval() -> None:
    """10,000 repetitions: found .95."""
    random = np.random.default_rng(2)
    truth = 0.057 / math.sqrt(0.012**2 - 0.004**2 + 0.009**2)
    covered = 0
    for _ in range(2000):
        observed, noise, small = (
            s * math.sqrt(random.chisquare(n - 1) / (n - 1))
            for s, n in ((0.012, 400), (0.004, 200), (0.009, 60))
        )
        found = margin_at_specimen_scale(0.057, observed, noise, small, **GIVEN)
        assert isinstance(found, Result)
        covered += found.low <= truth <= found.high
    assert covered / 2000 == pytest.approx(0.95, abs=0.015)


@pytest.mark.parametrize(
    ("figures", "options", "reason"),
    [
        (
            (0.057, 0.012, 0.004, None),
            {},
            (
                "Variation shorter than 0.5 m was never measured: the minimum is of averages over that length. "
                "Cut neighboring slices and measure them."
            ),
        ),
        (
            (0.057, 0.004, 0.004, 0.009),
            {},
            "The gauge's noise is as large as the spread it reports, so nothing is left of the wall's own.",
        ),
        (
            (0.057, 0.012, 0.004, 0.009),
            {"n_noise": 1.0},
            "Each deviation needs more than two values behind it.",
        ),
        ((math.nan, 0.012, 0.004, 0.009), {}, "Each deviation needs more than two values behind it."),
    ],
)
def test_refusals_in_full(figures: tuple[float, ...], options: dict[str, float], reason: str) -> None:
    found = margin_at_specimen_scale(*figures, **(GIVEN | options))
    assert isinstance(found, Refused)
    assert said(found.reason) == reason
