"""Findings that overlap, and the wire they cover: each metre counts once in every sum that a page shows."""

from collections.abc import Sequence
from dataclasses import replace
from types import SimpleNamespace
from typing import cast

from hypothesis import given, settings
from hypothesis import strategies as st

from dashboards.fillers.morning import _causes
from dashboards.fillers.run_book import Row, RunBook
from dashboards.pages.nonconformance import _tally
from dashboards.pages.run_summary import causes_of
from dashboards.pages.shift import by_cause
from pipeline.length.intervals import wire_m
from tests.dashboards import invented

Stretches = Sequence[tuple[str, int, int]]
STRETCHES = st.lists(
    st.tuples(st.sampled_from(("R-1", "R-2")), st.integers(0, 90), st.integers(0, 40)).map(
        lambda one: (one[0], one[1], one[1] + one[2])
    ),
    min_size=1,
    max_size=8,
)


def metres(stretches: Stretches) -> int:
    """Metres of wire in any of the stretches, counted one by one."""
    return len({(run, at) for run, low, high in stretches for at in range(low, high)})


def rows(stretches: Stretches) -> list[Row]:
    return [
        {"finding_id": str(k), "run_id": run, "from_m": float(low), "to_m": float(high), "cause": "roll A"}
        for k, (run, low, high) in enumerate(stretches)
    ]


def book(run_id: str, findings: list[Row]) -> RunBook:
    made = SimpleNamespace(run_id=run_id, findings=findings, open_findings=findings, head={"scrap_m": 0.0})
    return cast("RunBook", made)


@given(STRETCHES)
@settings(max_examples=60, deadline=None)
def test_a_metre_that_several_findings_cover_counts_once(stretches: Stretches) -> None:
    wanted = metres(stretches)
    assert wire_m(stretches) == wanted
    like = replace(invented.findings()[0], cause="roll A", line_id="L1", severity="major")
    found = [replace(like, run_id=run, from_m=float(low), to_m=float(high)) for run, low, high in stretches]
    assert [one.length_m for one in causes_of(found)] == [wanted]
    assert [one.length_m for one in by_cause(found, invented.PLANT)] == [wanted]


@given(STRETCHES)
@settings(max_examples=60, deadline=None)
def test_tallies_and_morning_sheets_count_it_once_too(stretches: Stretches) -> None:
    wanted, every = metres(stretches), rows(stretches)
    books = [book(run, [row for row in every if row["run_id"] == run]) for run in ("R-1", "R-2")]
    tally = _tally("rule", lambda *_: "any", [(one, row) for one in books for row in one.findings], books)
    assert [one.length_m for one in tally.rows] == [wanted]
    (cause,) = _causes(books, dict.fromkeys(("R-1", "R-2"), 0.5))
    assert (cause.findings, cause.length_m, cause.cost) == (len(every), wanted, 0.5 * wanted)


def test_a_finding_without_a_place_adds_no_length() -> None:
    assert wire_m([("R-1", None, None), ("R-1", 2.0, 5.0)]) == 3.0
