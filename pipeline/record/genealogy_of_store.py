"""What was made from what, read from the store: lots, runs, reels, cut lengths and shipments in one graph.

A run is judged by every limit and version that ever judged it, not only by the newest: wire may have left on an
earlier judgement. For the same reason a lot or reel that stands only in a load since replaced is followed too.
"""

from __future__ import annotations

import tomllib
from collections.abc import Container
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from pipeline.length.reels import PlacedReel, reels_on_counter
from pipeline.lots.containment import edges_once
from pipeline.lots.genealogy import (
    Edge,
    Genealogy,
    Node,
    changeover_tail_m,
    replaced_edges,
    run_edges,
    shipment_edges,
)
from pipeline.record.lengths import GONE, lengths_on_file
from pipeline.record.reel_and_lot import end_unsure_m
from pipeline.sheets.line_sheet import LineSheet
from pipeline.sheets.run_sheet import RunSheet

if TYPE_CHECKING:
    from pipeline.store.database import Store

# Mean residence of the melt from hopper to die [s], where the plant gives none (our assumption, no source).
RESIDENCE_S = 60.0
# A reel of which less than this is left counts as cut up [m].
REST_M = 1.0

Row = dict[str, Any]


def sheets_of(store: Store, head: Row) -> tuple[RunSheet, LineSheet]:
    """The run sheet and line sheet a run was loaded with."""
    run, line = (
        tomllib.loads(store.ask("questions/sheet", sha256=head[f"{kind}_sheet_sha256"])[0]["text"])
        for kind in ("run", "line")
    )
    return RunSheet.model_validate(run["run"]), LineSheet.model_validate(line["line"])


def reels_of(store: Store, head: Row, run: RunSheet, line: LineSheet) -> tuple[PlacedReel, ...]:
    """The run's reels on its wire; by the sheet alone where the run was never assessed."""
    if head["assessment_id"] is not None:
        unsure = end_unsure_m(store, head["assessment_id"])
        return tuple(
            PlacedReel(
                row["reel_id"],
                row["from_m"],
                row["to_m"],
                row["from_counter_m"],
                row["to_counter_m"],
                unsure.get(row["reel_id"], 0.0),
            )
            for row in store.ask("questions/places_of_assessment", assessment_id=head["assessment_id"])
        )
    return reels_of_sheet(run, line)


def reels_of_sheet(run: RunSheet, line: LineSheet) -> tuple[PlacedReel, ...]:
    """The run's reels on its wire by the sheets alone."""
    path = line.take_up_station_m
    return tuple(
        PlacedReel(one.id, one.from_m - path, one.to_m - path, one.from_m, one.to_m)
        for one in reels_on_counter(run.reels, run.reel_ends, line)
    )


def genealogy_of(
    store: Store, residence_s: float = RESIDENCE_S, runs: Container[str] | None = None
) -> Genealogy:
    """The graph of the store, whole or of some runs with the lengths cut from any reel and every shipment.

    Args:
        store: the store.
        residence_s: mean residence of the melt [s]; wire made within the tail after a lot ended counts as
            holding it still.
        runs: the runs wanted; None for every one.
    """
    edges: list[Edge] = []
    made: dict[Node, tuple[datetime, datetime]] = {}
    for head in store.ask("questions/current_runs"):
        if runs is not None and head["run_id"] not in runs:
            continue
        run, line = sheets_of(store, head)
        reels = reels_of(store, head, run, line)
        edges += _edges_of_run(store, head, run, line, reels, residence_s)
        made[Node("run", run.id)] = (_aware(head["started_utc"]), _aware(head["ended_utc"]))
    cuts = lengths_on_file(store)
    edges += _edges_of_lengths(cuts)
    shipped = store.ask("questions/shipments")
    for shipment in dict.fromkeys(row["shipment"] for row in shipped):
        contents = [Node(row["item_kind"], row["item"]) for row in shipped if row["shipment"] == shipment]
        edges += shipment_edges(shipment, contents)
    return Genealogy(edges_once(edges), made, _whereabouts(edges, cuts, shipped))


def _edges_of_lengths(lengths: list[Row]) -> list[Edge]:
    """From each reel to the lengths cut from it, and from each length or reel to those rewound from it.

    Places on a length count from its outer end as it was when it was made, whatever was taken from it since.
    """
    by_id = {row["length_id"]: row for row in lengths}
    edges: list[Edge] = []
    for row in lengths:
        start, end = row["made_from_m"], row["made_to_m"]
        source = by_id.get(row["source_id"])
        parent, on_parent, turned = Node("reel", row["reel_id"]), (start, end), row["turned"]
        if source is not None:
            parent = Node("cut length", row["source_id"])
            turned = row["turned"] != source["turned"]
            begin = source["made_to_m"] - end if source["turned"] else start - source["made_from_m"]
            on_parent = (begin, begin + end - start)
        edges.append(
            Edge(parent, Node("cut length", row["length_id"]), on_parent, (0.0, end - start), turned=turned)
        )
    return edges


def _aware(at: datetime) -> datetime:
    return at.replace(tzinfo=UTC)


def _edges_of_run(
    store: Store,
    head: Row,
    run: RunSheet,
    line: LineSheet,
    reels: tuple[PlacedReel, ...],
    residence_s: float,
) -> list[Edge]:
    node = Node("run", run.id)
    made_m = max([head["made_m"] or 0.0, *(reel.counter_to_m for reel in reels)])
    seconds = (head["ended_utc"] - head["started_utc"]).total_seconds()
    speed = made_m / seconds if seconds > 0.0 else 0.0
    tail_m = changeover_tail_m(speed, residence_s)
    edges = list(run_edges(run, reels, made_m, tail_m=tail_m, line=line))
    edges += [
        Edge(Node("calibration", f"{one.id} without a calibration on file"), node)
        for one in line.instruments
        if one.calibrated is None
    ]
    software = {row["software"] for row in store.ask("questions/load", load_id=head["load_id"])}
    for earlier in store.ask("questions/assessments_of_run", run_id=run.id):
        software.add(earlier["software"])
        limits = store.ask("questions/limits_of_assessment", assessment_id=earlier["assessment_id"])
        edges += [
            Edge(Node("limit", f"{row['limit_id']} revision {row['revision']}"), node) for row in limits
        ]
    edges += [Edge(Node("software", f"reelproof {version}"), node) for version in sorted(software)]
    return [*edges, *_replaced(store, head, run, made_m, tail_m)]


def _replaced(store: Store, head: Row, run: RunSheet, made_m: float, tail_m: float) -> list[Edge]:
    """Lots and reels that stand only in loads of the run that a later one replaced."""
    edges: list[Edge] = []
    for load in store.ask("questions/loads_of_run", run_id=run.id):
        if load["load_id"] == head["load_id"]:
            continue
        (whole,) = store.ask("questions/load", load_id=load["load_id"])
        earlier, line = sheets_of(store, whole)
        now = {reel.id for reel in run.reels}
        edges += replaced_edges(
            Node("load", f"{run.id} load {load['load_id']}, replaced by load {head['load_id']}"),
            Node("run", run.id),
            [lot for lot in earlier.lots if lot not in run.lots],
            [reel for reel in reels_of_sheet(earlier, line) if reel.id not in now],
            made_m,
            tail_m,
        )
    return edges


def _whereabouts(edges: list[Edge], cuts: list[Row], shipped: list[Row]) -> dict[Node, str]:
    """Where reels and lengths are; ``in house`` is said only where the plant tells what leaves."""
    places: dict[Node, str] = {}
    told = bool(shipped)
    lengths: dict[str, float] = {}
    for edge in edges:
        if edge.child.kind == "reel" and edge.of_child is not None:
            lengths[edge.child.name] = edge.of_child[1]
            if told:
                places[edge.child] = "in house"
    taken: dict[str, float] = {}
    for row in cuts:
        if row["use"] == GONE:
            places[Node("cut length", row["length_id"])] = "rewound"
            continue
        taken[row["reel_id"]] = taken.get(row["reel_id"], 0.0) + row["to_outer_m"] - row["from_outer_m"]
        if row["use"] == "scrap":
            places[Node("cut length", row["length_id"])] = "scrapped"
        elif told:
            places[Node("cut length", row["length_id"])] = "in house"
    for reel_id, length in taken.items():
        if length >= lengths.get(reel_id, float("inf")) - REST_M:
            places[Node("reel", reel_id)] = "cut up"
    for row in shipped:
        places[Node(row["item_kind"], row["item"])] = "shipped"
        places[Node("shipment", row["shipment"])] = "shipped"
    return places
