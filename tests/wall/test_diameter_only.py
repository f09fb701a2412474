"""What a diameter tells and what it does not; concentricity by its several names."""

import numpy as np
import pytest

from pipeline.results import Refused
from pipeline.wall.concentricity import FORMULAE, MINIMUM_OVER_MAXIMUM, figure_pct, relative_offset
from pipeline.wall.diameter_only import (
    axis_difference_mm,
    mean_wall_from_diameter_mm,
    minimum_wall_verdict,
    oval_from_axes,
)


def test_mean_wall_and_its_uncertainty() -> None:
    """By hand: uncertainties 4 um and 2 um of the two diameters give 2.236 um of wall."""
    found = mean_wall_from_diameter_mm(2.59, 1.628, 0.004, 0.002)
    assert not isinstance(found, Refused)
    assert found == pytest.approx((0.481, 0.0022361), abs=5e-8)


@pytest.mark.parametrize("conductor", [float("nan"), 0.0])
def test_an_unknown_conductor_refuses_the_mean_wall(conductor: float) -> None:
    refused = mean_wall_from_diameter_mm(2.59, conductor, 0.004, 0.002)
    assert isinstance(refused, Refused)
    assert refused.reason == (
        "The diameter of the conductor is not known: name the conductor in the run sheet, or fit a conductor "
        "gauge before the crosshead."
    )


def test_a_diameter_never_passes_a_minimum_wall() -> None:
    """The trap: a mean wall twice the limit still passes nothing; one under it certainly fails."""
    refused = minimum_wall_verdict(0.66, 0.002, 0.3302)
    assert isinstance(refused, Refused)
    assert refused.reason == (
        "This line measures the diameter only, which stays the same however far the conductor sits off centre: "
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


def test_two_axes_miss_part_of_an_oval() -> None:
    """Derived: 10 um of second harmonic at 20 degrees shows 30.6 um of its 40; at 45 degrees nothing."""
    assert 1e3 * axis_difference_mm(0.010, 20.0) == pytest.approx(30.642, abs=5e-4)
    assert axis_difference_mm(0.010, 45.0) == pytest.approx(0.0, abs=1e-12)


def test_three_axes_recover_the_oval() -> None:
    axes = np.array([0.0, 60.0, 120.0])
    read = 2 * (1.3 + 0.010 * np.cos(2 * np.radians(axes - 20.0)))
    found = oval_from_axes(read, axes)
    assert not isinstance(found, Refused)
    assert found == pytest.approx((2.6, 0.040, 20.0))
    for bad in (np.array([0.0, 90.0]), np.array([0.0, 90.0, 180.0])):
        refused = oval_from_axes(np.full(bad.size, 2.6), bad)
        assert isinstance(refused, Refused)
        assert refused.reason == (
            "Two fixed axes miss an oval at 45 degrees to them: three axes at different angles, or a gauge that "
            "turns, recover it."
        )


def test_the_words_for_concentricity_at_a_tenth_off_centre() -> None:
    """Formulae of MIL-DTL-8777F and MIL-DTL-25038J, and others from memory, at e/t = 0.10."""
    found = {name: figure_pct(0.5, 0.05, one) for name, one in FORMULAE.items()}
    assert found == pytest.approx(
        {
            "concentricity": 81.81818,
            "minimum over average": 90.0,
            "eccentricity": 10.0,
            "range over average": 20.0,
            "range over maximum": 18.181818,
        }
    )
    assert MINIMUM_OVER_MAXIMUM.formula == "100 t_min / t_max"
    assert all(one.formula and one.source for one in FORMULAE.values())


def test_conversions() -> None:
    """Derived: 70 % is e/t 0.1765, 90 % is 0.0526; E = (1 - C)/(1 + C) and back."""
    assert relative_offset(70.0) == pytest.approx(0.176471, abs=5e-7)
    assert relative_offset(90.0) == pytest.approx(0.052632, abs=5e-7)
    for c in (50.0, 70.0, 99.0, 100.0):
        assert figure_pct(1.0, relative_offset(c)) == pytest.approx(c)
    assert np.isnan(figure_pct(0.0, 0.0))
    assert np.isnan(figure_pct(float("nan"), 0.1))
