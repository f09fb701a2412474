"""A lot's family as a drawing: a column for each kind, a box for each member, a curve for each link."""

from __future__ import annotations

from dataclasses import dataclass

from dashboards.records import Edge, Node

COLUMN_PX, BOX_WIDTH_PX, BOX_PX, ROW_PX, MARGIN_PX, HEAD_PX = 292, 236, 38, 50, 8, 30
DRAWN_AT_MOST = 120
ORDER = ("material lot", "gauge", "limits", "software", "run", "reel", "cut length", "shipment")
COLUMN_OF = {"gauge": "material lot", "limits": "material lot", "software": "material lot"}


@dataclass(frozen=True, slots=True)
class Box:
    """A member's place on the drawing [px]."""

    node: Node
    x: int
    y: int


@dataclass(frozen=True, slots=True)
class Curve:
    """A link's path on the drawing."""

    path: str
    from_label: str
    to_label: str


@dataclass(frozen=True, slots=True)
class Family:
    """The drawing: its size [px], the head of each column, boxes and curves."""

    width: int
    height: int
    heads: tuple[tuple[int, str], ...]
    boxes: tuple[Box, ...]
    curves: tuple[Curve, ...]


def family_drawing(nodes: tuple[Node, ...], edges: tuple[Edge, ...]) -> Family | None:
    """Where each member of the family stands; None where there are too many to draw.

    Args:
        nodes: members.
        edges: links.
    """
    if not nodes or len(nodes) > DRAWN_AT_MOST:
        return None
    columns: dict[str, list[Node]] = {}
    for kind in ORDER:
        for node in nodes:
            if node.kind == kind:
                columns.setdefault(COLUMN_OF.get(kind, kind), []).append(node)
    tallest = max(len(column) for column in columns.values())
    boxes = {
        node.node_id: Box(
            node,
            MARGIN_PX + COLUMN_PX * place,
            HEAD_PX + MARGIN_PX + row * ROW_PX + (tallest - len(column)) * ROW_PX // 2,
        )
        for place, column in enumerate(columns.values())
        for row, node in enumerate(column)
    }
    curves = [
        _curve(boxes[edge.from_node], boxes[edge.to_node])
        for edge in edges
        if edge.from_node in boxes and edge.to_node in boxes
    ]
    names = {"material lot": "comes from"}
    heads = tuple((MARGIN_PX + COLUMN_PX * i, names.get(kind, kind)) for i, kind in enumerate(columns))
    width = MARGIN_PX * 2 + COLUMN_PX * (len(columns) - 1) + BOX_WIDTH_PX
    return Family(
        width, HEAD_PX + MARGIN_PX * 2 + tallest * ROW_PX, heads, tuple(boxes.values()), tuple(curves)
    )


def _curve(start: Box, end: Box) -> Curve:
    x0, y0 = start.x + BOX_WIDTH_PX, start.y + BOX_PX // 2
    x1, y1 = end.x, end.y + BOX_PX // 2
    bend = max((x1 - x0) // 2, 24)
    return Curve(f"M{x0} {y0}C{x0 + bend} {y0} {x1 - bend} {y1} {x1} {y1}", start.node.label, end.node.label)
