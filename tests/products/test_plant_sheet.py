"""The plant sheet: what the demo's holds, and every complaint about one that cannot stand, word for word."""

import tomllib
from datetime import date
from pathlib import Path

import pytest

from pipeline.errors import SheetError
from pipeline.sheets.plant_rules import DecisionSheet
from pipeline.sheets.plant_sheet import PlantSheet, read_plant_sheet

DEMO = Path(__file__).parents[2] / "sample_runs" / "plant.toml"
HEAD = '[plant]\nname = "Plant"\nzone = "UTC"\n'


SETS_ON_FILE = "On file are UL 83; UL 44; UL 854; CSA C22.2 No. 38, 1000 V; ICEA S-95-658/NEMA WC 70."


def limit(**changes: str | None) -> str:
    """A limit that can stand, with some keys changed or, for None, left out."""
    keys: dict[str, str | None] = {
        "id": '"own-1"',
        "types": '["XHHW-2"]',
        "size_from": '"1 AWG"',
        "size_to": '"4/0 AWG"',
        "requirement": '"minimum wall at any point"',
        "value": "50",
        "unit": '"mil"',
        "requirement_set": '"UL 44"',
        "document": '"Limit list"',
        "revision": '"A"',
        "effective_from": "2026-01-01",
        "entered_by": '"quality engineer"',
        "checked_by": '"quality manager"',
        "source": '"licensed copy"',
    }
    keys.update(changes)
    return "[[limits]]\n" + "".join(f"{key} = {value}\n" for key, value in keys.items() if value is not None)


def complaints_of(folder: Path, text: str, head: str = HEAD) -> list[str]:
    path = folder / "plant.toml"
    path.write_text(head + text, encoding="utf-8")
    try:
        read_plant_sheet(path)
    except SheetError as fault:
        return [str(one).replace(str(path), "plant.toml") for one in fault.complaints]
    return []


@pytest.fixture(scope="module")
def demo() -> PlantSheet:
    return read_plant_sheet(DEMO)


def test_the_demo_plant_is_marked_as_invented(demo: PlantSheet) -> None:
    assert (demo.name, demo.zone, demo.units, demo.demo) == (
        "Demo plant",
        "America/Chicago",
        "imperial",
        True,
    )
    for one in demo.limits:
        assert one.id.startswith("demo-")
        assert one.source.startswith("the demo's own figure")
        assert one.effective_from >= date(2026, 1, 1)
        assert one.entered_by != one.checked_by
    assert all(one.standing == "entered by the plant" for one in demo.limit_rows)
    assert all(one.source == "the demo's own listing" for one in demo.listings)


def test_the_demo_plant_enters_what_no_source_shows(demo: PlantSheet) -> None:
    entered = {(one.requirement, one.types[0]) for one in demo.limits}
    for requirement in ("concentricity", "overall diameter", "spark test voltage"):
        assert (requirement, "THHN") in entered
    assert ("minimum wall at any point", "XHHW-2") in entered
    assert ("minimum wall at any point", "THHN") not in entered


def test_the_demo_plants_stricter_tie_never_passes_what_the_other_would_fail(demo: PlantSheet) -> None:
    """90 % of 55 and 65 mil is 49.5 and 58.5 mil; the demo takes the mil above, the exact value or more."""
    points = {
        one.limit_id: one.value
        for one in demo.limit_rows
        if one.requirement == "minimum wall at any point" and one.requirement_set == "UL 44"
    }
    assert points["demo-XHHW2-point-55mil"] >= 0.9 * 55 * 0.0254
    assert points["demo-XHHW2-point-65mil"] >= 0.9 * 65 * 0.0254


def test_decision_rules_and_holds(demo: PlantSheet) -> None:
    assert demo.decision_for("minimum wall at any point") == DecisionSheet(rule="guard band", confidence=0.95)
    # ISO 14253-1: conformity and nonconformity are shown with 95 % unless agreed otherwise (secondary text).
    assert demo.decision_for("something else") == DecisionSheet(rule="guard band", confidence=0.95)
    assert demo.holds.longest_unmonitored_m == 60.0
    assert demo.holds.spark_faults_per_reel == 2
    assert demo.second_person.dispositions == ("concession", "release")
    assert demo.certificate.sets_for("XHHW-2") == ("UL 44", "ICEA S-95-658/NEMA WC 70")
    assert demo.certificate.sets_for("THWN-2") == ("UL 83",)


def test_listings_are_by_type_and_size(demo: PlantSheet) -> None:
    def options(size: str) -> list[str]:
        return [one.option for one in demo.listings_for(("THHN", "THWN-2"), size)]

    assert options("14 AWG") == [
        "oil and gasoline resistant II",
        "VW-1 flame test",
        "Canadian market: T90 nylon",
    ]
    assert options("1/0 AWG") == [
        "oil and gasoline resistant II",
        "sunlight resistant",
        "for use in cable trays",
        "Canadian market: T90 nylon",
    ]


def test_saleable_lengths_are_exact_in_metres(demo: PlantSheet) -> None:
    assert [one.metres for one in demo.cutting.lengths] == pytest.approx([152.4, 304.8, 762.0], abs=1e-12)
    assert demo.cutting.minimum_remnant_m == 30.0


def test_an_entered_limit_keeps_its_unit_of_record(demo: PlantSheet) -> None:
    row = next(one for one in demo.limit_rows if one.limit_id == "demo-XHHW2-point-55mil")
    assert (row.value_of_record, row.unit_of_record) == (50.0, "mil")
    assert (row.value, row.unit) == (pytest.approx(1.27), "mm")
    assert (row.size_from.name, row.size_to.name) == ("1 AWG", "4/0 AWG")


def test_the_least_sheet_stands(tmp_path: Path) -> None:
    assert complaints_of(tmp_path, "") == []
    assert complaints_of(tmp_path, limit()) == []
    sheet = read_plant_sheet(tmp_path / "plant.toml")
    assert (sheet.demo, sheet.prices, sheet.cutting.lengths) == (False, None, ())


ON_FILE = "On file are THHN, THWN, THWN-2, XHHW-2, XHHW, XHH, RHW-2, USE-2, RW90-1000V."
CASES: dict[str, tuple[str, list[str]]] = {
    "a limit without a source": (
        limit(document=None, source=None),
        [
            (
                "plant.toml: limits[1].document: limit 'own-1' names no document. Say in which document the value "
                "stands."
            ),
            "plant.toml: limits[1].source: limit 'own-1' has no source. Say who saw the value and in which copy.",
        ],
    ),
    "mm written as mil": (
        limit(requirement='"minimum average wall"', value="0.38", requirement_set='"own"'),
        [
            (
                "plant.toml: limits[1].value: 0.38 mil (0.009652 mm) cannot be the minimum average wall of "
                "building wire. A figure from 0.2 to 4 mm can be meant. If 0.38 mm is meant, write that unit."
            ),
        ],
    ),
    "mil written as mm": (
        limit(value="50", unit='"mm"'),
        [
            (
                "plant.toml: limits[1].value: 50 mm cannot be the minimum wall at any point of building wire. A "
                "figure from 0.15 to 4 mm can be meant. If 50 mil is meant, write that unit."
            ),
        ],
    ),
    "kV written as V": (
        limit(requirement='"spark test voltage"', value="10", unit='"V"'),
        [
            (
                "plant.toml: limits[1].value: 10 V (0.01 kV) cannot be the spark test voltage of building wire. A "
                "figure from 0.5 to 40 kV can be meant. If 10 kV is meant, write that unit."
            ),
        ],
    ),
    "a share written for a percentage": (
        limit(requirement='"concentricity"', value="0.7", unit='"%"'),
        [
            (
                "plant.toml: limits[1].value: 0.7 % cannot be the concentricity of building wire. A figure from 30 "
                "to 100 % can be meant."
            ),
        ],
    ),
    "a unit of another quantity": (
        limit(unit='"kV"'),
        [
            (
                "plant.toml: limits[1].unit: kV does not measure minimum wall at any point. It may be mil, in, mm, "
                "um, % of minimum average wall."
            ),
        ],
    ),
    "overlapping effective dates": (
        limit() + limit(id='"own-2"', value="49", revision='"B"', effective_from="2026-06-01"),
        [
            (
                "plant.toml: limits[2].effective_from: from 2026-06-01 both this limit and limit 'own-1' "
                "(2026-01-01 to no end) hold for minimum wall at any point to UL 44. End 'own-1' before the later "
                "one starts: effective_to = 2026-05-31."
            ),
        ],
    ),
    "overlapping by one day": (
        limit(effective_to="2026-06-01") + limit(id='"own-2"', effective_from="2026-06-01"),
        [
            (
                "plant.toml: limits[2].effective_from: from 2026-06-01 both this limit and limit 'own-1' "
                "(2026-01-01 to 2026-06-01) hold for minimum wall at any point to UL 44. End 'own-1' before the "
                "later one starts: effective_to = 2026-05-31."
            ),
        ],
    ),
    "the same dates": (
        limit() + limit(id='"own-2"'),
        [
            (
                "plant.toml: limits[2].effective_from: from 2026-01-01 both this limit and limit 'own-1' "
                "(2026-01-01 to no end) hold for minimum wall at any point to UL 44. Keep one of them, or let one "
                "start after the other ends."
            ),
        ],
    ),
    "one revision after the other": (
        limit(effective_to="2026-05-31") + limit(id='"own-2"', effective_from="2026-06-01"),
        [],
    ),
    "the same day for other sizes": (
        limit() + limit(id='"own-2"', size_from='"250 kcmil"', size_to='"500 kcmil"'),
        [],
    ),
    "overlapping a limit of the product tables": (
        limit(requirement='"minimum average wall"', value="1.40", unit='"mm"'),
        [
            (
                "plant.toml: limits[1].effective_from: from 2026-01-01 both this limit and limit "
                "'UL44-average-1..4-0' of the product tables (start not known to no end) hold for minimum average wall "
                'to UL 44. Write replaces = "UL44-average-1..4-0" if this one takes its place.'
            ),
        ],
    ),
    "replacing a limit of the product tables": (
        limit(
            requirement='"minimum average wall"',
            value="1.40",
            unit='"mm"',
            replaces='"UL44-average-1..4-0"',
        ),
        [],
    ),
    "replacing what is not there": (
        limit(replaces='"UL44-average-1..4-0"')
        + limit(id='"own-2"', requirement_set='"own"', replaces='"no"'),
        [
            (
                "plant.toml: limits[1].replaces: 'UL44-average-1..4-0' is a limit for minimum average wall, not "
                "minimum wall at any point. Name a limit for the same requirement."
            ),
            (
                "plant.toml: limits[2].replaces: 'no' is not a limit of the product tables. Copy the id from the "
                "product's limits, or take the key out."
            ),
        ],
    ),
    "an id of the product tables": (
        limit(id='"UL44-average-1..4-0"'),
        [
            (
                "plant.toml: limits[1].id: 'UL44-average-1..4-0' is a limit of the product tables. Give this one "
                "its own id; to take the other's place write it under replaces."
            ),
        ],
    ),
    "a point above the average": (
        limit(value="56"),
        [
            (
                "plant.toml: limits[1].value: a minimum at any point of 56 mil is above the minimum average of "
                "1.4 mm ('UL44-average-1..4-0'). Check the figure, its unit and the sizes."
            ),
        ],
    ),
    "a point far under the average": (
        limit(value="8"),
        [
            (
                "plant.toml: limits[1].value: a minimum at any point of 8 mil is under 50 % of the minimum average of "
                "1.4 mm ('UL44-average-1..4-0'). Check the figure, its unit and the sizes."
            ),
        ],
    ),
    "a point above the plant's own average": (
        limit(requirement_set='"own"', value="56")
        + limit(id='"own-2"', requirement_set='"own"', requirement='"minimum average wall"', value="54"),
        [
            (
                "plant.toml: limits[1].value: a minimum at any point of 56 mil is above the minimum average of "
                "54 mil ('own-2'). Check the figure, its unit and the sizes."
            ),
        ],
    ),
    "an average below a point of the product tables": (
        limit(
            size_from='"14 AWG"',
            size_to='"10 AWG"',
            requirement='"minimum average wall"',
            value="26",
            replaces='"UL44-average-14..10"',
            note='"as the licensed copy prints it"',
        ),
        [
            (
                "plant.toml: limits[1].value: a minimum at any point of 0.69 mm ('UL44-point-14..10') is above the "
                "minimum average of 26 mil. Check the figure, its unit and the sizes."
            ),
        ],
    ),
    "a covering as thick as the wall": (
        limit(
            types='["THHN"]',
            size_from='"14 AWG"',
            size_to='"12 AWG"',
            requirement='"covering at any point"',
            value="15",
            requirement_set='"own"',
        ),
        [
            (
                "plant.toml: limits[1].value: a covering of 15 mil is not thinner than the insulation's minimum "
                "average of 15 mil ('UL83-average-14..12'). Check the figure, its unit and the sizes."
            ),
        ],
    ),
    "an end before the start": (
        limit(effective_to="2025-12-31"),
        [
            (
                "plant.toml: limits[1].effective_to: the limit ends on 2025-12-31, before it starts on 2026-01-01. "
                "Give the last day it is in force."
            ),
        ],
    ),
    "sizes the wrong way round": (
        limit(size_from='"4/0 AWG"', size_to='"1 AWG"'),
        ["plant.toml: limits[1].size_from: 4/0 AWG is larger than 1 AWG. Give the smallest size first."],
    ),
    "an unknown type and an unknown size": (
        limit(types='["XHHX-2"]', size_from='"15 AWG"'),
        [
            (
                "plant.toml: limits[1].types: 'XHHX-2' is not a wire type on file. The nearest is XHHW-2. "
                f"{ON_FILE}"
            ),
            (
                "plant.toml: limits[1].size_from: '15 AWG' is not a conductor size on file. The nearest is 14 AWG. "
                "Sizes on file run from 14 AWG to 1000 kcmil."
            ),
        ],
    ),
    "an id twice": (
        limit() + limit(requirement_set='"own"'),
        ["plant.toml: limits: the id 'own-1' stands more than once. Give each limit its own id."],
    ),
    "a diameter without a sense": (
        limit(requirement='"overall diameter"', value="12", unit='"mm"'),
        [
            "plant.toml: limits[1]: the overall diameter needs 'sense': at least or at most. Mend it and try again.",
        ],
    ),
    "one role entered and checked": (
        "[second_person]\nlimits = true\n" + limit(checked_by='"quality engineer"'),
        [
            (
                "plant.toml: limits[1].checked_by: 'quality engineer' entered and checked limit 'own-1'. The "
                "sheet's second_person.limits asks for another role."
            ),
        ],
    ),
    "a length in no unit and in two": (
        "[cutting]\nlengths = [{ value = 3.0 }, { length_m = 3, length_ft = 2, value = 1 }]\n",
        [
            (
                "plant.toml: cutting.lengths[1]: give either 'length_m' or 'length_ft', and not both. Mend it and "
                "try again."
            ),
            (
                "plant.toml: cutting.lengths[2]: give either 'length_m' or 'length_ft', and not both. Mend it and "
                "try again."
            ),
        ],
    ),
    "a rule that is none": (
        '[decision.concentricity]\nrule = "hope"\n',
        [
            (
                "plant.toml: decision.concentricity.rule: found 'hope'. It may be 'simple acceptance' or "
                "'guard band'."
            ),
        ],
    ),
    "a certified requirement set mistyped": (
        '[certified]\n"XHHW-2" = ["UL44"]\n',
        [
            (
                "plant.toml: certified.\"XHHW-2\": 'UL44' is not a requirement set on file. The nearest is UL 44. "
                f"{SETS_ON_FILE}"
            ),
        ],
    ),
    "a certified requirement set of nobody": (
        '[certified]\n"THHN" = ["Zone rule"]\n',
        [
            (f"plant.toml: certified.\"THHN\": 'Zone rule' is not a requirement set on file. {SETS_ON_FILE}"),
        ],
    ),
    "a certificate that names nothing": (
        '[certified]\n"THHN" = []\n',
        ['plant.toml: certified."THHN": it names no requirement set. Name one, or take the key out.'],
    ),
    "a limit of a requirement set spelled otherwise": (
        limit(requirement_set='"ul-44"'),
        [
            (
                "plant.toml: limits[1].requirement_set: 'ul-44' is not how the requirement set 'UL 44' is written. "
                "Write UL 44."
            ),
        ],
    ),
    "a least wall written as a greatest": (
        limit(sense='"at most"'),
        [
            (
                "plant.toml: limits[1].sense: limit 'own-1' says at most, but minimum wall at any point is limited by "
                "a least value. Write at least, or take the key out."
            ),
        ],
    ),
    "a laxer limit in another's place": (
        limit(requirement='"minimum average wall"', value="54", replaces='"UL44-average-1..4-0"'),
        [
            (
                "plant.toml: limits[1].note: limit 'own-1' of 54 mil is laxer than 'UL44-average-1..4-0' of 1.4 mm, "
                "which it replaces. Check the figure; if the document does state it, say so in a note."
            ),
        ],
    ),
    "a certified construction that is none": (
        '[certified]\n"THHX" = ["UL 83"]\n',
        [f"plant.toml: certified: 'THHX' is not a wire type on file. The nearest is THHN. {ON_FILE}"],
    ),
    "a listing of an unknown size": (
        '[[listings]]\ntypes = ["THHN"]\noption = "o"\nsize_from = "13 AWG"\nsize_to = "1000"\nsource = "s"\n',
        [
            (
                "plant.toml: listings[1].size_from: '13 AWG' is not a conductor size on file. The nearest is "
                "14 AWG. Sizes on file run from 14 AWG to 1000 kcmil."
            ),
        ],
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_what_cannot_stand_is_said_whole(name: str, tmp_path: Path) -> None:
    text, expected = CASES[name]
    assert complaints_of(tmp_path, text) == expected


def test_a_zone_that_is_none(tmp_path: Path) -> None:
    head = '[plant]\nname = "Plant"\nzone = "Mars/Base"\n'
    assert complaints_of(tmp_path, "", head) == [
        (
            "plant.toml: plant: 'Mars/Base' is not a time zone; write an IANA name like America/Chicago. Mend it and "
            "try again."
        )
    ]


def test_all_complaints_come_at_once(tmp_path: Path) -> None:
    text = limit(document=None) + limit(id='"own-2"', requirement_set='"own"', value="0.38")
    keys = [one.split(": ")[1] for one in complaints_of(tmp_path, text)]
    assert keys == ["limits[1].document", "limits[2].value"]


def test_the_demo_sheet_is_commented_as_invented() -> None:
    text = DEMO.read_text(encoding="utf-8")
    assert text.startswith("# The demo's plant. Everything in this file is invented for the demo")
    assert tomllib.loads(text)["plant"]["demo"] is True
