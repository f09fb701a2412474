"""A lot's family as a drawing: a column for each kind, a box for each member, a curve for each link."""

from __future__ import annotations

from dataclasses import dataclass

from dashboards.records import Edge, Node

COLUMN_PX, BOX_WIDTH_PX, BOX_PX, ROW_PX, MARGIN_PX, HEAD_PX = 292, 236, 38, 50, 8, 30
# Where runs have many reels, these stand side by side in the row of their run, under their names alone.
MANY, SMALL_WIDTH_PX, SMALL_COLUMN_PX, ACROSS = 12, 132, 144, 5
DRAWN_AT_MOST = 120
ORDER = ("material lot", "gauge", "limits", "software", "run", "reel", "cut length", "shipment")
COLUMN_OF = {"gauge": "material lot", "limits": "material lot", "software": "material lot"}


@dataclass(frozen=True, slots=True)
class Box:
    """A member's place on the drawing [px]."""

    node: Node
    x: int
    y: int
    width: int = BOX_WIDTH_PX
    note: str = ""


@dataclass(frozen=True, slots=True)
class Curve:
    """A link's path on the drawing."""

    path: str
    from_label: str
    to_label: str


@dataclass(frozen=True, slots=True)
class FamilyDrawing:
    """The drawing: its size [px], the head of each column, boxes and curves."""

    width: int
    height: int
    heads: tuple[tuple[int, str], ...]
    boxes: tuple[Box, ...]
    curves: tuple[Curve, ...]


def family_drawing(nodes: tuple[Node, ...], edges: tuple[Edge, ...]) -> FamilyDrawing | None:
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
    parents = _one_run_each(columns, edges)
    if parents:
        return _by_run(columns, parents, edges)
    tallest = max(len(column) for column in columns.values())
    boxes = {
        node.node_id: Box(
            node,
            MARGIN_PX + COLUMN_PX * place,
            HEAD_PX + MARGIN_PX + row * ROW_PX + (tallest - len(column)) * ROW_PX // 2,
            note=node.note,
        )
        for place, column in enumerate(columns.values())
        for row, node in enumerate(column)
    }
    width = MARGIN_PX * 2 + COLUMN_PX * (len(columns) - 1) + BOX_WIDTH_PX
    return FamilyDrawing(
        width,
        HEAD_PX + MARGIN_PX * 2 + tallest * ROW_PX,
        _heads(columns),
        tuple(boxes.values()),
        _curves(edges, boxes),
    )


def _one_run_each(columns: dict[str, list[Node]], edges: tuple[Edge, ...]) -> dict[str, str]:
    """The run of each reel, where many reels end the family and each is of one run; otherwise nothing."""
    reels = {node.node_id for node in columns.get("reel", ())}
    if len(reels) <= MANY or list(columns)[-1] != "reel" or "run" not in columns:
        return {}
    runs = {node.node_id for node in columns["run"]}
    pairs = {
        (edge.to_node, edge.from_node) for edge in edges if edge.to_node in reels and edge.from_node in runs
    }
    return dict(pairs) if len(pairs) == len(reels) else {}


def _by_run(columns: dict[str, list[Node]], run_of: dict[str, str], edges: tuple[Edge, ...]) -> FamilyDrawing:
    """The drawing with the reels of a run side by side in its row."""
    place = {kind: number for number, kind in enumerate(columns)}
    boxes: dict[str, Box] = {}
    row, most = 0, 1
    for run in columns["run"]:
        reels = [node for node in columns["reel"] if run_of[node.node_id] == run.node_id]
        for number, node in enumerate(reels):
            x = MARGIN_PX + COLUMN_PX * place["reel"] + SMALL_COLUMN_PX * (number % ACROSS)
            y = HEAD_PX + MARGIN_PX + (row + number // ACROSS) * ROW_PX
            boxes[node.node_id] = Box(node, x, y, SMALL_WIDTH_PX, node.note)
        boxes[run.node_id] = Box(
            run, MARGIN_PX + COLUMN_PX * place["run"], HEAD_PX + MARGIN_PX + row * ROW_PX, note=run.note
        )
        row += max(-(-len(reels) // ACROSS), 1)
        most = max(most, min(len(reels), ACROSS))
    for kind in [one for one in columns if one not in ("run", "reel")]:
        for number, node in enumerate(columns[kind]):
            y = HEAD_PX + MARGIN_PX + number * ROW_PX + (row - len(columns[kind])) * ROW_PX // 2
            boxes[node.node_id] = Box(
                node, MARGIN_PX + COLUMN_PX * place[kind], max(y, HEAD_PX), note=node.note
            )
    row = max(row, *(len(column) for kind, column in columns.items() if kind != "reel"))
    # One line leads from a run to the first of its reels, and on behind the others.
    width = MARGIN_PX * 2 + COLUMN_PX * place["reel"] + SMALL_COLUMN_PX * most
    return FamilyDrawing(
        width,
        HEAD_PX + MARGIN_PX * 2 + row * ROW_PX,
        _heads(columns),
        tuple(boxes.values()),
        _curves(edges, boxes),
    )


def _heads(columns: dict[str, list[Node]]) -> tuple[tuple[int, str], ...]:
    names = {"material lot": "comes from"}
    return tuple((MARGIN_PX + COLUMN_PX * i, names.get(kind, kind)) for i, kind in enumerate(columns))


def _curves(edges: tuple[Edge, ...], boxes: dict[str, Box]) -> tuple[Curve, ...]:
    return tuple(
        _curve(boxes[edge.from_node], boxes[edge.to_node])
        for edge in edges
        if edge.from_node in boxes and edge.to_node in boxes
    )


def _curve(start: Box, end: Box) -> Curve:
    x0, y0 = start.x + start.width, start.y + BOX_PX // 2
    x1, y1 = end.x, end.y + BOX_PX // 2
    bend = max((x1 - x0) // 2, 24)
    return Curve(f"M{x0} {y0}C{x0 + bend} {y0} {x1 - bend} {y1} {x1} {y1}", start.node.label, end.node.label)
