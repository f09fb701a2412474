"""The reels of a run as a line's charts and comparisons need them, read back from the store."""

from __future__ import annotations

import json
import math
from bisect import bisect_left, bisect_right
from typing import TYPE_CHECKING, Any

from pipeline.steps.line_indices import ReelLimit
from pipeline.steps.line_reels import LineReel

if TYPE_CHECKING:
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
    rows = store.ask("questions/limits_of_assessment", assessment_id=head["assessment_id"])
    return tuple(
        ReelLimit(
            row["requirement"], HELD_AGAINST[row["requirement"]], row["sense"], row["value"], row["unit"]
        )
        for row in rows
        if row["requirement"] in HELD_AGAINST
    )


def reels_of_run(store: Store, head: Row) -> list[LineReel]:
    """The reels of one judged run, in the order of the wire.

    Args:
        store: the store.
        head: row of the question ``current_runs``.
    """
    key = {"assessment_id": head["assessment_id"]}
    places = store.ask("questions/places_of_assessment", **key)
    summaries: dict[str, list[Row]] = {}
    for row in store.ask("questions/reel_summaries_of_assessment", **key):
        summaries.setdefault(row["reel_id"], []).append(row)
    standing = {row["reel_id"]: row for row in store.ask("questions/reels_of_assessment", **key)}
    stretches = _Stretches(store.ask("questions/stretches_of_assessment", **key))
    events = store.ask("questions/events_of_assessment", **key)
    lots = store.ask("questions/materials_of_load", load_id=head["load_id"])
    worth = _worth(store.ask("questions/results_of_assessment", **key))
    return [
        _reel(
            head,
            place,
            summaries.get(place["reel_id"], []),
            standing.get(place["reel_id"], {}),
            stretches,
            events,
            lots,
            worth.get(place["reel_id"]),
        )
        for place in places
    ]


class _Stretches:
    """Stretches of a run in the order of the wire."""

    def __init__(self, rows: list[Row]) -> None:
        self._rows = rows
        self._starts = [row["from_m"] for row in rows]
        self._ends = [row["to_m"] for row in rows]

    def within(self, from_m: float, to_m: float) -> list[Row]:
        """Those that lie wholly between two places [m]."""
        return self._rows[bisect_left(self._starts, from_m) : bisect_right(self._ends, to_m)]


def _worth(results: list[Row]) -> dict[str, tuple[float, float]]:
    """Effective numbers of each reel's mean wall, from its capability."""
    found = {}
    for row in results:
        wanted = row["question"].startswith("How far does minimum average wall ")
        if row["scope"] == "reel" and row["topic"] == "capability" and wanted and not row["refused"]:
            details = json.loads(row["details"])
            found[row["subject"]] = (float(details["n_for_mean"]), float(details["n_for_variance"]))
    return found


def _reel(
    head: Row,
    place: Row,
    summaries: list[Row],
    standing: Row,
    stretches: _Stretches,
    events: list[Row],
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
    inside = stretches.within(place["from_m"], place["to_m"])
    for name in ("ecc_cos_mm", "ecc_sin_mm"):
        known = [row[name] for row in inside if row[name] is not None and math.isfinite(row[name])]
        if known:
            values[name] = sum(known) / len(known)
    length = place["to_m"] - place["from_m"]
    tested = max(length - (standing.get("spark_untested_m") or 0.0), 0.0)
    return LineReel(
        run_id=head["run_id"],
        reel_id=place["reel_id"],
        values=values,
        places=at,
        stretch_means_mm=tuple(
            row["mean_wall_mm"] for row in inside[::EVERY_STRETCH] if row["mean_wall_mm"] is not None
        ),
        length_m=length,
        readings=int(by_name.get("mean_wall_mm", {}).get("steady_readings") or 0),
        worth=worth,
        faults=int(standing.get("spark_faults") or 0),
        tested_m=tested,
        fault_at_m=_fault_places(events, place, tested),
        circumstances=_circumstances(head, lots, place),
    )


def _fault_places(events: list[Row], place: Row, tested_m: float) -> tuple[float, ...]:
    """Wire from the reel's start to the first count of each fault, within the tested length."""
    first: dict[Any, float] = {}
    for row in events:
        if row["kind"] == "spark fault" and row["at_m"] is not None:
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
