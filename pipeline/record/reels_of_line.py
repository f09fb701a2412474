"""The reels of a run as a line's charts and comparisons need them, read back from the store."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from pipeline.columns import WALL_CHANNELS
from pipeline.record.stretches_on_file import StretchWalls, stretch_walls_of
from pipeline.steps.line_reels import LineReel

if TYPE_CHECKING:
    from pipeline.steps.line_indices import ReelLimit
    from pipeline.store.database import Store

Row = dict[str, Any]
# Every so many stretches one is taken, so that neighbours are far enough apart to count as independent (chosen here).
EVERY_STRETCH = 8
# Value of a reel -> quantity of measured.reel, its column, and the column of its place on the wire.
VALUES = {
    "mean_wall_mm": ("mean_wall_mm", "mean", None),
    "thinnest_wall_mm": ("thinnest_wall_mm", "low", "low_at_m"),
    "wall_sd_mm": ("mean_wall_mm", "sd", None),
    "diameter_mm": ("diameter_mm", "mean", None),
    "concentricity_pct": ("concentricity_pct", "low", "low_at_m"),
    **{one: (one, "mean", None) for one in WALL_CHANNELS},
}
# Requirement -> the value of a reel it is held against.
HELD_AGAINST = {
    "minimum average wall": "mean_wall_mm",
    "minimum wall at any point": "thinnest_wall_mm",
    "concentricity": "concentricity_pct",
    "overall diameter": "diameter_mm",
}


def limits_of_line(store: Store, head: Row) -> tuple[ReelLimit, ...]:
    """Limits of the newest run of a line and product that a value of a reel is held against.

    Args:
        store: the store.
        head: row of the question ``current_runs``.
    """
    from pipeline.steps.line_indices import ReelLimit  # here, so that pages start without SciPy

    rows = store.ask("questions/limits_of_assessment", assessment_id=head["assessment_id"])
    return tuple(
        ReelLimit(
            row["limit_id"],
            row["requirement"],
            HELD_AGAINST[row["requirement"]],
            row["sense"],
            row["value"],
            row["unit"],
        )
        for row in rows
        if row["requirement"] in HELD_AGAINST
    )


def reels_of_runs(store: Store, heads: Sequence[Row]) -> list[LineReel]:
    """The reels of judged runs, run by run and in the order of the wire.

    Args:
        store: the store.
        heads: rows of the question ``current_runs``.
    """
    ids = [head["assessment_id"] for head in heads]

    def asked(question: str) -> dict[int, list[Row]]:
        return _grouped(store.ask(f"questions/{question}", assessments=ids), "assessment_id")

    places, summaries = asked("places_of_assessments"), asked("reel_summaries_of_assessments")
    stretches, tests = stretch_walls_of(store, heads), asked("spark_tests_of_assessments")
    faults, worth = asked("spark_faults_of_assessments"), asked("wall_indices_of_assessments")
    loads = [head["load_id"] for head in heads]
    lots = _grouped(store.ask("questions/materials_of_loads", loads=loads), "load_id")
    found: list[LineReel] = []
    for head in heads:
        key = head["assessment_id"]
        of_reel = _grouped(summaries.get(key, []), "reel_id")
        tested = {row["reel_id"]: row for row in tests.get(key, [])}
        worths = _worth(worth.get(key, []))
        found += [
            _reel(
                head,
                place,
                of_reel.get(place["reel_id"], []),
                tested.get(place["reel_id"], {}),
                stretches.get(key),
                faults.get(key, []),
                lots.get(head["load_id"], []),
                worths.get(place["reel_id"]),
            )
            for place in places.get(key, [])
        ]
    return found


def _grouped(rows: list[Row], by: str) -> dict[Any, list[Row]]:
    found: dict[Any, list[Row]] = {}
    for row in rows:
        found.setdefault(row[by], []).append(row)
    return found


def _worth(indices: list[Row]) -> dict[str, tuple[float, float]]:
    """Effective numbers of each reel's mean wall, from its capability."""
    found = {}
    for row in indices:
        details = json.loads(row["details"])
        found[row["subject"]] = (float(details["n_for_mean"]), float(details["n_for_variance"]))
    return found


def _reel(
    head: Row,
    place: Row,
    summaries: list[Row],
    tested: Row,
    stretches: StretchWalls | None,
    faults: list[Row],
    lots: list[Row],
    worth: tuple[float, float] | None,
) -> LineReel:
    by_name = {row["quantity"]: row for row in summaries}
    values, at = {}, {}
    for name, (quantity, column, where) in VALUES.items():
        row = by_name.get(quantity, {})
        if row.get(column) is not None:
            values[name] = float(row[column])
            if where and row[where] is not None:
                at[name] = float(row[where])
    ends = (place["from_m"], place["to_m"])
    centre = stretches.centre_mm(*ends) if stretches else None
    if centre:
        values["ecc_cos_mm"], values["ecc_sin_mm"] = centre
    length = place["to_m"] - place["from_m"]
    tested_m = max(length - (tested.get("spark_untested_m") or 0.0), 0.0)
    return LineReel(
        run_id=head["run_id"],
        reel_id=place["reel_id"],
        values=values,
        places=at,
        stretch_means_mm=stretches.walls(*ends, EVERY_STRETCH) if stretches else (),
        length_m=length,
        readings=int(by_name.get("mean_wall_mm", {}).get("steady_readings") or 0),
        worth=worth,
        faults=int(tested.get("spark_faults") or 0),
        tested_m=tested_m,
        fault_at_m=_fault_places(faults, place, tested_m),
        circumstances=_circumstances(head, lots, place),
    )


def _fault_places(faults: list[Row], place: Row, tested_m: float) -> tuple[float, ...]:
    """Wire from the reel's start to the first count of each fault, within the tested length."""
    first: dict[Any, float] = {}
    for row in faults:
        first.setdefault(row["fault"], row["at_m"])
    return tuple(
        min(at - place["from_m"], tested_m) for at in first.values() if place["from_m"] <= at < place["to_m"]
    )


def _circumstances(head: Row, lots: list[Row], place: Row) -> dict[str, str]:
    """Shift, and the lot of each material that was in use where the reel begins."""
    found = {"shift": str(head["shift"]).split()[-1]} if head["shift"] else {}
    for row in lots:
        start = row["from_m"] if row["from_m"] is not None else -math.inf
        end = row["to_m"] if row["to_m"] is not None else math.inf
        if start <= place["from_m"] < end:
            found[f"lot of {row['material']}"] = row["lot"]
    return found
