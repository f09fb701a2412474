"""A drift found at calibration: which reels it reaches, by hand figures and on the sample runs."""

from __future__ import annotations

import json
import subprocess
import sys
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from pipeline.errors import ReelproofError
from pipeline.job.readjudicating import reach_of_drift, reach_of_rows
from pipeline.simulator.lines import line_l1, line_l2
from pipeline.store.database import open_to_read
from pipeline.trust.calibration import DriftFound
from tests.said import said

DRIFT = DriftFound("L1-WG", date(2026, 2, 1), date(2026, 3, 3), 0.006)


def row(reel: str, day: int, worst: float | None, limit: float | None = 0.345, **more: Any) -> dict[str, Any]:
    whole = {
        "run_id": "R-1",
        "reel_id": reel,
        "shift_date": date(2026, 2, day),
        "requirement": "minimum wall at any point",
        "sense": "at least",
        "worst": worst,
        "uncertainty": 0.0,
        "limit_value": limit,
    }
    return {**whole, **more}


def gauge_of(line: Any, kind: str) -> Any:
    return next(one for one in line.instruments if one.kind == kind)


def test_the_worked_drift_reaches_the_reels_whose_margin_it_eats() -> None:
    """Worked case: 6 um in 30 days is 4 um on day 20, and 0.348 mm becomes 0.344; 3 um of margin are less than 4."""
    rows = [
        row("A", 21, 0.348),
        row("B", 21, 0.3495),
        row("C", 6, 0.3465),
        row("D", 21, None),
        row("E", 21, 0.340),
    ]
    reach = reach_of_rows(line_l1(), gauge_of(line_l1(), "wall gauge"), DRIFT, rows)
    assert {one.reel.reel: (one.state, one.contained) for one in reach.judged} == {
        "A": ("fails", True),
        "B": ("unchanged", False),
        "C": ("unchanged", False),
        "E": ("unchanged", True),
    }
    assert next(one for one in reach.judged if one.reel.reel == "A").corrected_mm == pytest.approx(0.344)
    assert reach.unread == (("D", "minimum wall at any point"),)
    assert said(reach.told) == (
        "2 of 5 reels made since the last good check are in the scope of containment.",
        (
            "The bias is taken to have grown evenly since then; an instrument that was knocked was biased in full "
            "from that day, and then more reels are in scope."
        ),
        "Concentricity is not judged anew: a bias that all sensors share moves it little, one sensor's alone much.",
        "1 requirements had no reading or no limit: they were not passed before and are not now.",
    )


def test_half_a_diameters_bias_is_the_walls_where_the_wall_comes_from_the_diameter() -> None:
    line = line_l2().model_copy(
        update={"instruments": tuple(one for one in line_l2().instruments if one.kind != "wall gauge")}
    )
    drift = DriftFound("L2-CD", date(2026, 2, 1), date(2026, 2, 11), 0.008)
    rows = [row("A", 20, 1.400, 1.397, requirement="minimum average wall")]
    (one,) = reach_of_rows(line, gauge_of(line, "cold diameter gauge"), drift, rows).judged
    assert one.bias_mm == pytest.approx(0.004)
    assert one.state == "fails"


def test_an_instrument_that_judges_nothing_is_told() -> None:
    with pytest.raises(ReelproofError) as fault:
        reach_of_rows(line_l1(), gauge_of(line_l1(), "spark tester"), DRIFT, [])
    assert [str(one) for one in fault.value.complaints] == [
        (
            "instrument L1-HV: no requirement is judged by a spark tester in millimeters. Name the wall gauge or "
            "the cold diameter gauge; for any other, judge its runs again."
        )
    ]


def test_a_drift_reaches_the_sample_runs(judged_store: Path) -> None:
    """Reels that failed before stay in scope, sound ones have margin enough, other lines are not touched."""
    drift = DriftFound("L1-WG", date(2026, 1, 12), date(2026, 3, 31), 0.004)
    with open_to_read(judged_store) as store:
        reach = reach_of_drift(store, "L1", drift)
        none = reach_of_drift(store, "L1", DriftFound("L1-WG", date(2026, 3, 9), date(2026, 3, 31), 0.004))
    assert {one.reel.reel[:2] for one in reach.judged} == {"L1"}
    assert "L1-0412-02" in {one.reel.reel for one in reach.contained}
    assert "L1-0411-01" not in {one.reel.reel for one in reach.contained}
    assert none.judged == ()


def asked(store: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    whole = [sys.executable, "-m", "pipeline", "drift", *arguments, "--store", str(store)]
    return subprocess.run(whole, capture_output=True, text=True, timeout=240)


def test_the_command_lists_reels_and_says_what_is_wrong_with_its_words(judged_store: Path) -> None:
    days = ("--found", "2026-03-31", "--last-good", "2026-01-12")
    shown = asked(judged_store, "L1", "L1-WG", "--bias", "4um", *days, "--json")
    answer = json.loads(shown.stdout)
    assert shown.returncode == 1 and answer["bias_mm"] == 0.004
    assert any(one["contained"] for one in answer["judged_anew"])
    wrong = asked(judged_store, "L1", "L1-WG", "--bias", "4", *days)
    assert wrong.returncode == 2
    assert wrong.stderr == (
        "--bias: '4' is no small length with a unit. Write it like 0.004mm, 4um or -0.2mil.\n"
    )
    swapped = asked(
        judged_store, "L1", "L1-WG", "--bias", "4um", "--found", "2026-01-01", "--last-good", "2026-01-12"
    )
    assert swapped.stderr == (
        "drift of L1-WG: the last good check, 2026-01-12, is not before the day the drift was found, "
        "2026-01-01. Check --last-good and --found.\n"
    )
    unknown = asked(judged_store, "L1", "L1-W", "--bias", "4um", *days)
    assert unknown.stderr.startswith(
        "L1-W: no instrument of this number is on file. The nearest on file: L1-WG"
    )
