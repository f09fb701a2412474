"""Which row, of which revision, stands behind a finding that no table of limits has a value for?

A spark fault fails the spark test, so the row of its voltage stands behind it; other rules stand in the plant's own
sheet or in the line's, and the rest in a statement of method with a revision of its own.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from pipeline.nonconformance.finding import Sighting
from pipeline.nonconformance.statements import STATEMENTS
from pipeline.steps.bench import Bench

PLANT_ROWS = {
    "surface-flaw": "holds.surface_flaw_mm",
    "unmonitored": "holds.longest_unmonitored_m, holds.unmonitored_pct",
    "unstable-process": "findings.level_change_mm",
}
# Of an untested length, where the sheet writes a rule for the spark test alone.
SPARK_ROW = "holds.longest_untested_m, holds.untested_pct"


def with_rows(bench: Bench, sightings: Iterable[Sighting]) -> tuple[Sighting, ...]:
    """The sightings, each with the row and revision it was judged by.

    Args:
        bench: the run with its sheets and limits.
        sightings: of every rule; those with a limit row already are left as they are.
    """
    return tuple(one if one.limit_id else _with_row(bench, one) for one in sightings)


def _with_row(bench: Bench, one: Sighting) -> Sighting:
    if one.rule_id == "spark-fault":
        volts = [limit for limit in bench.limits if limit.requirement == "spark test voltage"]
        if volts:
            return replace(one, limit_id=volts[0].limit_id, limit_revision=str(volts[0].revision))
    elif one.rule_id in PLANT_ROWS:
        of_spark_test = one.subject == "the spark test" and bench.plant.holds.has_rule_of_spark_test
        return replace(
            one,
            limit_id=f"plant sheet: {SPARK_ROW if of_spark_test else PLANT_ROWS[one.rule_id]}",
            limit_revision=bench.plant.plant.revision,
        )
    elif one.rule_id == "calibration":
        return replace(
            one,
            limit_id=f"line sheet {bench.line.id}: {one.instrument}.calibration_due",
            limit_revision=bench.line.revision,
        )
    statement = STATEMENTS[one.rule_id]
    return replace(one, limit_id=statement.row, limit_revision=statement.revision)
