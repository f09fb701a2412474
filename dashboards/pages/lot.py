"""The lot page: the family of a lot, its reels, and everything that happened to it in order."""

from __future__ import annotations

from dashboards.figures.family import family_drawing
from dashboards.pages.shift import point_limit
from dashboards.records import Edge, LotHistory, Node
from dashboards.rendering import write_page
from dashboards.site import Site, WrittenFile


def _with_strangers(nodes: tuple[Node, ...], edges: tuple[Edge, ...]) -> dict[str, Node]:
    """Members by id; a member that only a link names is shown under its id rather than lost."""
    known = {node.node_id: node for node in nodes}
    for edge in edges:
        for node_id in (edge.from_node, edge.to_node):
            known.setdefault(node_id, Node(node_id, "material lot", node_id, "not described"))
    return known


def write_lot_page(record: LotHistory, site: Site) -> WrittenFile:
    """Writes the lot page.

    Args:
        record: what it shows.
        site: where.
    """
    nodes = _with_strangers(record.nodes, record.edges)
    return write_page(
        site,
        "lot",
        record.lot_id,
        "lot.html.j2",
        record,
        nodes=nodes,
        family=family_drawing(tuple(nodes.values()), record.edges),
        point_limit=point_limit,
    )
