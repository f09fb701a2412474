"""What was made from what, and what was judged by what? A graph whose edges carry lengths of wire.

Nodes: material lots, batches, machine intervals, loads of sheets since replaced, runs, master reels, cut lengths,
shipments, and also what
the judgement stands on: calibration periods, limit revisions, software versions, rotating elements. A suspect
gauge or limit table is a node too, so a recall reaches what it touched.

Source: forward and backward traceability as in GS1 EPCIS 2.0 and ISO 9001:2015, 8.5.2 (from memory); the
change-over tail of an ideal mixer is textbook.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

from pipeline.errors import Complaint, MethodRefusal
from pipeline.length.reels import PlacedReel
from pipeline.sheets.line_sheet import LineSheet
from pipeline.sheets.run_sheet import Lot, RunSheet

OLD_SHARE = 0.01  # share of old material that no longer counts (chosen here)

NodeKind = Literal[
    "material lot",
    "batch",
    "machine interval",
    "load",
    "run",
    "reel",
    "cut length",
    "shipment",
    "calibration",
    "limit",
    "software",
    "element",
]
Span = tuple[float, float]
WHOLE: Span = (-math.inf, math.inf)
# Longer than any real way from a raw lot to a shipment, rework included.
DEEPEST = 64


@dataclass(frozen=True, slots=True, order=True)
class Node:
    """A thing with a name of its own: kind and name together are unique."""

    kind: NodeKind
    name: str

    def __str__(self) -> str:
        return f"{self.kind} {self.name}"


@dataclass(frozen=True, slots=True)
class Edge:
    """Something went from a parent into a child, or a child was judged by it.

    Args:
        parent: where it came from.
        child: where it went.
        of_parent: which wire of the parent went [m]; None for all of it, or where the parent is not wire.
        of_child: where it lies on the child [m]; None for all of it.
        turned: True if the wire lies the other way round on the child, as after rewinding.
        unsure_m: how well these lengths are known [m]; what is reached is widened by it.
    """

    parent: Node
    child: Node
    of_parent: Span | None = None
    of_child: Span | None = None
    turned: bool = False
    unsure_m: float = 0.0

    def carried(self, span: Span, forward: bool) -> Span | None:
        """The span of one end that reaches the other, on the other's own lengths; None if it does not.

        Args:
            span: what is suspect, on the parent going forward and on the child going backward [m].
            forward: from parent to child, or back.
        """
        here, there = (self.of_parent, self.of_child) if forward else (self.of_child, self.of_parent)
        source, target = here or WHOLE, there or WHOLE
        low = max(span[0] - self.unsure_m, source[0])
        high = min(span[1] + self.unsure_m, source[1])
        if low > high:
            return None
        if here is None or there is None or source[1] <= source[0]:
            return target
        scale = (target[1] - target[0]) / (source[1] - source[0])
        ends = (
            (target[1] - (high - source[0]) * scale, target[1] - (low - source[0]) * scale)
            if self.turned
            else (target[0] + (low - source[0]) * scale, target[0] + (high - source[0]) * scale)
        )
        return max(ends[0] - self.unsure_m, target[0]), min(ends[1] + self.unsure_m, target[1])


@dataclass(frozen=True, slots=True)
class Genealogy:
    """The graph.

    Args:
        edges: every edge once.
        made: when each node was made or in use, from and to, where that is known.
        whereabouts: where each node is: ``in house``, ``shipped``, ``scrapped``; nodes left out are unknown.
    """

    edges: tuple[Edge, ...]
    made: Mapping[Node, tuple[datetime, datetime]] = field(default_factory=dict)
    whereabouts: Mapping[Node, str] = field(default_factory=dict)

    @property
    def nodes(self) -> tuple[Node, ...]:
        """Every node, in order of kind and name."""
        return tuple(sorted({node for edge in self.edges for node in (edge.parent, edge.child)}))


@dataclass(frozen=True, slots=True)
class Reached:
    """A node that a suspect reaches, or comes from.

    Args:
        node: the node.
        spans: which of its wire [m], joined; infinite ends mean all of it.
        path: one shortest way from the start to the node, both included.
    """

    node: Node
    spans: tuple[Span, ...]
    path: tuple[Node, ...]


def joined(spans: Iterable[Span]) -> tuple[Span, ...]:
    """Spans in order, those that touch joined into one."""
    made: list[Span] = []
    for low, high in sorted(spans):
        if made and low <= made[-1][1]:
            made[-1] = (made[-1][0], max(made[-1][1], high))
        else:
            made.append((low, high))
    return tuple(made)


def _covered(span: Span, spans: Sequence[Span]) -> bool:
    return any(low <= span[0] and span[1] <= high for low, high in spans)


def reach(
    genealogy: Genealogy, start: Node, span: Span = WHOLE, *, forward: bool = True
) -> tuple[Reached, ...]:
    """Every node that `start` went into (forward) or came from (backward), with the lengths concerned.

    A record with a circle in it, as rework can leave, ends all the same: beyond `DEEPEST` steps an edge
    carries everything it could, so that lengths that shrink or shift round a circle are found too much rather
    than searched for ever.

    Args:
        genealogy: the graph.
        start: the suspect, or the node to trace.
        span: which of its wire [m].
        forward: True for containment, False for trace.

    Returns:
        the nodes in order of kind and name, the start left out.
    """
    steps: dict[Node, list[Edge]] = {}
    for edge in genealogy.edges:
        steps.setdefault(edge.parent if forward else edge.child, []).append(edge)
    spans: dict[Node, tuple[Span, ...]] = {start: (span,)}
    paths: dict[Node, tuple[Node, ...]] = {start: (start,)}
    ahead = deque([(start, span, 1)])
    while ahead:
        node, part, depth = ahead.popleft()
        for edge in steps.get(node, ()):
            carried = edge.carried(part if depth <= DEEPEST else WHOLE, forward)
            other = edge.child if forward else edge.parent
            if carried is None or _covered(carried, spans.get(other, ())):
                continue
            spans[other] = joined((*spans.get(other, ()), carried))
            paths.setdefault(other, (*paths[node], other))
            ahead.append((other, carried, depth + 1))
    return tuple(Reached(node, spans[node], paths[node]) for node in sorted(spans) if node != start)


def changeover_tail_m(speed_m_s: float, residence_s: float) -> float:
    """Length until the old material's share has fallen to `OLD_SHARE`: v tau ln(1/share).

    Args:
        speed_m_s: line speed [m/s].
        residence_s: mean residence time of the melt from hopper to die [s]; the plant's figure.

    Of an ideal mixer; dead corners in the melt path hold material longer.
    """
    if not (speed_m_s >= 0.0 and residence_s >= 0.0):
        raise MethodRefusal(
            Complaint(
                "change-over tail",
                f"a speed of {speed_m_s:g} m/s and {residence_s:g} s",
                "Give a speed and a time of 0 or more",
            )
        )
    return speed_m_s * residence_s * math.log(1.0 / OLD_SHARE)


def lot_edge(lot: Lot, into: Node, made_m: float, tail_m: float) -> Edge:
    """A material lot over the wire it served, and over the tail in which it is still mixed in."""
    start = lot.from_m or 0.0
    end = made_m if lot.to_m is None else lot.to_m
    tail = 0.0 if lot.material == "conductor" else tail_m
    return Edge(
        Node("material lot", f"{lot.material} {lot.lot}"), into, None, (start, min(end + tail, made_m))
    )


def reel_edge(reel: PlacedReel, made_in: Node) -> Edge:
    """A reel's wire, which lies on it the other way round: what was made last comes off first."""
    return Edge(
        made_in,
        Node("reel", reel.id),
        (reel.from_m, reel.to_m),
        (0.0, reel.length_m),
        turned=True,
        unsure_m=reel.end_unsure_m,
    )


def replaced_edges(
    node: Node, run: Node, lots: Sequence[Lot], reels: Sequence[PlacedReel], made_m: float, tail_m: float
) -> tuple[Edge, ...]:
    """What a replaced load of a run said that its newest one no longer says; wire may have left on it.

    Args:
        node: the load.
        run: its run.
        lots: material lots that stand in this load alone.
        reels: reels that stand in this load alone.
        made_m: wire made in the run [m].
        tail_m: wire over which a lot that ended is still mixed in [m].
    """
    edges = [lot_edge(lot, node, made_m, tail_m) for lot in lots]
    edges += [reel_edge(reel, node) for reel in reels]
    if edges:
        edges.append(Edge(node, run, (0.0, made_m), (0.0, made_m)))
    return tuple(edges)


def run_edges(
    run: RunSheet,
    reels: Sequence[PlacedReel],
    made_m: float,
    *,
    tail_m: float,
    line: LineSheet | None = None,
    limit_names: Sequence[str] = (),
    software: str = "",
) -> tuple[Edge, ...]:
    """Every edge one run adds: its lots, its reels, its instruments' calibrations, its limits and software.

    Args:
        run: the run sheet.
        reels: the reels as placed on the wire.
        made_m: wire made in the run [m].
        tail_m: wire over which a lot that ended is still mixed in [m]; both lots are attached over it.
        line: the line sheet, for calibrations and rotating elements.
        limit_names: limits the run was judged by, each with its revision.
        software: version that judged it.

    A conductor changes at a weld and leaves no tail.
    """
    node = Node("run", run.id)
    edges = [lot_edge(lot, node, made_m, tail_m) for lot in run.lots]
    edges += [reel_edge(reel, node) for reel in reels]
    if line is not None:
        edges += [
            Edge(Node("calibration", f"{one.id} of {one.calibrated.isoformat()}"), node)
            for one in line.instruments
            if one.calibrated is not None
        ]
        edges += [Edge(Node("element", f"{line.id} {one.id}"), node) for one in line.elements]
    edges += [Edge(Node("limit", name), node) for name in limit_names]
    if software:
        edges.append(Edge(Node("software", software), node))
    return tuple(edges)


def shipment_edges(shipment: str, contents: Sequence[Node]) -> tuple[Edge, ...]:
    """What a shipment holds: cut lengths or whole reels."""
    return tuple(Edge(node, Node("shipment", shipment)) for node in contents)
