"""Circle fits and roundness against published fits."""

import numpy as np
import pytest
from worked_cases import column, printed

from pipeline.results import Refused
from pipeline.wall.circle_fit import circle_by_distance, circle_by_linear_fit, roundness
from pipeline.wall.harmonics import section


def test_coopes_eight_points() -> None:
    """I.D. Coope, J. Optim. Theory Appl. 76 (1993) 381-388: total and linear least squares."""
    x, y = column("CRC-02", "x"), column("CRC-02", "y")
    answers = printed("CRC-02-answers")
    for short, fit in (("TLS", circle_by_distance), ("LLS", circle_by_linear_fit)):
        circle = fit(x, y)
        assert not isinstance(circle, Refused)
        for name, value in (
            ("centre x", circle.x_mm),
            ("centre y", circle.y_mm),
            ("radius", circle.radius_mm),
        ):
            wanted, half = answers[f"{short} {name}"]
            assert value == pytest.approx(wanted, abs=half)


def test_first_harmonic_of_a_round_trace() -> None:
    """NIST/SEMATECH e-Handbook 2.3.4.4, formulae; the numbers are constructed: R 10, e 0.3 at 40 degrees."""
    angles, radii = np.radians(column("CRC-03", "theta_deg")), column("CRC-03", "r")
    radius, a, b, away = roundness(angles, radii)
    assert radius == pytest.approx(10.0, abs=5e-9)
    assert np.hypot(a, b) == pytest.approx(0.3, abs=5e-9)
    assert np.degrees(np.arctan2(b, a)) == pytest.approx(40.0, abs=5e-7)
    second = section(radii, orders=2)
    assert second is not None
    assert second.mean_wall_mm == pytest.approx(radius)
    assert (second.ecc_cos_mm, second.ecc_sin_mm) == pytest.approx((a, b))
    assert np.ptp(away) == pytest.approx(0.1, abs=1e-8)


@pytest.mark.parametrize("points", [([0.0, 1.0], [0.0, 1.0]), ([0.0, 1.0, 2.0], [0.0, 1.0, 2.0])])
def test_too_few_points_and_points_on_a_line_are_refused(points: tuple[list[float], list[float]]) -> None:
    x, y = (np.array(one) for one in points)
    for fit in (circle_by_linear_fit, circle_by_distance):
        refused = fit(x, y)
        assert isinstance(refused, Refused)
        assert refused.reason == "A circle needs at least three points that do not lie on one line."
