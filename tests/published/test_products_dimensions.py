"""Dimensions, walls, masses and resistances of the product tables against published figures."""

import math

import pytest

from pipeline.products.concentricity import implied_concentricity_pct
from pipeline.products.conductors import resistance_ohm_km
from pipeline.products.construction_sheet import construction_sheet
from pipeline.products.layers import G_M_PER_LB_KFT
from pipeline.products.limits import limits_in_force
from pipeline.products.product import find_product
from pipeline.products.sizes import all_sizes, awg_diameter_in, size_named
from pipeline.units import MM_PER_INCH, MM_PER_MIL
from tests.published.worked_cases import rows

DIAMETERS = rows("products-wire-code-diameters")
CONCENTRIC = [row for row in DIAMETERS if row["conductor"] == "concentric"]
COMPACT = [row for row in DIAMETERS if row["conductor"] == "compact"]
COPPER = rows("products-copper-table")
WALLS = rows("products-wire-code-walls")
MASSES = rows("products-published-masses")


def test_there_are_diameters_for_all_24_sizes_of_both_families() -> None:
    """NFPA 70-2014, Chapter 9, Table 5: 24 sizes from 14 AWG to 1000 kcmil in each column."""
    concentric = [(row["family"], row["size"]) for row in CONCENTRIC]
    assert len(set(concentric)) == len(concentric) == 48
    assert len(COMPACT) == 37
    assert {size for _, size in concentric} == {size.name for size in all_sizes()}


def apart_mil(row: dict[str, str]) -> float:
    """Built-up diameter less the wire code's [mil]."""
    product = find_product(row["family"], row["size"], row["conductor"])
    return product.overall_mm / MM_PER_MIL - 1000.0 * float(row["diameter_in"])


@pytest.mark.parametrize("row", CONCENTRIC, ids=lambda r: f"{r['family']} {r['size']}")
def test_the_built_up_diameter_is_the_wire_codes_within_one_mil(row: dict[str, str]) -> None:
    """NFPA 70-2014, Chapter 9, Table 5: all 24 sizes of both families, within 1 mil."""
    assert abs(apart_mil(row)) <= 1.0


@pytest.mark.parametrize("row", COMPACT, ids=lambda r: f"{r['family']} {r['size']}")
def test_compact_wire_is_never_built_thicker_than_the_wire_codes(row: dict[str, str]) -> None:
    """NFPA 70-2014, Chapter 9, Table 5A: its approximate diameters lie 0 to 3.2 % over conductor plus walls."""
    assert -0.032 * 1000.0 * float(row["diameter_in"]) <= apart_mil(row) <= 0.05


@pytest.mark.parametrize("row", COPPER, ids=lambda r: r["size"])
def test_solid_sizes_are_the_textbooks(row: dict[str, str]) -> None:
    """Lessons in Electric Circuits, Reference, copper wire table: diameter to its last digit, area to 0.1 %."""
    product = find_product("XHHW-2", row["size"], "solid")
    decimals = min(len(row["diameter_in"].split(".")[1]), 4)
    assert round(product.conductor_mm / MM_PER_INCH, decimals) == round(float(row["diameter_in"]), decimals)
    assert product.size.kcmil * 1000.0 == pytest.approx(float(row["area_cmil"]), rel=1.01e-3)
    inches = MM_PER_INCH**2
    assert product.area_mm2 / inches == pytest.approx(float(row["area_sq_in"]), rel=1.3e-3)


@pytest.mark.parametrize("row", COPPER, ids=lambda r: r["size"])
def test_solid_copper_weighs_what_the_textbook_says(row: dict[str, str]) -> None:
    """Lessons in Electric Circuits, Reference, copper wire table: weight in lb/1000 ft, to 0.15 %."""
    sheet = construction_sheet(find_product("XHHW-2", row["size"], "solid"))
    mass = sheet.line("conductor", "conductor mass").value
    assert mass is not None
    assert mass / G_M_PER_LB_KFT == pytest.approx(float(row["weight_lb_kft"]), rel=1.5e-3)


@pytest.mark.parametrize("row", COPPER, ids=lambda r: r["size"])
def test_the_gauge_formula_gives_the_diameter(row: dict[str, str]) -> None:
    """ASTM B258: d = 0.005 in x 92^((36 - n)/39); the textbook rounds it to four figures."""
    number = row["size"].split()[0]
    gauge = 1 - int(number[0]) if number.endswith("/0") else int(number)
    decimals = len(row["diameter_in"].split(".")[1])
    assert awg_diameter_in(gauge) == pytest.approx(float(row["diameter_in"]), abs=0.51 * 10.0**-decimals)


def test_the_gauge_is_exact_at_its_two_defining_sizes() -> None:
    """ASTM B258 defines 36 AWG as 0.0050 in and 4/0 AWG as 0.4600 in."""
    assert awg_diameter_in(36) == pytest.approx(0.005, abs=1e-15)
    assert awg_diameter_in(-3) == pytest.approx(0.46, abs=1e-15)


def test_stranding_geometry_gives_the_concentric_diameters() -> None:
    """Concentric layers of equal wires: 1 + 6 + 12 + 18 + ... wires, diameter (2 layers + 1) wires across."""
    for size in all_sizes():
        for strand_class in ("B", "C"):
            product = find_product("XHHW-2", size.name, "concentric", strand_class=strand_class)
            assert product.strands is not None
            layers = round((-3 + math.sqrt(9 + 12 * (product.strands - 1))) / 6)
            assert 1 + 3 * layers * (layers + 1) == product.strands
            wire_mil = math.sqrt(1000.0 * size.kcmil / product.strands)
            across_in = (2 * layers + 1) * wire_mil / 1000.0
            assert product.conductor_mm / MM_PER_INCH == pytest.approx(across_in, abs=0.51e-4)


@pytest.mark.parametrize("row", WALLS, ids=lambda r: f"{r['type']} {r['size_from']}")
def test_average_walls_are_the_wire_codes(row: dict[str, str]) -> None:
    """NFPA 70-2023, Table 310.4(1): every size of the range has the printed wall as its minimum average."""
    first, last = size_named(row["size_from"]).order, size_named(row["size_to"]).order
    for size in all_sizes()[first : last + 1]:
        product = find_product(row["type"], size.name, "concentric")
        found = [one for one in limits_in_force(product, None) if one.requirement == "minimum average wall"]
        # Both units of record are held, and the stricter judges; the construction is built up from the mil.
        mil = float(row["mil"]) * 0.0254
        assert [one.value for one in found] == [pytest.approx(max(mil, float(row["mm"])), abs=1e-12)]
        assert product.average_wall_mm == pytest.approx(mil, abs=1e-12)


def test_the_wire_codes_walls_cover_all_sizes() -> None:
    covered = 0
    for row in WALLS:
        if row["type"] in ("THHN", "XHHW-2"):
            covered += size_named(row["size_to"]).order - size_named(row["size_from"]).order + 1
    assert covered == 48


def test_points_are_the_printed_ones_and_never_worked_out() -> None:
    """UL AWM style pages: 13.5 is printed 13 and 40.5 is printed 40, where rounding gives 14 or 41."""
    printed = {float(row["average_mil"]): float(row["printed_mil"]) for row in rows("products-printed-points")
               if row["where_printed"] != "UL AWM style page 10236 only (CONFLICT)"}  # fmt: skip
    seen = set()
    for construction in ("THHN/THWN-2", "XHHW-2"):
        for size in all_sizes():
            product = find_product(construction, size.name, "concentric")
            by_requirement = {one.requirement: one for one in limits_in_force(product, None)}
            average = round(product.average_wall_mm / MM_PER_MIL, 6)
            point = by_requirement.get("minimum wall at any point")
            if average in (55.0, 65.0):
                assert point is None
            elif average == 80.0:
                assert point is not None
                # 72 mil is 1.8288 mm; to 0.01 mm it is 1.83, and UL 44 states millimetres first.
                assert (point.value, point.unit_of_record, point.standing) == (1.83, "mm", "computed")
                assert point.beside == "72 mil (computed)"
            else:
                assert point is not None
                mil = printed[average] * MM_PER_MIL
                # 27 mil is 0.6858 mm and 40 mil 1.016 mm: up to 4 um laxer than the millimetres of UL 44 may be.
                assert point.value == pytest.approx(
                    max(mil, round(mil, 2)) if construction == "XHHW-2" else mil
                )
                seen.add(average)
    assert seen == set(printed)


def test_the_only_printed_sample_of_the_product_standard_agrees() -> None:
    """A UL 83 sample list for 14 AWG gives 0.381 mm average and 0.3302 mm at any point."""
    limits = {
        one.requirement: one.value
        for one in limits_in_force(find_product("THHN/THWN-2", "14 AWG", "solid"), None)
    }
    assert limits["minimum average wall"] == pytest.approx(0.381, abs=5e-5)
    assert limits["minimum wall at any point"] == pytest.approx(0.3302, abs=5e-6)


@pytest.mark.parametrize("row", MASSES, ids=lambda r: f"{r['family']} {r['size']}")
def test_conductors_weigh_what_is_published(row: dict[str, str]) -> None:
    """Published tables: copper mass rounded to 1 lb/1000 ft; 12 AWG THWN/THHN prints a solid one's 18 lb."""
    product = find_product(row["family"], row["size"], "concentric")
    mass = construction_sheet(product).line("conductor", "conductor mass").value
    assert mass is not None
    apart = mass / G_M_PER_LB_KFT - float(row["copper_lb_kft"])
    known_odd = {("THHN/THWN-2", "12 AWG"): 2.2, ("XHHW-2", "8 AWG"): 1.05}
    assert abs(apart) <= known_odd.get((row["family"], row["size"]), 0.75)


@pytest.mark.parametrize(
    "row",
    [r for r in MASSES if size_named(r["size"]).order >= size_named("4 AWG").order],
    ids=lambda r: f"{r['family']} {r['size']}",
)
def test_polymer_masses_hold_the_published_ones(row: dict[str, str]) -> None:
    """Published net less copper mass lies in the sheet's range, to the rounding of 1 lb/1000 ft.

    For THHN the densities come from another source. For XHHW-2 the density range was read from these very
    weights, so the check there is of the arithmetic only. Smaller sizes hold more in their strand valleys
    than the minimum walls say; 250 kcmil THHN is left out as suspect (less polymer than minimum walls hold).
    """
    product = find_product(row["family"], row["size"], "concentric")
    sheet = construction_sheet(product)
    layers = ["insulation", "covering"] if product.covering else ["insulation"]
    low = math.fsum(sheet.line(name, f"{name} mass").low or 0.0 for name in layers)
    high = math.fsum(sheet.line(name, f"{name} mass").high or 0.0 for name in layers)
    published = (float(row["net_lb_kft"]) - float(row["copper_lb_kft"])) * G_M_PER_LB_KFT
    if (row["family"], row["size"]) == ("THHN/THWN-2", "250 kcmil"):
        assert published < low
        return
    assert low - G_M_PER_LB_KFT <= published <= high + G_M_PER_LB_KFT


@pytest.mark.parametrize(
    ("metal", "resistivity"),
    [("copper", 0.15328 / 8.89), ("aluminum", 1.0 / (0.61 * 58.0))],
)
def test_resistance_at_20_degc_is_that_of_the_metal(metal: str, resistivity: float) -> None:
    """Resistivity at 20 degC over the area, 2 % more for strand, to 0.6 %, for every size on file.

    Copper 0.15328 ohm g/m2 (Industrial Power Engineering and Applications Handbook, p. 969) at 8.89 g/cm3
    (ASTM B496). Aluminium 61 % IACS (the same handbook prints 60-61 %), IACS being 58.0 m/(ohm mm2).
    """
    checked = 0
    for size in all_sizes():
        for make, factor in (("solid", 1.0), ("concentric", 1.02)):
            if make == "solid" and size.kcmil >= 250.0:
                continue
            product = find_product("XHHW-2", size.name, make, metal)
            at_20 = resistance_ohm_km(product.conductor, 20.0)
            if at_20 is not None:
                assert at_20 == pytest.approx(1000.0 * resistivity / product.area_mm2 * factor, rel=6e-3)
                checked += 1
    assert checked == 28


def test_resistance_at_20_degc_against_the_sourced_value() -> None:
    """A UL 83 sample list gives 8.45 ohm/km for 14 AWG stranded copper at 20 degC: within 0.3 %."""
    product = find_product("THHN/THWN-2", "14 AWG", "concentric")
    assert resistance_ohm_km(product.conductor, 20.0) == pytest.approx(8.45, rel=3e-3)


def test_implied_concentricity_against_an_independent_table() -> None:
    """E = 1 - t_point/t_mean and C = (1 - E)/(1 + E) for 48 walls, worked out by another program to 0.1 %."""
    table = rows("products-implied-concentricity")
    assert len(table) == 48
    for row in table:
        mean = float(row["average_mil"]) * (1.0 + float(row["overwall_pct"]) / 100.0)
        found = implied_concentricity_pct(float(row["point_mil"]), mean)
        assert found == pytest.approx(float(row["concentricity_pct"]), abs=0.0501)


CANADIAN = rows("products-canadian-diameters")


@pytest.mark.parametrize(
    "row",
    [row for row in CANADIAN if row["volts"] == "600"],
    ids=lambda r: f"{r['table']} {r['size']} {r['conductor']}",
)
def test_the_built_up_diameter_is_the_canadian_codes(row: dict[str, str]) -> None:
    """Canadian Electrical Code, Tables 6A and 6K: within 1.2 mil, but for 350 and 500 kcmil (3.1 mil)."""
    product = find_product(row["family"], row["size"], row["conductor"])
    allowed = 3.1 if row["size"] in ("350 kcmil", "500 kcmil") else 1.2
    assert abs(product.overall_mm - float(row["diameter_mm"])) / MM_PER_MIL <= allowed


def test_1000_v_walls_follow_from_the_two_canadian_tables() -> None:
    """Wall at 1000 V = wall at 600 V + half the difference of the diameters of Tables 6B and 6A, to 1 mil."""
    by_size: dict[str, dict[str, float]] = {}
    for row in CANADIAN:
        if row["family"] == "XHHW-2":
            by_size.setdefault(row["size"], {})[row["volts"]] = float(row["diameter_mm"])
    assert len(by_size) == 24
    for size, diameters in by_size.items():
        wall = find_product("XHHW-2", size, "concentric").average_wall_mm
        derived = wall + (diameters["1000"] - diameters["600"]) / 2.0
        asked = find_product("RW90-1000V", size, "concentric").average_wall_mm
        assert abs(derived - asked) / MM_PER_MIL <= 1.0
