"""One run with one contradiction in its data: whether the program says so, and what becomes of its reels."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path

from pipeline.contradictions import Unseen
from pipeline.messages import Measure, Message
from pipeline.warned import Warned
from pipeline.wording.say import plain
from tests.other_lines.edits import Edit
from tests.other_lines.lines import LINES
from tests.other_lines.products import MADE_ON
from tests.other_lines.running import MadeRun, Plan
from tests.other_lines.wire import Defect
from tests.release_matrix.cases import Case, labels_of, made_run, outcome, written
from tests.release_matrix.judging import OnBench, judged_run, measured_run
from tests.release_matrix.plants import diameter_limits, plant_for, target_mm, thin_by
from tests.release_matrix.truths import uncertainties

# Warnings that accuse a gauge, a counter or a clock.
ACCUSING = frozenset(
    {
        Warned.SENSOR_SILENT,
        Warned.RING_STANDS,
        Warned.COUNTER_SCALE,
        Warned.SPEED_STUCK,
        Warned.CONTRADICTED_LEFT_OUT,
    }
)


@dataclass(frozen=True)
class Told:
    """What the program says of a run.

    Args:
        refused: the refusal in words; empty where it was judged.
        claims: what it says of the data, figures left out, so that two runs may be compared.
        contradictions: codes of what contradicts itself, or of a gauge that is accused.
        stated: the smallest sizes it says it could have shown, by name [mm].
        standings: what becomes of each reel.
        must: what must become of it by its truth.
    """

    refused: str
    claims: frozenset[str]
    contradictions: tuple[str, ...]
    stated: Mapping[str, float]
    standings: Mapping[str, str] = field(default_factory=dict)
    must: Mapping[str, str] = field(default_factory=dict)

    def count(self, must: str, *, releasable: bool) -> int:
        """Reels of which one thing must become and of which another did."""
        return sum(
            self.must[reel] == must and (got == "releasable") == releasable
            for reel, got in self.standings.items()
        )


def plan_of(line_id: str, wire: str, seed: int) -> Plan:
    """A run of two reels with something plainly wrong, or nothing.

    It lies over the middle half of the second reel; "late" over the end of the first, "short" over six readings.
    """
    line, made = LINES[line_id], MADE_ON[line_id][seed % len(MADE_ON[line_id])]
    u_mean, u_thin, _ = uncertainties(line, made)
    reel = max(160.0, 14.0 * line.speed_m_s)
    by = target_mm(made) - made.point_mm + 6.0 * u_thin
    built = made.conductor_mm + 2.0 * (target_mm(made) + 1.25 * (made.covering_mm or 0.0))
    over = (diameter_limits(made)[1] - built + 8.0 * line.cold.u_mm) / 2.0
    defects: dict[str, tuple[tuple[int, Defect], ...]] = {
        "good": (),
        "thin": ((1, thin_by(made, 6.0 * u_mean, reel / 4.0, reel / 2.0)),),
        "off centre": ((1, Defect("off centre", reel / 4.0, reel / 2.0, by, 0.7 * seed)),),
        "pinhole": ((1, Defect("pinhole", reel / 2.0)),),
        "late": ((0, Defect("off centre", 0.85 * reel, 0.1 * reel, by, 0.7 * seed)),),
        "short": (
            (1, Defect("off centre", reel / 2.0, 6.0 * line.speed_m_s * line.interval_s, by, 0.7 * seed)),
        ),
        "thick": ((1, Defect("thick", reel / 4.0, reel / 2.0, over)),),
    }
    return Plan(2, reel, defects=defects[wire], seed=seed)


def case_of(line_id: str, wire: str, seed: int, edit: Edit | None = None) -> Case:
    """The run as a case of the release matrix."""
    made = MADE_ON[line_id][seed % len(MADE_ON[line_id])]
    return Case("", "", LINES[line_id], made, plan_of(line_id, wire, seed), edit)


def told_of(case: Case, folder: Path) -> Told:
    """What the program says of a run, judged by the plant's whole sheet."""
    run = written(case, folder)
    on_bench = measured_run(folder)
    must = {reel: label for reel, (label, _) in labels_of(case, run).items()}
    answer = judged_run(on_bench, plant_for(case.line, case.made).text, folder)
    said: tuple[str, ...] = tuple(f"{reel}: {one}" for reel, told in answer.reasons.items() for one in told)
    codes: tuple[str, ...] = ()
    stated: dict[str, float] = {}
    if isinstance(on_bench, OnBench):
        measured = on_bench.measured
        warned = (*on_bench.loaded.logs.warnings, *on_bench.placed.warnings, *measured.warnings)
        said += tuple(plain(one) for one in (*warned, *on_bench.checks.warnings))
        accused = (one for one in warned if isinstance(one, Message) and one.code in ACCUSING)
        told = (*measured.contradictions, *accused, *on_bench.checks.warnings)
        codes = tuple(
            str(one.code) for one in told if isinstance(one, Message) and not isinstance(one.code, Unseen)
        )
        stated = {
            f"{one.code} {name}": value.value
            for one in (*measured.could_show, *on_bench.checks.warnings)
            if one.code in set(Unseen)
            for name, value in one.slots
            if isinstance(value, Measure)
        }
    # The reader's figures change with any noise; what is claimed does not.
    claims = frozenset(re.sub(r"[-+]?\d[\d,.]*", "#", one) for one in said)
    standings = {reel: outcome(answer, reel) for reel in must}
    return Told(answer.refused, claims, codes, stated, standings, must)


@lru_cache(maxsize=256)
def clean(line_id: str, wire: str, seed: int, folder: Path) -> Told:
    """The same run with nothing done to its log."""
    return told_of(case_of(line_id, wire, seed), folder)


def made(line_id: str, wire: str, seed: int) -> MadeRun:
    """The run of a case, for edits that want its rows."""
    case = case_of(line_id, wire, seed)
    return made_run(case.line, case.made, case.plan)


SENSOR_OFFSET = f"{Unseen.SENSOR_LEAST} offset"
SENSOR_DRIFT = f"{Unseen.SENSOR_LEAST} drift"


def stated_mm(told: Told, name: str) -> float:
    """The smallest size that the page of a run states under one of its names; infinite where it states none."""
    found = [value for key, value in told.stated.items() if key.endswith(f" {name}")]
    return max(found, default=float("inf"))
