"""Mass of the insulation by hand."""

import pytest

from pipeline.wall import mass

r = 0.814  # illustrative: 14 AWG solid, from memory


def test_mass_of_the_worked_wire() -> None:
    """Derived by hand: 0.44 against 0.40 mm wall is 0.4187 kg/km; 10.6 g/km per um, 153 for the large wire."""
    heavy = mass.mass_kg_km(mass.insulation_area_mm2(0.44, 2 * r), 1.35)
    light = mass.mass_kg_km(mass.insulation_area_mm2(0.40, 2 * r), 1.35)
    assert heavy == pytest.approx(3.8591, abs=5e-5)
    assert light == pytest.approx(3.4404, abs=5e-5)
    assert heavy - light == pytest.approx(40 * mass.mass_per_um_g_km(0.42, 2 * r, 1.35) / 1000, rel=1e-12)
    assert mass.mass_per_um_g_km(0.44, 2 * r, 1.35) == pytest.approx(10.6368, abs=5e-5)
    assert mass.mass_per_um_g_km(2.79, 29.2, 1.4) == pytest.approx(152.97, abs=0.01)


def test_area_between_two_circles() -> None:
    assert mass.wall_area_mm2(1.295, r) == pytest.approx(3.186923, abs=5e-7)
    assert mass.insulation_area_mm2(0.0, 2 * r) == 0.0
