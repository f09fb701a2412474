"""Containing a lot or a run reads the sheets of the runs concerned alone, and finds what reading every sheet finds."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from pipeline.errors import NotFoundError
from pipeline.record import touched_wire
from pipeline.record.touched_wire import Question, contained
from pipeline.store.database import open_to_read


def test_a_lot_and_a_run_touch_what_the_whole_graph_says(
    judged_store: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # How a reel stands is the same question both times, and the whole graph the same for all that is asked: once each.
    standings_of_run = touched_wire.standings_of_run
    with open_to_read(judged_store) as store:
        standings = cache(lambda run_id: standings_of_run(store, run_id))
        monkeypatch.setattr(touched_wire, "standings_of_run", lambda _, run_id: standings(run_id))
        lots = store.ask("questions/lot_ids")
        names = {row["lot"] for row in lots} | {f"{row['material']} {row['lot']}" for row in lots[:4]}
        asked = [Question("lot", name) for name in sorted(names)]
        asked += [Question("run", row["run_id"]) for row in store.ask("questions/current_runs")]
        few = [contained(store, one) for one in asked]
        whole = touched_wire.genealogy_of(store)
        monkeypatch.setattr(touched_wire, "genealogy_of", lambda *_: whole)
        assert [contained(store, one) for one in asked] == few
    assert sum(bool(one.touched) for one in few) > 20


def test_a_lot_that_is_not_on_file_is_told_without_reading_a_sheet(
    judged_store: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(touched_wire, "genealogy_of", lambda *_: pytest.fail("a sheet was read"))
    with open_to_read(judged_store) as store:
        with pytest.raises(NotFoundError, match=r"no lot of this number is on file.*PVC-7740"):
            contained(store, Question("lot", "PVC-7704"))
        with pytest.raises(NotFoundError, match=r"no run of this number is on file.*R-0412"):
            contained(store, Question("run", "R-04121"))
