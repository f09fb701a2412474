"""Which limits are in force, side by side and by date, and what is said where none is on file."""

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from pipeline.products.limit_rows import LimitRow, package_rows
from pipeline.products.limits import Limit, limits_in_force, missing_requirements
from pipeline.products.product import Product, find_product
from pipeline.products.requirement_sets import Certificate
from pipeline.products.source_standing import SourceStanding
from pipeline.sheets.plant_sheet import read_plant_sheet
from pipeline.wording.say import plain
from tests.products.hardest import most_demanding

ROOT = Path(__file__).parents[2]
DAY = date(2026, 3, 2)
UL44, WC70 = "UL 44", "ICEA S-95-658/NEMA WC 70"


def certified(*sets: str) -> Certificate:
    """XHHW-2 certified to these sets."""
    return Certificate({"XHHW-2": sets})


@pytest.fixture(scope="module")
def thhn() -> Product:
    return find_product("THHN/THWN-2", "14 AWG", "solid")


@pytest.fixture(scope="module")
def xhhw() -> Product:
    return find_product("XHHW-2", "1/0 AWG", "concentric")


@pytest.fixture(scope="module")
def plant_rows() -> tuple[LimitRow, ...]:
    return read_plant_sheet(ROOT / "sample_runs" / "plant.toml").limit_rows


def told(limits: tuple[Limit, ...]) -> list[tuple[str, str, float, str]]:
    return [(one.requirement_set, one.requirement, one.value_of_record, one.unit_of_record) for one in limits]


def plant_row(**changes: object) -> LimitRow:
    base = next(one for one in package_rows() if one.limit_id == "UL44-average-1..4-0")
    return replace(base, limit_id="own", standing=SourceStanding.PLANT, **changes)


def test_limits_of_a_product_keep_their_unit_of_record(thhn: Product) -> None:
    limits = limits_in_force(thhn, DAY)
    assert told(limits) == [
        ("UL 83", "minimum average wall", 15.0, "mil"),
        ("UL 83", "minimum wall at any point", 13.0, "mil"),
        ("UL 83", "covering at any point", 4.0, "mil"),
    ]
    assert [one.value for one in limits] == pytest.approx([0.381, 0.3302, 0.1016])
    assert {one.unit for one in limits} == {"mm"}
    assert {one.sense for one in limits} == {"at least"}
    assert plain(limits[1].told()) == (
        "minimum wall at any point at least 13 mil (UL 83; UL AWM style pages, not dated, 1638, 10236; "
        "revision 1; seen elsewhere)"
    )


def test_several_requirement_sets_stand_side_by_side(xhhw: Product, plant_rows: tuple[LimitRow, ...]) -> None:
    """UL 44 asks for average and point, the 2009 issue of ICEA S-95-658/NEMA WC 70 for the point only."""
    limits = limits_in_force(xhhw, DAY, plant_rows, certified(UL44, WC70))
    walls = [one for one in told(limits) if "wall" in one[1]]
    assert walls == [
        (UL44, "minimum average wall", 1.4, "mm"),  # stricter than the 55 mil beside it
        (UL44, "minimum wall at any point", 50.0, "mil"),
        (WC70, "minimum wall at any point", 1.26, "mm"),
    ]
    # The letters XHHW-2 call for UL 44 whatever the certificate says; one that omits it takes nothing away.
    only = limits_in_force(xhhw, DAY, plant_rows, certified(WC70))
    assert [one for one in told(only) if "wall" in one[1]] == walls


def test_a_plants_own_limits_stay_whatever_the_set(xhhw: Product, plant_rows: tuple[LimitRow, ...]) -> None:
    kept = {one.requirement for one in limits_in_force(xhhw, DAY, plant_rows, certified(WC70))}
    assert {"concentricity", "overall diameter", "spark test voltage"} <= kept


def test_the_1999_issue_asked_for_an_average_and_90_percent_of_it(xhhw: Product) -> None:
    """As a specification of 2008 quotes it: at any point at least 90 % of the minimum average."""
    every = limits_in_force(xhhw, date(2005, 6, 1), (), certified(WC70))
    limits = tuple(one for one in every if one.requirement_set == WC70)
    assert told(limits) == [
        (WC70, "minimum average wall", 55.0, "mil"),
        (WC70, "minimum wall at any point", 90.0, "% of minimum average wall"),
    ]
    assert limits[1].value == pytest.approx(0.9 * 55 * 0.0254)
    assert limits[1].unit == "mm"
    assert {one.revision for one in limits} == {"1999 issue"}


def test_the_last_day_of_a_revision_is_in_force_and_the_next_is_not(xhhw: Product) -> None:
    for on, many in ((date(2008, 12, 31), 2), (date(2009, 1, 1), 0)):
        limits = limits_in_force(xhhw, on, (), certified(WC70))
        assert sum(one.requirement_set == WC70 for one in limits) == many


def test_a_run_is_judged_by_what_was_in_force(thhn: Product, plant_rows: tuple[LimitRow, ...]) -> None:
    def concentricity(on: date) -> list[tuple[float, str]]:
        limits = limits_in_force(thhn, on, plant_rows)
        return [(one.value, one.revision) for one in limits if one.requirement == "concentricity"]

    assert concentricity(date(2025, 12, 31)) == []
    assert concentricity(date(2026, 1, 1)) == [(70.0, "A")]
    assert concentricity(date(2026, 12, 31)) == [(70.0, "A")]
    assert concentricity(date(2027, 1, 1)) == [(74.0, "B")]


def test_a_plant_limit_that_replaces_takes_the_place_only_while_in_force(xhhw: Product) -> None:
    own = plant_row(
        value=1.40,
        unit_of_record="mm",
        value_of_record=1.40,
        replaces="UL44-average-1..4-0",
        effective_from=date(2026, 3, 1),
    )
    before = [one.limit_id for one in limits_in_force(xhhw, date(2026, 2, 28), [own])]
    after = [one.limit_id for one in limits_in_force(xhhw, DAY, [own])]
    assert before == ["UL44-average-1..4-0"]
    assert after == ["own"]


def test_overall_diameter_follows_the_product(thhn: Product, plant_rows: tuple[LimitRow, ...]) -> None:
    found = {
        one.sense: one.value
        for one in limits_in_force(thhn, DAY, plant_rows)
        if one.requirement == "overall diameter"
    }
    assert found == pytest.approx({"at least": 0.98 * thhn.overall_mm, "at most": 1.07 * thhn.overall_mm})


def test_nothing_on_file_is_never_a_silent_pass(xhhw: Product) -> None:
    sentences = [plain(one.told) for one in missing_requirements(xhhw, DAY, (), certified(UL44))]
    assert sentences == [
        (
            "Not judged: no limit on file for minimum wall at any point of XHHW-2 1/0 AWG, concentric copper to "
            "UL 44 on 2026-03-02. The printed values beside 55, 60, 65, 80, 95 and 110 mil were not seen."
        ),
        (
            "Not judged: no limit on file for concentricity of XHHW-2 1/0 AWG, concentric copper on 2026-03-02. "
            "No standard seen gives a number for building wire; the tolerance is the plant's own."
        ),
        (
            "Not judged: no limit on file for overall diameter of XHHW-2 1/0 AWG, concentric copper on "
            "2026-03-02. No standard seen gives an overall diameter tolerance for building wire; the tolerance is "
            "the plant's own."
        ),
        (
            "Not judged: no limit on file for spark test voltage of XHHW-2 1/0 AWG, concentric copper on "
            "2026-03-02. The a-c spark voltages of UL 83 and UL 44 were not seen; the plant enters them from its "
            "licensed copy."
        ),
    ]
    assert {plain(one.remedy) for one in missing_requirements(xhhw, DAY)} == {
        "Enter it in the plant sheet under [[limits]] with document, revision and dates."
    }


def test_the_demo_plant_has_every_limit_for_its_products(plant_rows: tuple[LimitRow, ...]) -> None:
    sheet = read_plant_sheet(ROOT / "sample_runs" / "plant.toml")
    for construction, size, make in (
        ("THHN/THWN-2", "14 AWG", "solid"),
        ("THHN/THWN-2", "12 AWG", "concentric"),
        ("XHHW-2", "1/0 AWG", "compressed"),
        ("XHHW-2", "4/0 AWG", "compact"),
        ("XHHW-2", "250 kcmil", "compact"),
    ):
        product = find_product(construction, size, make)
        assert missing_requirements(product, DAY, plant_rows, sheet.certificate) == ()


def test_a_run_older_than_the_document_read_is_judged_with_that_said(thhn: Product) -> None:
    """The start of validity was not seen; the wire code read is of 2023, the style pages are not dated."""
    limits = {one.requirement: one for one in limits_in_force(thhn, date(2019, 6, 1))}
    average, point = limits["minimum average wall"], limits["minimum wall at any point"]
    assert (average.value, average.effective_from, point.effective_from) == (pytest.approx(0.381), None, None)
    assert average.said is not None and plain(average.said) == (
        "Start of validity not known: the limit was read in NFPA 70 of 2023, and the run is of 2019."
    )
    assert average.note.endswith(plain(average.said))
    assert point.said is None and point.note.startswith("Start of validity not known.")
    assert {one.said for one in limits_in_force(thhn, DAY)} == {None}
    assert [one.requirement for one in missing_requirements(thhn, date(2019, 6, 1))] == [
        "concentricity",
        "overall diameter",
        "spark test voltage",
    ]


def test_where_units_of_record_differ_both_are_held_and_the_stricter_judges() -> None:
    """NFPA 70-2023 prints 0.51 mm beside 20 mil (0.508 mm), 0.38 beside 15 mil (0.381) and 1.63 beside 65 (1.651)."""
    held = {}
    for construction, size in (("THHN", "10 AWG"), ("THHN", "14 AWG"), ("XHHW-2", "250 kcmil")):
        limits = limits_in_force(find_product(construction, size, "concentric"), DAY)
        one = next(one for one in limits if one.requirement == "minimum average wall")
        held[size] = (one.value_of_record, one.unit_of_record, one.beside)
    assert held == {
        "10 AWG": (0.51, "mm", "20 mil (seen elsewhere)"),
        "14 AWG": (15.0, "mil", "0.38 mm (seen elsewhere)"),
        "250 kcmil": (65.0, "mil", "1.63 mm (seen elsewhere)"),
    }


def test_ul_44_points_are_not_laxer_than_its_millimetres_may_be() -> None:
    """UL 44 states millimetres first (excerpt of UL 44-2018, clause 2.1); 27 and 40 mil are 4 um under it."""
    for size, mm, beside in (
        ("14 AWG", 0.69, "27 mil (seen elsewhere)"),
        ("8 AWG", 1.02, "40 mil (seen elsewhere)"),
    ):
        limits = limits_in_force(find_product("XHHW-2", size, "concentric"), DAY)
        point = next(one for one in limits if one.requirement == "minimum wall at any point")
        assert (point.value, point.beside) == (mm, beside)
        assert point.note.startswith(f"Stricter than {beside} beside it; both are held.")


def test_the_conflict_of_20_mil_stands_beside_the_limit() -> None:
    limits = limits_in_force(find_product("THHN", "10 AWG", "concentric"), DAY)
    point = next(one for one in limits if one.requirement == "minimum wall at any point")
    assert (point.value_of_record, point.standing) == (18.0, SourceStanding.ELSEWHERE)
    assert "Conflict: style page 10236 prints 17 mil; 18 mil, the stricter, is 90 % exactly." in point.note
    assert point.where == "stored copy of the public style page"


def test_several_types_are_resolved_to_the_hardest_of_each_requirement() -> None:
    """NFPA 70-2023, Table 310.4(1): 14 AWG XHHW-2 30 mil, RHW-2 and USE-2 45 mil."""
    product = find_product("XHHW-2/RHW-2/USE-2", "14 AWG", "concentric")
    limits = limits_in_force(product, DAY)
    averages = [
        (one.requirement_set, one.value_of_record)
        for one in limits
        if one.requirement == "minimum average wall"
    ]
    assert averages == [(UL44, 30.0), (UL44, 45.0), ("UL 854", 45.0)]
    hardest = {one.requirement: one.value_of_record for one in most_demanding(limits)}
    assert hardest == {"minimum average wall": 45.0, "minimum wall at any point": 0.69}


def test_a_type_without_a_limit_is_named_though_another_type_has_one() -> None:
    product = find_product("XHHW-2/RHW-2", "14 AWG", "concentric")
    sentence = plain(missing_requirements(product, DAY, (), certified(UL44))[0].told)
    assert sentence == (
        "Not judged: no limit on file for minimum wall at any point of XHHW-2/RHW-2 14 AWG, concentric copper "
        "to UL 44 as type RHW-2 on 2026-03-02. The printed values beside 55, 60, 65, 80, 95 and 110 mil were "
        "not seen."
    )


def test_1000_v_type_has_its_derived_walls() -> None:
    """Canadian Electrical Code, Tables 6A and 6B: RW90 1000 V, derived 45, 60, 80 and 90 mil."""
    walls = {}
    for size in ("14 AWG", "6 AWG", "1 AWG", "1000 kcmil"):
        product = find_product("XHHW-2/RW90-1000V", size, "concentric")
        hardest = {one.requirement: one for one in most_demanding(limits_in_force(product, DAY))}
        found = hardest["minimum average wall"]
        walls[size] = (found.value_of_record, found.standing)
    assert walls == {
        "14 AWG": (45.0, "computed"),
        "6 AWG": (60.0, "computed"),
        "1 AWG": (80.0, "computed"),
        "1000 kcmil": (90.0, "computed"),
    }
