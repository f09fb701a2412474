"""Given a suspect lot, gauge, limit revision, software version, roll or time window: what does it touch?

The answer is a list to act on, with what is still in house first. It is as complete as the record: wire whose
whereabouts are not on file is told as such and never counted as in house.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from pipeline.errors import Complaint, NotFoundError
from pipeline.lots.genealogy import WHOLE, Edge, Genealogy, Node, NodeKind, Reached, Span, joined, reach

WIRE: tuple[NodeKind, ...] = ("reel", "cut length", "shipment")


@dataclass(frozen=True, slots=True)
class Suspect:
    """What is suspect.

    Args:
        node: the lot, gauge calibration, limit, software, roll, run or reel.
        reason: why, in words.
        span: which of its wire [m], where it is wire.
        since: from when on it is suspect, for gauges, limits, software and rolls; None from the start.
        until: up to when; None to the end.
    """

    node: Node
    reason: str
    span: Span = WHOLE
    since: datetime | None = None
    until: datetime | None = None


@dataclass(frozen=True, slots=True)
class Touched:
    """One reel, cut length or shipment that is touched.

    Args:
        node: which.
        spans: which of its wire [m].
        whereabouts: ``in house``, ``shipped``, ``scrapped`` or ``not known``.
        path: how the suspect came to it.
    """

    node: Node
    spans: tuple[Span, ...]
    whereabouts: str
    path: tuple[Node, ...]


@dataclass(frozen=True, slots=True)
class Containment:
    """Everything a suspect touches.

    Args:
        suspect: what was asked.
        touched: reels, cut lengths and shipments, in house first, then unknown, then gone.
        between: the other nodes on the way, such as batches and runs.
    """

    suspect: Suspect
    touched: tuple[Touched, ...]
    between: tuple[Reached, ...]


def _in_window(genealogy: Genealogy, node: Node, suspect: Suspect) -> bool:
    """Whether a node was made within the suspect's time; True where the record does not say."""
    made = genealogy.made.get(node)
    if made is None:
        return True
    return (suspect.since is None or made[1] >= suspect.since) and (
        suspect.until is None or made[0] <= suspect.until
    )


def contain(genealogy: Genealogy, suspect: Suspect) -> Containment:
    """Every reel, cut length and shipment that the suspect touches.

    Args:
        genealogy: the graph.
        suspect: what is suspect, with its wire or its time.

    Raises:
        NotFoundError: the suspect is not on file, which is not the same as touching nothing.
    """
    if suspect.node not in genealogy.nodes:
        alike = [node.name for node in genealogy.nodes if node.kind == suspect.node.kind]
        known = ", ".join(alike[:10]) if alike else "nothing of that kind"
        raise NotFoundError(
            Complaint(
                "containment",
                f"{suspect.node} is not on file",
                f"On file: {known}; check the name or load the runs",
            )
        )
    kept = tuple(
        edge
        for edge in genealogy.edges
        if edge.parent != suspect.node or _in_window(genealogy, edge.child, suspect)
    )
    reached = reach(Genealogy(kept), suspect.node, suspect.span)
    order = {"in house": 0, "not known": 1, "shipped": 2, "scrapped": 3}
    own = (Reached(suspect.node, (suspect.span,), (suspect.node,)),) if suspect.node.kind in WIRE else ()
    touched = [
        Touched(one.node, one.spans, genealogy.whereabouts.get(one.node, "not known"), one.path)
        for one in (*own, *reached)
        if one.node.kind in WIRE
    ]
    return Containment(
        suspect,
        tuple(sorted(touched, key=lambda one: (order.get(one.whereabouts, 1), one.node))),
        tuple(one for one in reached if one.node.kind not in WIRE),
    )


def contain_window(
    genealogy: Genealogy, since: datetime, until: datetime, reason: str
) -> tuple[Containment, ...]:
    """What every run that was made within a time window touches.

    Args:
        genealogy: the graph.
        since: start of the window.
        until: its end.
        reason: why the window is suspect.

    Raises:
        NotFoundError: no run falls into the window.
    """
    window = Suspect(Node("run", "window"), reason, since=since, until=until)
    found = [
        node
        for node in genealogy.nodes
        if node.kind == "run" and node in genealogy.made and _in_window(genealogy, node, window)
    ]
    if not found:
        raise NotFoundError(
            Complaint(
                "containment",
                f"no run on file was made from {since.isoformat()} to {until.isoformat()}",
                "Check the times and their zone",
            )
        )
    return tuple(contain(genealogy, Suspect(node, reason)) for node in found)


def together(containments: Sequence[Containment]) -> tuple[Touched, ...]:
    """The touched wire of several suspects in one list, each node once."""
    spans: dict[Node, list[Span]] = {}
    first: dict[Node, Touched] = {}
    for one in (touched for each in containments for touched in each.touched):
        spans.setdefault(one.node, []).extend(one.spans)
        first.setdefault(one.node, one)
    return tuple(
        Touched(node, joined(parts), first[node].whereabouts, first[node].path)
        for node, parts in spans.items()
    )


def edges_once(edges: Sequence[Edge]) -> tuple[Edge, ...]:
    """Edges of several runs with repeats left out; order is kept."""
    return tuple(dict.fromkeys(edges))
