"""Genealogy and containment: worked graph, lengths through cuts and rewinding, circles, change-over tails."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.errors import MethodRefusal, NotFoundError
from pipeline.length.reels import PlacedReel
from pipeline.lots.containment import Suspect, contain, contain_window, edges_once, together
from pipeline.lots.genealogy import (
    WHOLE,
    Edge,
    Genealogy,
    Node,
    changeover_tail_m,
    joined,
    reach,
    run_edges,
    shipment_edges,
)
from pipeline.sheets.run_sheet import RunSheet

KINDS = {"C": "material lot", "N": "material lot", "W": "material lot", "B": "batch", "M": "machine interval"}
KINDS |= {"K": "reel", "S": "shipment"}


def cut_edges(reel_id: str, cuts: Sequence[tuple[str, float, float]]) -> tuple[Edge, ...]:
    """The cut lengths of a reel: name, start and end from the end that comes off first [m]."""
    return tuple(
        Edge(Node("reel", reel_id), Node("cut length", name), (start, end), (0.0, end - start))
        for name, start, end in cuts
    )


def node(name: str) -> Node:
    return Node(KINDS[name[0]], name)  # type: ignore[arg-type]


WENT_INTO = (
    "C7 B1, C8 B2, N3 B1, N3 B2, B1 M1, B1 M2, B2 M3, W1 M3, M1 K1, M1 K2, M2 K3, M3 K4, K1 S1, K2 S1, K3 S2"
)
WORKED = Genealogy(tuple(Edge(node(pair[:2]), node(pair[3:])) for pair in WENT_INTO.split(", ")))


def names(genealogy: Genealogy, start: str, forward: bool = True) -> set[str]:
    return {one.node.name for one in reach(genealogy, node(start), forward=forward)}


def test_the_worked_graph() -> None:
    # Worked by hand: lots C, N, W; batches B; machine intervals M; reels K; shipments S.
    assert names(WORKED, "C7") == {"B1", "M1", "M2", "K1", "K2", "K3", "S1", "S2"}
    assert names(WORKED, "K4", forward=False) == {"B2", "C8", "M3", "N3", "W1"}
    assert names(WORKED, "N3") == {"B1", "B2", "M1", "M2", "M3", "K1", "K2", "K3", "K4", "S1", "S2"}
    (shipped,) = [one for one in reach(WORKED, node("C7")) if one.node.name == "S2"]
    assert [one.name for one in shipped.path] == ["C7", "B1", "M2", "K3", "S2"]


def test_lengths_are_carried_through_reels_and_cuts() -> None:
    # The wire is wound from the core: metre 1200 of the run lies 800 m from the outer end of a reel 1000-2000.
    run, reel = Node("run", "R1"), Node("reel", "K1")
    graph = Genealogy(
        (
            Edge(run, reel, (1000.0, 2000.0), (0.0, 1000.0), turned=True),
            *cut_edges("K1", [("P1", 0.0, 300.0), ("P2", 305.0, 805.0), ("P3", 805.0, 1000.0)]),
        )
    )
    reached = {one.node.name: one.spans for one in reach(graph, run, (1190.0, 1210.0))}
    assert reached == {"K1": ((790.0, 810.0),), "P2": ((485.0, 500.0),), "P3": ((0.0, 5.0),)}
    back = {
        one.node.name: one.spans
        for one in reach(graph, Node("cut length", "P2"), (485.0, 500.0), forward=False)
    }
    assert back == {"K1": ((790.0, 805.0),), "R1": ((1195.0, 1210.0),)}


def test_doubt_about_a_reel_end_widens_what_is_reached() -> None:
    run = Node("run", "R1")
    edges = tuple(
        Edge(run, Node("reel", name), span, (0.0, 100.0), turned=True, unsure_m=4.0)
        for name, span in (("A", (0.0, 100.0)), ("B", (100.0, 200.0)))
    )
    reached = {one.node.name: one.spans for one in reach(Genealogy(edges), run, (97.0, 98.0))}
    assert set(reached) == {"A", "B"}
    assert {one.node.name for one in reach(Genealogy(edges), run, (90.0, 91.0))} == {"A"}


def test_circles_end() -> None:
    reel, run = Node("reel", "K1"), Node("run", "R2")
    for back in (
        Edge(run, reel),
        Edge(run, reel, (0.0, 100.0), (10.0, 60.0)),
        Edge(run, reel, (0.0, 100.0), (0.0, 99.0), turned=True),
    ):
        graph = Genealogy((Edge(reel, run, (0.0, 100.0), (0.0, 100.0)), back, Edge(run, Node("reel", "K2"))))
        assert {one.node.name for one in reach(graph, reel, (3.0, 4.0))} == {"R2", "K2"}


@settings(max_examples=200, deadline=None, derandomize=True)
@given(st.lists(st.tuples(st.integers(0, 9), st.integers(0, 9)), max_size=25), st.integers(0, 9))
def test_forward_reach_is_the_transpose_of_backward_reach(pairs: list[tuple[int, int]], start: int) -> None:
    nodes = [Node("reel", f"K{n}") for n in range(10)]
    graph = Genealogy(tuple(Edge(nodes[a], nodes[b]) for a, b in pairs))
    # Independent: boolean closure by repeated squaring of the adjacency, by hand.
    closure = {(a, b) for a, b in pairs}
    while True:
        more = closure | {(a, d) for a, b in closure for c, d in closure if b == c}
        if more == closure:
            break
        closure = more
    forward = {one.node for one in reach(graph, nodes[start])}
    assert forward == {nodes[b] for a, b in closure if a == start and b != start}
    for other in forward:
        assert nodes[start] in {one.node for one in reach(graph, other, forward=False)}


def test_many_short_lengths_stay_short() -> None:
    run, reel = Node("run", "R1"), Node("reel", "K1")
    cuts = [(f"P{n}", 100.0 * n, 100.0 * n + 1.0) for n in range(20)]
    graph = Genealogy((Edge(run, reel, (0.0, 2000.0), (0.0, 2000.0)), *cut_edges("K1", cuts)))
    shipment = shipment_edges("S1", [Node("cut length", name) for name, _, _ in cuts])
    back = reach(Genealogy((*graph.edges, *shipment)), Node("shipment", "S1"), forward=False)
    spans = {one.node.name: one.spans for one in back}
    assert spans["R1"] == tuple((start, end) for _, start, end in cuts)


def sheet() -> RunSheet:
    return RunSheet.model_validate(
        {
            "id": "R1", "plant": "P", "plant_sheet": "plant.toml", "line": "L1", "line_sheet": "line.toml",
            "shift": "A", "operator_role": "operator",
            "product": {"construction": "THHN/THWN-2", "size": "14 AWG", "conductor": "solid"},
            "lots": [
                {"material": "insulation compound", "lot": "C7", "to_m": 4000.0},
                {"material": "insulation compound", "lot": "C8", "from_m": 4000.0},
                {"material": "conductor", "lot": "W1", "to_m": 4000.0},
                {"material": "conductor", "lot": "W2", "from_m": 4000.0},
            ],
            "reels": [{"id": "K1", "from_m": 0, "to_m": 3000}, {"id": "K2", "from_m": 3000, "to_m": 6000}],
            "logs": [{"kind": "readings", "files": ["a.csv"], "time": {"column": "t"},
                      "walls": {"columns": ["w"], "unit": "mm"}}],
        }
    )  # fmt: skip


REELS = (
    PlacedReel("K1", 0.0, 3000.0, 100.0, 3100.0),
    PlacedReel("K2", 3000.0, 6000.0, 3100.0, 6100.0),
    PlacedReel("K3", 6000.0, 9000.0, 6100.0, 9100.0),
)


def test_both_lots_are_attached_over_the_change_over() -> None:
    # Ideal mixer, 60 s, 10 m/s, to 1 %: 60 x 10 x ln 100 = 2763 m.
    tail = changeover_tail_m(10.0, 60.0)
    assert tail == pytest.approx(2763.102111592855)
    edges = run_edges(sheet(), REELS, 9000.0, tail_m=tail, limit_names=["wall rev 3"], software="0.1.0")
    graph = Genealogy(edges)
    old = contain(graph, Suspect(Node("material lot", "insulation compound C7"), "contaminated"))
    assert {one.node.name: one.spans for one in old.touched} == {
        "K1": ((0.0, 3000.0),),
        "K2": ((0.0, 3000.0),),
        "K3": ((pytest.approx(3000.0 - 763.102111592855), 3000.0),),
    }
    new = contain(graph, Suspect(Node("material lot", "insulation compound C8"), "contaminated"))
    assert [one.node.name for one in new.touched] == ["K2", "K3"]
    # A conductor changes at a weld.
    wire = contain(graph, Suspect(Node("material lot", "conductor W1"), "soft"))
    assert [(one.node.name, one.spans) for one in wire.touched] == [
        ("K1", ((0.0, 3000.0),)),
        ("K2", ((2000.0, 3000.0),)),
    ]
    for judged_by in (Node("limit", "wall rev 3"), Node("software", "0.1.0")):
        assert len(contain(graph, Suspect(judged_by, "withdrawn")).touched) == 3


def test_a_gauge_is_suspect_only_from_when_it_was_out() -> None:
    gauge = Node("calibration", "WG1 of 2025-01-01")
    runs = [Node("run", f"R{n}") for n in range(3)]
    start = datetime(2025, 3, 1, tzinfo=UTC)
    made = {
        run: (start + timedelta(days=n), start + timedelta(days=n, hours=8)) for n, run in enumerate(runs)
    }
    edges = [Edge(gauge, run) for run in runs] + [
        Edge(run, Node("reel", f"K{n}")) for n, run in enumerate(runs)
    ]
    whereabouts = {Node("reel", "K1"): "shipped", Node("reel", "K2"): "in house"}
    graph = Genealogy(edges_once(edges + edges[:1]), made, whereabouts)
    assert len(graph.edges) == 6
    out = contain(graph, Suspect(gauge, "found 6 um high", since=start + timedelta(days=1, hours=2)))
    assert [(one.node.name, one.whereabouts) for one in out.touched] == [
        ("K2", "in house"),
        ("K1", "shipped"),
    ]
    assert out.touched[1].spans == (WHOLE,)
    assert [str(one) for one in out.touched[1].path] == [
        "calibration WG1 of 2025-01-01",
        "run R1",
        "reel K1",
    ]
    all_of_it = contain(graph, Suspect(gauge, "found 6 um high"))
    assert [one.node.name for one in all_of_it.touched] == ["K2", "K0", "K1"]
    assert all_of_it.touched[1].whereabouts == "not known"
    window = contain_window(graph, start, start + timedelta(days=1), "power dip")
    assert [one.node.name for one in together(window)] == ["K0", "K1"]


def test_a_suspect_reel_is_itself_touched_and_shipments_follow() -> None:
    cut = Node("cut length", "P1")
    graph = Genealogy((*cut_edges("K1", [("P1", 0.0, 300.0)]), *shipment_edges("S1", [cut])))
    found = contain(graph, Suspect(Node("reel", "K1"), "complaint", (200.0, 210.0)))
    assert [(one.node.name, one.spans) for one in found.touched] == [
        ("P1", ((200.0, 210.0),)),
        ("K1", ((200.0, 210.0),)),
        ("S1", (WHOLE,)),
    ]
    missed = contain(graph, Suspect(Node("reel", "K1"), "complaint", (400.0, 410.0)))
    assert [one.node.name for one in missed.touched] == ["K1"]


def test_spans_that_touch_are_joined() -> None:
    assert joined([(5, 6), (1, 2), (2, 3)]) == ((1, 3), (5, 6))
    assert joined([]) == ()


def test_what_is_not_on_file_is_told_and_not_called_untouched() -> None:
    with pytest.raises(NotFoundError) as told:
        contain(WORKED, Suspect(Node("material lot", "C9"), "bad"))
    assert str(told.value) == (
        "containment: material lot C9 is not on file. "
        "On file: C7, C8, N3, W1; check the name or load the runs."
    )
    at = datetime(2025, 1, 1, tzinfo=UTC)
    with pytest.raises(NotFoundError) as told:
        contain_window(WORKED, at, at, "power dip")
    assert str(told.value) == (
        "containment: no run on file was made from 2025-01-01T00:00:00+00:00 to 2025-01-01T00:00:00+00:00. "
        "Check the times and their zone."
    )
    with pytest.raises(MethodRefusal) as refused:
        changeover_tail_m(-1.0, 60.0)
    assert str(refused.value) == (
        "change-over tail: a speed of -1 m/s and 60 s. Give a speed and a time of 0 or more."
    )
