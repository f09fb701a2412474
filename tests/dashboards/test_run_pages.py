"""Pages of runs written by several processes are those that one writes, whatever becomes of the others."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from dashboards import run_pages
from dashboards.fillers.plant import plant_of
from dashboards.fillers.run_book import RunBook, ShelfBook, run_books
from dashboards.page_writing import write_planned
from dashboards.run_pages import Batch, Planned, batches_of, pages_of_run, processes_for
from dashboards.site import Site, write_if_changed
from pipeline.record.run_facts import MOST_AHEAD
from pipeline.store.database import Store, open_to_read


def contents(site: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(site)): path.read_bytes() for path in sorted(site.rglob("*")) if path.is_file()
    }


@pytest.fixture
def two_processes(monkeypatch: pytest.MonkeyPatch) -> list[Batch]:
    """Two processes are worth having; the batches this one writes are noted."""
    monkeypatch.setattr(run_pages, "WORTH_READINGS", 0)
    monkeypatch.setattr(run_pages, "BATCH_READINGS", 1)
    monkeypatch.setattr(run_pages, "cores", lambda: 2)
    ours: list[Batch] = []
    plain = run_pages.write_batch

    def noted(batch: Batch, *more: object) -> list[tuple[str, bool]]:
        ours.append(batch)
        return plain(batch, *more)  # type: ignore[arg-type]

    monkeypatch.setattr(run_pages, "write_batch", noted)
    return ours


def write(store: Store, folder: Path) -> list[str]:
    """Write the pages of every run, and one that is about no run; the addresses that changed."""
    books = run_books(store)
    plant = plant_of(store, books)
    planned = [page for book in books for page in pages_of_run(plant, book)]
    shift = Planned("shift", "ONE", (), lambda site: (write_if_changed(site, "shifts/ONE.html", b"one"),))
    site = Site(folder, frozenset(one.address for one in planned))
    done = list(write_planned([shift, *planned], store, plant, site))
    assert {one.address for one, _ in done} == {shift.address, *site.pages}
    return [one.address for one, changed in done if changed]


@pytest.fixture(scope="module")
def alone(judged_store: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The site as one process writes it."""
    site = tmp_path_factory.mktemp("alone")
    with open_to_read(judged_store) as store:
        write(store, site)
    return site


def test_two_processes_write_what_one_writes(
    judged_store: Path, alone: Path, tmp_path: Path, two_processes: list[Batch]
) -> None:
    with open_to_read(judged_store) as store:
        assert len(write(store, tmp_path)) == len(set(tmp_path.rglob("*.html")))
        assert len(two_processes) < len(run_books(store))
        assert contents(tmp_path) == contents(alone)
        assert write(store, tmp_path) == []


def test_where_no_other_process_can_work_this_one_writes_all(
    judged_store: Path, alone: Path, tmp_path: Path, two_processes: list[Batch]
) -> None:
    with open_to_read(judged_store) as store:
        write(replace(store, copy=tmp_path / "gone.duckdb"), tmp_path / "site")
        assert len(two_processes) == len(run_books(store))
    assert contents(tmp_path / "site") == contents(alone)


def planned(*readings: int) -> list[Planned]:
    """The pages of runs of so many readings each."""
    store = Store(Path(), None, False)  # type: ignore[arg-type]
    heads = [{"run_id": f"R-{n}", "rows_kept": rows} for n, rows in enumerate(readings)]
    return [
        Planned(kind, head["run_id"], (RunBook(store, head, ShelfBook(store)),), lambda _site: ())
        for head in heads
        for kind in ("run", "centring")
    ]


def test_short_runs_go_together_and_long_ones_alone() -> None:
    together = batches_of(planned(100, 200, 300_000, 100, 249_900, 1))
    assert [[head["run_id"] for head in one.heads] for one in together] == [
        ["R-0", "R-1"],
        ["R-2"],
        ["R-3", "R-4"],
        ["R-5"],
    ]
    assert together[1].addresses == {"runs/R-2.html", "centring/R-2.html"}
    assert [len(one.heads) for one in batches_of(planned(*[1] * 100))] == [MOST_AHEAD, 100 - MOST_AHEAD]
    assert batches_of([]) == []


def test_processes_are_worth_having_for_much_work_that_memory_bears(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(run_pages, "cores", lambda: 8)

    def processes(*readings: int) -> int:
        return processes_for(batches_of(planned(*readings)))

    assert processes() == 1
    assert processes(*[1_000] * 1_000) == 1
    assert processes(*[300_000] * 20) == 3
    assert processes(*[10_000_000] * 4) == 1
    monkeypatch.setattr(run_pages, "cores", lambda: 2)
    assert processes(*[300_000] * 20) == 2
