"""The construction sheet and the comparison: what stands on them, and what is said where nothing is known."""

import json
from datetime import date
from pathlib import Path

import pytest

from pipeline.errors import MethodRefusal
from pipeline.products.comparison import compare_constructions
from pipeline.products.concentricity import implied_concentricities, implied_concentricity_pct
from pipeline.products.construction_sheet import construction_sheet
from pipeline.products.json_form import as_json
from pipeline.products.layers import ring_area_mm2
from pipeline.products.limits import limits_in_force
from pipeline.products.product import find_product
from pipeline.products.ratings import ratings_of
from pipeline.products.source_standing import BLANK
from pipeline.products.stress import coaxial_field
from pipeline.sheets.plant_sheet import read_plant_sheet
from pipeline.wording.say import plain

ROOT = Path(__file__).parents[2]
PLANT = ROOT / "sample_runs" / "plant.toml"
DAY = date(2026, 3, 2)


def test_what_the_sheet_of_a_two_layer_wire_says() -> None:
    """4/0 AWG THHN by hand: pi/4 (15.94358^2 - 13.40358^2) = 58.545 mm2, x 1.40 = 81.96 g/m."""
    sheet = construction_sheet(find_product("THHN/THWN-2", "4/0 AWG", "concentric"))
    assert sheet.line("insulation", "insulation area").value == pytest.approx(58.545, abs=5e-4)
    mass = sheet.line("insulation", "insulation mass")
    assert mass.value == pytest.approx(81.963, abs=5e-4)
    assert (mass.low, mass.high) == pytest.approx((58.545 * 1.3, 58.545 * 1.5), abs=1e-3)
    assert sheet.line("covering", "covering mass").standing == "from memory"
    assert sheet.line("conductor", "number of wires").record == "19"
    assert [one.name for one in sheet.types] == ["THHN", "THWN-2"]
    assert [letter.letters for letter in sheet.types[0].letters] == ["T", "HH", "N"]


def test_overwall_weighs_its_ring() -> None:
    """pi D2 rho per 0.01 mm agrees with the difference of two rings to second order."""
    product = find_product("XHHW-2", "500 kcmil", "concentric")
    line = construction_sheet(product).line("insulation", "insulation mass for each 0.01 mm more wall")
    outer = product.conductor_mm + 2 * product.average_wall_mm
    ring = ring_area_mm2(outer, outer + 0.02) * product.insulation.density.value
    assert line.value == pytest.approx(ring, rel=1e-3)


def test_lightly_filled_density_is_used_for_xhhw2_and_not_the_unfilled() -> None:
    product = find_product("XHHW-2", "1/0 AWG", "concentric")
    density = product.insulation.density
    assert (density.low, density.value, density.high) == (0.94, 1.05, 1.20)
    assert "unfilled XLPE is 0.92 (S44, S45) and would understate the mass" in density.note


def test_what_is_not_on_file_is_a_line_with_a_reason() -> None:
    sheet = construction_sheet(find_product("XHHW-2", "1/0 AWG", "compact"))
    absent = {line.name: line.note for line in sheet.lines if line.value is None}
    assert absent == {
        "number of wires": f"Not seen for compact conductors; {BLANK}",
        "minimum wall at any point": f"No printed value is on file; {BLANK}",
    }
    solid = construction_sheet(find_product("XHHW-2", "4/0 AWG", "solid"))
    why = f"No source on file gives the resistance of a solid copper 4/0 AWG; {BLANK}"
    assert solid.line("conductor", "direct-current resistance at 20 degC").note == why


def test_a_plants_limits_stand_on_the_sheet_beside_the_implied_concentricity() -> None:
    sheet = read_plant_sheet(PLANT)
    made = construction_sheet(
        find_product("XHHW-2", "1/0 AWG", "concentric"),
        DAY,
        sheet.limit_rows,
        sheet.certificate,
    )
    assert made.missing == ()
    assert (
        made.line("walls and diameters", "minimum wall at any point, UL 44").standing
        == "entered by the plant"
    )
    implied = {one.requirement_set: one.at_least_pct for one in made.implied}
    assert implied == pytest.approx(
        {"UL 44": 100 * 50 / 60, "ICEA S-95-658/NEMA WC 70": 100 * 1.26 / (2 * 1.397 - 1.26)}
    )
    assert [one.value for one in made.limits if one.requirement == "concentricity"] == [78.0]


def test_implied_concentricity_loosens_as_the_wall_gets_heavier() -> None:
    walls = [0.381 * (1 + k / 100) for k in range(30)]
    implied = [implied_concentricity_pct(0.3302, wall) for wall in walls]
    assert implied == sorted(implied, reverse=True)
    assert implied_concentricity_pct(0.3302, 0.3302) == pytest.approx(100.0)


def test_implied_concentricity_is_where_the_thinnest_wall_meets_the_point() -> None:
    """Offset e: thinnest t - e, thickest t + e; at that concentricity t - e is the point minimum."""
    mean, point = 0.400, 0.3302
    offset = mean - point
    assert implied_concentricity_pct(point, mean) == pytest.approx(100 * (mean - offset) / (mean + offset))


def test_implied_concentricity_in_words() -> None:
    limits = limits_in_force(find_product("THHN/THWN-2", "14 AWG", "solid"), DAY)
    (met,) = implied_concentricities(limits, 0.40)
    assert plain(met.told) == (
        "At a mean wall of 0.4 mm, a concentricity (thinnest / thickest wall) of at least 70.3 % keeps the minimum of "
        "0.3302 mm at any point (UL 83)."
    )
    for wall in (0.30, 0.0, float("nan")):
        (refused,) = implied_concentricities(limits, wall)
        assert refused.at_least_pct is None
    (refused,) = implied_concentricities(limits, 0.30)
    assert plain(refused.told) == (
        "The mean wall of 0.3 mm is below the minimum at any point of 0.3302 mm (UL 83): no centering can meet it."
    )


def test_ratings_are_by_size_and_type() -> None:
    small = {one.name for one in ratings_of(find_product("XHHW-2", "14 AWG", "concentric"))}
    large = {one.name for one in ratings_of(find_product("XHHW-2", "1/0 AWG", "concentric"))}
    assert large - small == {
        "cable tray, single conductor",
        "cable tray, equipment grounding conductor",
    }
    thhn = {one.name: one for one in ratings_of(find_product("THHN/THWN-2", "14 AWG", "solid"))}
    assert thhn["temperature, wet locations, as THHN"].text == "not for wet locations"
    assert thhn["temperature, wet locations, as THWN-2"].value == 90.0
    # Neither was seen in a public source: they are blank, with the words that say so.
    for name in ("minimum temperature", "short-circuit conductor temperature"):
        one = thhn[name]
        assert (one.value, one.text, one.standing, one.document) == (None, BLANK, "not seen", "")


def test_a_temperature_known_only_from_the_letters_is_blank() -> None:
    """RW90: that 90 means 90 degC is from memory; the 1000 V stands in the title of the Canadian code's table."""
    ratings = {one.name: one for one in ratings_of(find_product("RW90-1000V", "14 AWG", "concentric"))}
    wet = ratings["temperature, wet locations, as RW90-1000V"]
    assert (wet.value, wet.text, wet.standing) == (None, BLANK, "not seen")
    assert (ratings["voltage, as RW90-1000V"].value, ratings["voltage, as RW90-1000V"].standing) == (
        1000.0,
        "seen elsewhere",
    )


def test_stress_is_at_the_highest_rated_voltage() -> None:
    plain = construction_sheet(find_product("XHHW-2", "14 AWG", "concentric"))
    canadian = construction_sheet(find_product("XHHW-2/RW90-1000V", "14 AWG", "concentric"))
    assert "600 V between" in plain.line("electrical", "stress at the conductor").note
    assert "1000 V between" in canadian.line("electrical", "stress at the conductor").note


def test_ranges_come_from_the_permittivities() -> None:
    """One layer: stress does not depend on permittivity, capacitance is proportional to it."""
    sheet = construction_sheet(find_product("XHHW-2", "4/0 AWG", "concentric"))
    stress = sheet.line("electrical", "stress at the conductor")
    assert stress.low == pytest.approx(stress.high, rel=1e-12)
    capacitance = sheet.line("electrical", "capacitance")
    assert capacitance.low is not None
    assert capacitance.high is not None
    assert capacitance.high / capacitance.low == pytest.approx(3.5 / 2.3)


def test_two_constructions_compared() -> None:
    first = construction_sheet(find_product("THHN/THWN-2", "4/0 AWG", "concentric"))
    second = construction_sheet(find_product("XHHW-2", "4/0 AWG", "concentric"))
    compared = compare_constructions(first, second)
    lines = {(one.section, one.name): one for one in compared.lines}
    wall = lines["walls and diameters", "minimum average wall"]
    assert (wall.difference, wall.ratio, wall.distinct) == (pytest.approx(0.127), pytest.approx(1.1), True)
    mass = lines["insulation", "insulation mass"]
    assert mass.distinct is False
    covering = lines["covering", "covering mass"]
    assert (covering.second, covering.difference, covering.ratio, covering.distinct) == (None,) * 4
    assert lines["insulation", "density"].ratio == pytest.approx(1.05 / 1.40)
    assert not any(one.section == "published for comparison" for one in compared.lines)
    assert compared.cautions[-1] == (
        "The two constructions are of different materials: a value that is better in one may be bought with "
        "another that is worse. The adopted code says where each may be used."
    )
    assert json.loads(json.dumps(as_json(compared)))["second"]["construction"] == "XHHW-2"


def test_a_construction_against_itself_differs_nowhere() -> None:
    sheet = construction_sheet(find_product("XHHW-2", "2 AWG", "concentric"))
    for line in compare_constructions(sheet, sheet).lines:
        assert line.difference in (0.0, None)
        assert line.distinct in (False, None)


@pytest.mark.parametrize(
    ("radii", "permittivities", "sentence"),
    [
        (
            (1.0, 2.0),
            (2.0, 3.0),
            (
                "coaxial layers: 2 radii were given for 2 layers. Give the conductor's radius and then one outer "
                "radius for each layer."
            ),
        ),
        (
            (1.0, 0.9),
            (2.0,),
            "coaxial layers: the radii 1, 0.9 mm do not rise. Give them from the conductor outwards.",
        ),
        (
            (0.0, 0.9),
            (2.0,),
            "coaxial layers: the radii 0, 0.9 mm do not rise. Give them from the conductor outwards.",
        ),
        (
            (1.0, 2.0),
            (0.9,),
            "coaxial layers: a relative permittivity of 0.9 is below that of vacuum. Give a value of 1 or more.",
        ),
        (
            (1.0, float("nan")),
            (2.0,),
            "coaxial layers: the radii 1, nan mm do not rise. Give them from the conductor outwards.",
        ),
    ],
)
def test_layers_that_cannot_be_are_refused(
    radii: tuple[float, ...], permittivities: tuple[float, ...], sentence: str
) -> None:
    with pytest.raises(MethodRefusal) as refused:
        coaxial_field(0.6, radii, permittivities)
    assert str(refused.value) == sentence


def test_json_of_what_json_cannot_hold() -> None:
    assert as_json({"a": float("inf"), "b": (1, DAY), "c": None}) == {
        "a": None,
        "b": [1, "2026-03-02"],
        "c": None,
    }
    with pytest.raises(TypeError, match=r"^a object has no JSON form$"):
        as_json(object())
