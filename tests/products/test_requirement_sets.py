"""Requirement sets by the type marked on the wire: no certificate, however written, takes away what the letters ask."""

from __future__ import annotations

import random
from datetime import date
from pathlib import Path

import pytest

from pipeline.errors import SheetError
from pipeline.products.limits import is_limit_of, limits_in_force, missing_requirements
from pipeline.products.product import Product, find_product
from pipeline.products.requirement_sets import AVERAGE, POINT, Certificate, known_sets
from pipeline.products.type_letters import all_types
from pipeline.sheets.plant_sheet import PlantSheet, read_plant_sheet
from pipeline.wording.say import plain

DAY = date(2026, 3, 2)
HEAD = '[plant]\nname = "Plant"\nzone = "UTC"\n'
WC70 = "ICEA S-95-658/NEMA WC 70"
# The set that the letters call for: the wire code's construction specifications name the standards (common practice,
# no source for the assignment itself), and the Canadian type stands in CSA C22.2 No. 38.
LETTERS = {
    "THHN": "UL 83", "THWN": "UL 83", "THWN-2": "UL 83",
    "XHHW-2": "UL 44", "XHHW": "UL 44", "XHH": "UL 44", "RHW-2": "UL 44",
    "USE-2": "UL 854", "RW90-1000V": "CSA C22.2 No. 38, 1000 V",
}  # fmt: skip


def sheet_of(folder: Path, text: str) -> PlantSheet:
    path = folder / "plant.toml"
    path.write_text(HEAD + text, encoding="utf-8")
    return read_plant_sheet(path)


def walls(product: Product, certificate: Certificate) -> dict[tuple[str, str], float | None]:
    """Limit [mil] by set and requirement of the insulation; None where it is told as not judged."""
    found: dict[tuple[str, str], float | None] = {
        (one.requirement_set, one.requirement): round(one.value / 0.0254, 1)
        for one in limits_in_force(product, DAY, (), certificate)
        if one.requirement in (AVERAGE, POINT)
    }
    for one in missing_requirements(product, DAY, (), certificate):
        if one.requirement in (AVERAGE, POINT):
            found[one.requirement_set, one.requirement] = None
    return found


@pytest.fixture(scope="module")
def use2() -> Product:
    return find_product("USE-2", "1/0 AWG", "concentric")


def test_every_type_is_held_to_the_set_of_its_letters() -> None:
    assert {one.name: Certificate().sets_for(one.name)[0] for one in all_types()} == LETTERS


@pytest.mark.parametrize(
    "named", [{"USE-2": ("UL 854",)}, {"XHHW-2": ("UL 44",)}, {"XHHW-2/USE-2": ("UL 44",)}, {}]
)
def test_use_2_is_held_to_its_own_walls_whatever_the_certificate(
    use2: Product, named: dict[str, tuple[str, ...]]
) -> None:
    """NFPA 70-2023 Table 310.4(1) (transcription): USE-2, 1/0 AWG, 80 mil; its point was seen nowhere."""
    found = walls(use2, Certificate(named))
    assert found["UL 854", AVERAGE] == 80.0
    assert found["UL 854", POINT] is None


def test_a_set_that_does_not_apply_to_the_type_is_told_as_not_judged(use2: Product) -> None:
    found = walls(use2, Certificate({"USE-2": ("UL 44",)}))
    assert found == {
        ("UL 854", AVERAGE): 80.0,
        ("UL 854", POINT): None,
        ("UL 44", AVERAGE): None,
        ("UL 44", POINT): None,
    }
    told = missing_requirements(use2, DAY, (), Certificate({"USE-2": ("UL 44",)}))
    assert next(plain(one.told) for one in told if one.requirement_set == "UL 44") == (
        "Not judged: no limit on file for minimum average wall of USE-2 1/0 AWG, concentric copper to UL 44 on "
        "2026-03-02. The program knows no requirement of UL 44 for type USE-2."
    )


def test_a_certificate_is_looked_up_by_each_type_and_not_by_the_family() -> None:
    wire = find_product("XHHW-2/USE-2", "1/0 AWG", "concentric")
    found = walls(wire, Certificate({"XHHW-2": ("UL 44",)}))
    assert set(found) == {("UL 44", AVERAGE), ("UL 44", POINT), ("UL 854", AVERAGE), ("UL 854", POINT)}
    # A key of several types gives each set to the types that it applies to.
    joined = Certificate({"XHHW-2/USE-2": ("UL 44", "UL 854")})
    assert (joined.sets_for("XHHW-2"), joined.sets_for("USE-2")) == (("UL 44",), ("UL 854",))
    # A wire with one letter of the key is still under it.
    assert Certificate({"THHN/THWN-2": ("UL 83",)}).sets_for("THHN") == ("UL 83",)


def test_a_type_the_sheet_does_not_name_is_held_to_every_set_on_file() -> None:
    assert Certificate({"THHN": ("UL 83",)}).sets_for("XHHW-2") == ("UL 44", WC70)


def test_a_set_that_asks_for_a_point_only_is_not_asked_for_an_average() -> None:
    """News item on ANSI/NEMA WC 70-2009: a minimum at any point, the nominal is no requirement."""
    found = walls(find_product("XHHW-2", "14 AWG", "concentric"), Certificate({"XHHW-2": ("UL 44", WC70)}))
    assert (WC70, POINT) in found and found[WC70, POINT] is None
    assert (WC70, AVERAGE) not in found


def test_a_plants_own_set_must_give_average_and_point_where_lots_are_certified_to_it(tmp_path: Path) -> None:
    sheet = sheet_of(
        tmp_path,
        '[certified]\n"XHHW-2" = ["UL 44", "Customer rule"]\n'
        '[[limits]]\nid = "c"\ntypes = ["XHHW-2"]\nsize_from = "14 AWG"\nsize_to = "10 AWG"\n'
        'requirement = "minimum average wall"\nvalue = 32\nunit = "mil"\nrequirement_set = "Customer rule"\n'
        'document = "Order"\nrevision = "A"\neffective_from = 2026-01-01\nentered_by = "a"\nchecked_by = "b"\n'
        'source = "order"\n',
    )
    wire = find_product("XHHW-2", "14 AWG", "concentric")
    told = missing_requirements(wire, DAY, sheet.limit_rows, sheet.certificate)
    assert ("Customer rule", POINT) in {(one.requirement_set, one.requirement) for one in told}


def test_a_percentage_of_an_average_that_is_not_on_file_is_told_and_not_left_out(tmp_path: Path) -> None:
    sheet = sheet_of(
        tmp_path,
        '[[limits]]\nid = "c"\ntypes = ["XHHW-2"]\nsize_from = "14 AWG"\nsize_to = "10 AWG"\n'
        'requirement = "minimum wall at any point"\nvalue = 90\nunit = "% of minimum average wall"\n'
        'requirement_set = "Customer rule"\ndocument = "Order"\nrevision = "A"\neffective_from = 2026-01-01\n'
        'entered_by = "a"\nchecked_by = "b"\nsource = "order"\n',
    )
    wire = find_product("XHHW-2", "14 AWG", "concentric")
    assert all(one.limit_id != "c" for one in limits_in_force(wire, DAY, sheet.limit_rows, sheet.certificate))
    told = missing_requirements(wire, DAY, sheet.limit_rows, sheet.certificate)
    assert [plain(one.told) for one in told if one.requirement_set == "Customer rule"] == [
        (
            "Not judged: limit 'c' is a percentage of the minimum average wall of Customer rule, and no such average "
            "of XHHW-2 14 AWG, concentric copper is on file."
        )
    ]


def test_a_limit_entered_for_joined_types_holds_for_each_of_them(tmp_path: Path) -> None:
    sheet = sheet_of(
        tmp_path,
        '[[limits]]\nid = "c"\ntypes = ["THHN/THWN-2"]\nsize_from = "14 AWG"\nsize_to = "10 AWG"\n'
        'requirement = "spark test voltage"\nvalue = 5\nunit = "kV"\nrequirement_set = "UL 83"\n'
        'document = "Order"\nrevision = "A"\neffective_from = 2026-01-01\nentered_by = "a"\nchecked_by = "b"\n'
        'source = "order"\n',
    )
    assert sheet.limit_rows[0].types == ("THHN", "THWN-2")


def test_no_random_sheet_loses_a_set_of_the_letters(tmp_path: Path) -> None:
    """Property: the sheet is refused, or every set of the letters is judged at its own figures or told as missing."""
    draw = random.Random(20260302)
    families = {one.name: one.family for one in all_types()}
    refused = read = 0
    for case in range(400):
        family = draw.choice(sorted(set(families.values())))
        names = [name for name, own in families.items() if own == family]
        marked = draw.sample(names, draw.randint(1, min(3, len(names))))
        wire = find_product(
            "/".join(marked), draw.choice(["14 AWG", "8 AWG", "1/0 AWG", "500 kcmil"]), "concentric"
        )
        certified = {}
        for _ in range(draw.randint(0, 3)):
            other = draw.choice(sorted(set(families.values())))
            pool = [name for name, own in families.items() if own == other]
            key = "/".join(draw.sample(pool, draw.randint(1, 2)))
            certified[key] = [_mistyped(draw, one) for one in draw.sample(known_sets(), draw.randint(1, 3))]
        text = "[certified]\n" + "".join(f'"{key}" = {_list(sets)}\n' for key, sets in certified.items())
        try:
            sheet = sheet_of(tmp_path, text)
        except SheetError:
            refused += 1
            assert any(one not in known_sets() for sets in certified.values() for one in sets), text
            continue
        read += 1
        limits = limits_in_force(wire, DAY, sheet.limit_rows, sheet.certificate)
        told = {
            (one.requirement_set, one.requirement)
            for one in missing_requirements(wire, DAY, (), sheet.certificate)
        }
        for name in marked:
            for requirement in (AVERAGE, POINT):
                judged = any(is_limit_of(one, requirement, LETTERS[name], name) for one in limits)
                assert judged or (LETTERS[name], requirement) in told, (case, text, marked)
    assert refused > 50 and read > 50


def _mistyped(draw: random.Random, name: str) -> str:
    if draw.random() < 0.8:
        return name
    at = draw.randrange(len(name))
    return draw.choice(
        [name[:at] + name[at + 1 :], name.lower(), name.replace(" ", ""), name[:at] + "x" + name[at:]]
    )


def _list(names: list[str]) -> str:
    return "[" + ", ".join(f'"{one}"' for one in names) + "]"
