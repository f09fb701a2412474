"""A reel without a mark of its own between the marks of a damaged roll, on a line made apart from the program."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from pipeline.nonconformance.going import BETWEEN_MARKS
from tests.other_lines.lines import LINES
from tests.other_lines.products import MADE_ON
from tests.other_lines.running import Plan
from tests.other_lines.wire import Defect
from tests.release_matrix.cases import Case, Sheet, run_case
from tests.release_matrix.wire_cases import plan_of

LINE = LINES["T1"]
TURN = LINE.ripple[1]
ALLOWED = Sheet(
    "few faults allowed",
    lambda sheet: replace(
        sheet,
        holds=sheet.holds.replace("spark_faults_per_reel = 0", "spark_faults_per_reel = 9"),
        more='[severity.spark-fault]\nseverity = "minor"\nholds_release = false\n',
    ),
)


def marks(reel: int, first: int, number: int) -> tuple[tuple[int, Defect], ...]:
    """Faults a whole number of turns of the roll apart, counted from the first reel's start."""
    length = plan_of(LINE).reel_m
    return tuple((reel, Defect("pinhole", (first + 3 * k) * TURN - reel * length)) for k in range(number))


def found_of(plan: Plan, folder: Path) -> dict[str, tuple[str, tuple[str, ...]]]:
    case = Case("roll", "", LINE, MADE_ON["T1"][0], plan)
    return {one.reel: (one.got, one.reasons) for one in run_case(case, folder / "run")}


def test_a_reel_between_the_marks_of_a_roll_is_held(tmp_path: Path) -> None:
    """Turns of 1.9 m: marks at the end of reel 1 and the start of reel 3, none on reel 2, and reel 5 far beyond."""
    length = plan_of(LINE).reel_m
    last, first = int(0.75 * length / TURN), int(2.1 * length / TURN)
    plan = replace(plan_of(LINE, reels=5), defects=(*marks(0, last, 5), *marks(2, first, 5)))
    got = found_of(plan, tmp_path)
    assert got["R1.1"][0] == got["R1.3"][0] == "held"
    assert got["R1.2"][0] == "held"
    assert any(
        told.startswith(f"Marks of {LINE.id}-roll repeat over ")
        and told.endswith("This reel was made on the same roll and shows none.")
        for told in got["R1.2"][1]
    )
    assert (got["R1.4"][0], got["R1.5"][0]) == ("releasable", "releasable")


def test_a_reel_within_a_turn_of_the_last_mark_is_held(tmp_path: Path) -> None:
    length = plan_of(LINE).reel_m
    end = int((length - 0.3 * TURN) / TURN)
    before = tuple((0, Defect("pinhole", (end - 3 * k) * TURN)) for k in range(7))
    got = found_of(replace(plan_of(LINE, reels=3), defects=before), tmp_path)
    assert [got[f"R1.{n}"][0] for n in (1, 2, 3)] == ["held", "held", "releasable"]


def test_faults_by_chance_on_two_reels_hold_no_third(tmp_path: Path) -> None:
    length = plan_of(LINE).reel_m
    places = ((0, 0.31), (0, 0.52), (0, 0.87), (2, 0.13), (2, 0.44), (2, 0.93))
    plan = replace(
        plan_of(LINE, reels=3), defects=tuple((n, Defect("pinhole", share * length)) for n, share in places)
    )
    got = found_of(plan, tmp_path)
    assert got["R1.2"] == ("releasable", ())


def test_the_zone_is_found_once_and_does_not_grow_from_what_was_found_in_it(tmp_path: Path) -> None:
    from pipeline.nonconformance.going import repeat_zones

    rows = [
        {"rule": "spark-fault", "cause": "roll", "cause_of": "A", "from_m": 100.0, "to_m": 101.0},
        {"rule": BETWEEN_MARKS, "cause": "roll", "cause_of": "A", "from_m": 50.0, "to_m": 260.0},
        {"rule": "spark-fault", "cause": "roll", "cause_of": "A", "from_m": 200.0, "to_m": 201.0},
    ]
    assert repeat_zones(rows, {"A": 2.0}) == (((98.0, 203.0), "A", 2),)
