"""Eccentric circles: the closed forms against rays cast numerically, and the worked numbers."""

import numpy as np
import pytest
from scipy import integrate, optimize

from pipeline.wall import eccentric_circles as circles
from pipeline.wall import mass

R, r = 1.295, 0.814  # illustrative: 14 AWG solid, r from memory
ANGLES = np.radians(np.arange(0.0, 360.0, 1.0))


def cast(origin: np.ndarray, direction: np.ndarray, centre: np.ndarray, radius: float) -> float:
    """Distance along a ray to a circle, by root finding."""
    return optimize.brentq(
        lambda d: np.hypot(*(origin + d * direction - centre)) - radius, 0.0, 10.0, xtol=1e-14
    )


@pytest.mark.parametrize("e", [0.0, 0.010, 0.060, 0.200])
def test_walls_along_rays_equal_rays_cast_numerically(e: float) -> None:
    outside, conductor = np.zeros(2), np.array([e, 0.0])  # thin side at angle 0
    from_c = circles.wall_seen_from_conductor_mm(R, r, e, ANGLES)
    from_o = circles.wall_seen_from_outside_centre_mm(R, r, e, ANGLES)
    for angle, seen_c, seen_o in zip(ANGLES, from_c, from_o, strict=True):
        ray = np.array([np.cos(angle), np.sin(angle)])
        assert seen_c == pytest.approx(cast(conductor, ray, outside, R) - r, abs=1e-12)
        assert seen_o == pytest.approx(R - cast(outside, ray, conductor, r), abs=1e-12)


@pytest.mark.parametrize("e", [0.010, 0.060, 0.200])
def test_shortest_walls_equal_the_least_distance_to_a_dense_outline(e: float) -> None:
    dense = np.radians(np.arange(0.0, 360.0, 0.01))
    outline_o = R * np.stack([np.cos(dense), np.sin(dense)])
    outline_c = r * np.stack([np.cos(dense), np.sin(dense)]) + np.array([[e], [0.0]])
    from_c = circles.shortest_wall_from_conductor_mm(R, r, e, ANGLES)
    from_o = circles.shortest_wall_from_outside_mm(R, r, e, ANGLES)
    for number in range(0, 360, 15):
        ray = np.array([np.cos(ANGLES[number]), np.sin(ANGLES[number])])
        on_conductor, on_outside = r * ray + [e, 0.0], R * ray
        assert from_c[number] == pytest.approx(np.hypot(*(outline_o - on_conductor[:, None])).min(), abs=1e-7)
        assert from_o[number] == pytest.approx(np.hypot(*(outline_c - on_outside[:, None])).min(), abs=1e-7)


def test_all_four_agree_on_thinnest_and_thickest() -> None:
    for wall in (
        circles.wall_seen_from_conductor_mm,
        circles.wall_seen_from_outside_centre_mm,
        circles.shortest_wall_from_conductor_mm,
        circles.shortest_wall_from_outside_mm,
    ):
        thin, thick = wall(R, r, 0.06, np.array([0.0, np.pi]))
        assert thin == pytest.approx(R - r - 0.06, abs=1e-12)
        assert thick == pytest.approx(R - r + 0.06, abs=1e-12)


def test_error_of_the_first_harmonic_model() -> None:
    """Derived: 1.39 um and 2.21 um for 14 AWG solid, 60 um off centre, against the exact walls."""
    model = (R - r) - 0.06 * np.cos(ANGLES)
    errors = {
        wall.__name__: 1e3 * np.abs(wall(R, r, 0.06, ANGLES) - model).max()
        for wall in (
            circles.wall_seen_from_conductor_mm,
            circles.wall_seen_from_outside_centre_mm,
            circles.shortest_wall_from_conductor_mm,
            circles.shortest_wall_from_outside_mm,
        )
    }
    assert list(errors.values()) == pytest.approx([1.3907, 2.2143, 2.2113, 1.3900], abs=5e-4)
    assert circles.first_harmonic_error_mm(R, r, 0.06) == pytest.approx(0.0022113, abs=1e-7)
    assert max(errors.values()) <= 1e3 * circles.first_harmonic_error_mm(R, r, 0.06) * 1.01


def test_mean_wall_by_the_elliptic_integral() -> None:
    """Derived and integrated: 0.4803047 against the series 0.4803050."""
    exact = circles.mean_wall_seen_from_conductor_mm(R, r, 0.06)
    summed, _ = integrate.quad(
        lambda a: float(circles.wall_seen_from_conductor_mm(R, r, 0.06, np.array(a))), 0, 2 * np.pi
    )
    assert exact == pytest.approx(summed / (2 * np.pi), abs=1e-12)
    assert exact == pytest.approx(0.4803047393, abs=1e-9)
    assert R - r - 0.06**2 / (4 * R) == pytest.approx(0.4803050193, abs=1e-9)


def test_area_does_not_depend_on_the_offset() -> None:
    """Area by integrating the exact wall over the angle, against pi (R^2 - r^2) = 3.186923 mm2."""
    for e in (0.0, 0.06, 0.3):
        reach = lambda a, e=e: r + float(circles.wall_seen_from_conductor_mm(R, r, e, np.array(a)))  # noqa: E731
        area = integrate.quad(lambda a, reach=reach: 0.5 * (reach(a) ** 2 - r**2), 0, 2 * np.pi)[0]
        assert area == pytest.approx(circles.wall_area_mm2(R, r), abs=1e-9)
    assert circles.wall_area_mm2(R, r) == pytest.approx(3.186923, abs=5e-7)


def test_mass_of_the_worked_wire() -> None:
    """Derived by hand: 0.44 against 0.40 mm wall is 0.4187 kg/km; 10.6 g/km per um, 153 for the large wire."""
    heavy = mass.mass_kg_km(mass.insulation_area_mm2(0.44, 2 * r), 1.35)
    light = mass.mass_kg_km(mass.insulation_area_mm2(0.40, 2 * r), 1.35)
    assert heavy == pytest.approx(3.8591, abs=5e-5)
    assert light == pytest.approx(3.4404, abs=5e-5)
    assert heavy - light == pytest.approx(40 * mass.mass_per_um_g_km(0.42, 2 * r, 1.35) / 1000, rel=1e-12)
    assert mass.mass_per_um_g_km(0.44, 2 * r, 1.35) == pytest.approx(10.6368, abs=5e-5)
    assert mass.mass_per_um_g_km(2.79, 29.2, 1.4) == pytest.approx(152.97, abs=0.01)


def test_valleys_of_a_seven_wire_strand() -> None:
    """Derived; and by counting points: 1.328915 mm2 for wires of 1 mm."""
    assert mass.strand_valleys_mm2(6, 1.0, 1.0) == pytest.approx(1.328915, abs=5e-7)
    rng = np.random.default_rng(5)
    points = rng.uniform(-1.5, 1.5, (2, 400_000))
    inside = np.hypot(*points) <= 1.5
    wires = [(0.0, 0.0)] + [(np.cos(k * np.pi / 3), np.sin(k * np.pi / 3)) for k in range(6)]
    metal = np.zeros(points.shape[1], dtype=bool)
    for x, y in wires:
        metal |= np.hypot(points[0] - x, points[1] - y) <= 0.5
    # The gaps inside, between the centre wire and the layer, are no valleys: they are not filled from outside.
    hexagon = np.hypot(*points) * np.cos((np.arctan2(points[1], points[0]) % (np.pi / 3)) - np.pi / 6)
    inner = hexagon < np.cos(np.pi / 6)
    counted = 9.0 * (inside & ~metal & ~inner).mean()
    assert counted == pytest.approx(1.328915, abs=0.01)


def test_no_offset_and_no_wall() -> None:
    assert circles.first_harmonic_error_mm(R, r, 0.0) == 0.0
    assert mass.insulation_area_mm2(0.0, 2 * r) == 0.0
    assert np.all(circles.wall_seen_from_conductor_mm(R, r, 0.0, ANGLES) == pytest.approx(R - r))
