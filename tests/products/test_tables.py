"""Every value walks to a source: the tables by themselves, and every line of every construction sheet."""

import csv
import json
from datetime import date
from pathlib import Path

import pytest

from pipeline.errors import NotFoundError
from pipeline.products.conductors import CONDUCTORS, METALS
from pipeline.products.construction_sheet import SECTIONS, ConstructionSheet, construction_sheet
from pipeline.products.json_form import as_json
from pipeline.products.limit_rows import REQUIREMENTS, UNITS, package_rows
from pipeline.products.product import find_product
from pipeline.products.sizes import all_sizes
from pipeline.products.source_standing import BLANK, SourceStanding
from pipeline.products.table_rows import source_named, sources_of, table_rows

ROOT = Path(__file__).parents[2]
TABLES = sorted((ROOT / "pipeline" / "products" / "tables").glob("*.csv"))
VALUE_TABLES = [path.stem for path in TABLES if path.stem != "sources"]
NEVER_SEEN = (SourceStanding.MEMORY, SourceStanding.NOT_SEEN)


def test_the_tables_are_the_expected_ones() -> None:
    assert VALUE_TABLES == [
        "conductor_tolerances",
        "conductors",
        "limits",
        "materials",
        "published_diameters",
        "published_masses",
        "ratings",
        "requirements",
        "resistances",
        "sizes",
        "type_letters",
        "types",
    ]


@pytest.mark.parametrize("name", VALUE_TABLES)
def test_every_row_of_every_table_names_source_and_standing(name: str) -> None:
    rows = table_rows(name)
    assert rows
    for row in rows:
        assert None not in row.values(), row
        standing, sources = SourceStanding(row["standing"]), sources_of(row)
        assert all(source_named(one).document for one in sources), row
        if "document" in row and not row["document"]:
            assert standing in NEVER_SEEN, row
        if standing is SourceStanding.MEMORY:
            assert "MEM" in sources, row
        if standing is SourceStanding.NOT_SEEN:
            assert not sources, row
        if standing in (SourceStanding.ELSEWHERE, SourceStanding.IN_STANDARD, SourceStanding.COMPUTED):
            assert sources and sources[0] != "MEM", row
        if standing is SourceStanding.IN_STANDARD:
            assert source_named(sources[0]).standing is SourceStanding.IN_STANDARD, row


def test_what_was_never_seen_is_blank() -> None:
    """No copy of ICEA P-32-382 and no minimum temperature was seen: nothing is printed as a rating from memory."""
    for row in table_rows("ratings"):
        if SourceStanding(row["standing"]) in NEVER_SEEN:
            assert (row["value"], row["text"], row["document"]) == ("", "", ""), row
    blank = {row["rating"] for row in table_rows("ratings") if row["standing"] == SourceStanding.NOT_SEEN}
    assert blank == {"short-circuit conductor temperature", "minimum temperature"}
    text = (ROOT / "pipeline" / "products" / "tables" / "ratings.csv").read_text(encoding="utf-8")
    assert not any(figure in text for figure in ("150", "250,degC", "-40", "-10"))


def test_a_wall_of_a_product_standard_is_never_said_to_be_seen_in_it() -> None:
    """UL 83, UL 44 and UL 854 themselves were not read; their walls stand in the wire code, style pages, a table."""
    for row in package_rows():
        assert row.standing is not SourceStanding.IN_STANDARD
        if "point" in row.limit_id and row.standing is SourceStanding.ELSEWHERE and "UL AWM" in row.document:
            assert "Seen beside the same average wall, not inside UL" in row.note, row.limit_id
    ten = next(row for row in package_rows() if row.limit_id == "UL83-point-10..10")
    assert "style page 10236 prints 17 mil" in ten.note


def test_conductor_rows_cite_only_what_was_seen() -> None:
    """ASTM B8-99, Table 1: rows of 700 to 1000 kcmil were seen (public excerpt), those of 19 smaller sizes were not."""
    seen = {"700 kcmil", "750 kcmil", "800 kcmil", "900 kcmil", "1000 kcmil"}
    unseen = 0
    for row in table_rows("conductors"):
        if row["document"] == "ASTM B8":
            assert row["size"] in seen, row
        elif (row["conductor"], row["strand_class"]) == ("concentric", "B"):
            assert "the row of ASTM B8 Table 1 was not seen" in row["note"]
            unseen += 1
    assert unseen == 19
    for row in table_rows("conductor_tolerances"):
        assert row["standing"] in (SourceStanding.COMPUTED, SourceStanding.MEMORY)
        assert "nominal" in row["note"] and ("not seen" in row["note"] or "from memory" in row["note"])


def test_no_start_of_validity_is_made_up() -> None:
    assert all(row.effective_from is None for row in package_rows())


@pytest.mark.parametrize("path", TABLES, ids=lambda p: p.stem)
def test_no_cell_has_stray_blanks_and_no_row_stands_twice(path: Path) -> None:
    lines = list(csv.reader(path.read_text(encoding="utf-8").splitlines()))
    assert all(len(line) == len(lines[0]) for line in lines)
    assert all(cell == cell.strip() for line in lines for cell in line)
    assert len({tuple(line) for line in lines}) == len(lines)


def test_every_source_is_described_and_unknown_ones_fail() -> None:
    sources = [row["source"] for row in table_rows("sources")]
    assert len(set(sources)) == len(sources)
    assert all(source_named(one).where_seen for one in sources)
    with pytest.raises(KeyError):
        source_named("S999")


def test_limit_rows_are_well_formed() -> None:
    rows = package_rows()
    assert len({row.limit_id for row in rows}) == len(rows) == 52
    for row in rows:
        assert row.requirement in REQUIREMENTS
        assert row.sense in ("at least", "at most")
        assert row.unit_of_record in UNITS
        assert row.size_from.order <= row.size_to.order
        assert row.effective_to is None or row.first_day <= row.effective_to
        assert row.edition
        assert row.revision
        assert row.entered_by


def test_no_two_limits_of_the_program_hold_at_once() -> None:
    """For each type, size, set and requirement at most one row is in force on any day."""
    for size in all_sizes():
        for name in (row["type"] for row in table_rows("types")):
            for on in (date(1999, 1, 1), date(2008, 12, 31), date(2009, 1, 1), date(2026, 3, 2)):
                held = [
                    (row.requirement_set, row.requirement, row.sense)
                    for row in package_rows()
                    if row.applies_to((name,), size) and row.in_force(on)
                ]
                assert len(set(held)) == len(held)


def test_printed_mm_beside_mil_is_the_same_wall_but_for_known_prints() -> None:
    """The wire code rounds to 0.01 mm; it prints 1.63 beside 65 mil and rounds 55 mil up to 1.40."""
    odd = {}
    for row in table_rows("limits"):
        if row["beside_mm"]:
            exact = float(row["value"]) * 0.0254
            if abs(float(row["beside_mm"]) - exact) > 0.005:
                odd[row["limit_id"]] = (row["value"], row["beside_mm"])
    assert odd == {"UL44-average-250..500": ("65", "1.63")}


def every_sheet() -> list[ConstructionSheet]:
    sheets = []
    for construction in ("THHN/THWN-2", "XHHW-2"):
        for size in all_sizes():
            for make in CONDUCTORS:
                for metal in METALS:
                    try:
                        product = find_product(construction, size.name, make, metal)
                    except NotFoundError:
                        continue
                    sheets.append(construction_sheet(product))
    return sheets


def test_every_value_of_every_sheet_walks_to_a_source_row() -> None:
    """All sizes, both families, every make and metal on file: 2 x 2 x (13 + 24 + 24 + 19) sheets."""
    sheets = every_sheet()
    assert len(sheets) == 2 * 2 * (13 + 24 + 24 + 19)
    limits = {row["limit_id"]: row for row in table_rows("limits")}
    for sheet in sheets:
        listed = {one.source for one in sheet.sources}
        for line in sheet.lines:
            assert line.section in SECTIONS
            if line.value is None:
                assert (line.standing, line.note.endswith(BLANK)) == (SourceStanding.NOT_SEEN, True)
                continue
            assert isinstance(line.standing, SourceStanding) and line.standing is not SourceStanding.NOT_SEEN
            assert line.sources and line.where
            assert set(line.sources) <= listed
            assert line.low is not None
            assert line.high is not None
            assert line.low <= line.value <= line.high
        for rating in sheet.ratings:
            assert set(rating.sources) <= listed
            assert (rating.value is None) == bool(rating.text)
        for limit in sheet.limits:
            row = limits[limit.limit_id]
            records = {(float(row["value"]), row["unit"])}
            if row["beside_mm"]:
                records.add((float(row["beside_mm"]), "mm"))
            assert (limit.value_of_record, limit.unit_of_record) in records
            assert limit.where and limit.note
            assert (limit.document, limit.revision, limit.source) == (
                row["document"],
                row["revision"],
                row["source"],
            )
        assert sheet.cautions


def test_every_sheet_answers_for_all_24_sizes_of_both_families_in_json() -> None:
    for construction in ("THHN/THWN-2", "XHHW-2"):
        for size in all_sizes():
            sheet = construction_sheet(find_product(construction, size.name, "concentric"))
            again = json.loads(json.dumps(as_json(sheet)))
            assert again["size"] == size.name
            assert len(again["lines"]) == len(sheet.lines)
            assert again["lines"][0]["value"] == sheet.lines[0].value
