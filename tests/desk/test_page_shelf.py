"""What a page view plans after an act: the page asked for, as the static site would write it, and nothing else."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from threading import Event, Thread
from typing import Any

import pytest

from dashboards.page_planning import planned_pages
from dashboards.page_shelf import PageShelf
from dashboards.run_pages import Planned
from dashboards.site import Site
from dashboards.site_contents import contents_of, planned_page
from pipeline.acts.deciding import act_on
from pipeline.acts.holding import put_hold
from pipeline.store.database import Store, open_to_read, open_to_write
from tests.acts.decided_store import ENGINEER, copied

REEL, FINDING, RUN = "L1-0412-03", "R-0412-F02", "R-0412"
PAGES = (f"reels/{REEL}.html", f"findings/{FINDING}.html", "index.html")


@pytest.fixture
def shelf(judged_store: Path, tmp_path: Path) -> Iterator[PageShelf]:
    store = copied(judged_store, tmp_path / "store")
    found = PageShelf(store, tmp_path / "pages")
    found.begin()
    yield found
    found.close()


def held(store: Path, reel: str = REEL, reason: str = "scuffed by the clamp") -> None:
    with open_to_write(store) as opened:
        put_hold(opened, reel, ENGINEER, reason, None)


def test_each_page_is_planned_alone_as_it_is_among_all(judged_store: Path) -> None:
    with open_to_read(judged_store) as store:
        contents = contents_of(store)
        _, planned = planned_pages(store)
        among_all = {one.address: one for one in planned}
        assert list(contents.pages) == list(among_all)
        samples: dict[str, Any] = {}
        one_of_kind = {one.kind: one for one in planned} | {one.kind + "first": one for one in planned[::-1]}
        for one in one_of_kind.values():
            alone = planned_page(contents, one.address, store, samples)
            assert (alone.kind, alone.record_id) == (one.kind, one.record_id)
            assert [book.run_id for book in alone.books] == [book.run_id for book in one.books]
            assert alone.basis == one.basis, one.address


def test_after_an_act_a_view_asks_about_its_own_run_and_is_the_static_sites_page(
    shelf: PageShelf, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for where in PAGES:
        assert shelf.file(where) is not None
    before = shelf.plan()
    held(shelf.store)
    with open_to_write(shelf.store) as opened:
        act_on(opened, FINDING, "decide", ENGINEER, "thin on a slice", "scrap", seen=0)
    asked: list[tuple[str, list[Any]]] = []
    # A reel's cutting plan asks anew what samples of like lots say: of the runs that have some.
    of_like_lots = {"judged_run", "samples_of_run", "lots_of_reels", "limits_of_assessment"}
    of_each = Store.ask_of_each

    def noted(self: Store, question: str, key: str, keys: Any, **more: object) -> Any:
        if question.rpartition("/")[2] not in of_like_lots:
            asked.append((f"{question} {key}", list(keys)))
        return of_each(self, question, key, keys, **more)

    monkeypatch.setattr(Store, "ask_of_each", noted)
    for where in PAGES[:2]:
        assert shelf.file(where) is not None
    assert shelf.plan().contents is before.contents and shelf.plan().samples == before.samples
    (head,) = (one for one in before.contents.heads if one["run_id"] == RUN)
    own = {head["run_id"], head["load_id"], head["assessment_id"]}
    assert asked and [one for one in asked if not own.issuperset(one[1])] == []
    monkeypatch.undo()
    shelf.file(PAGES[2])
    with open_to_read(shelf.store) as store:
        _, planned = planned_pages(store)
        site = Site(tmp_path / "static", frozenset(one.address for one in planned), served=True)
        for one in planned:
            if one.address in PAGES:
                assert not one.written(site).refused
    for where in PAGES:
        assert (shelf.folder / where).read_bytes() == (site.folder / where).read_bytes(), where
    assert "scuffed by the clamp" in (shelf.folder / PAGES[0]).read_text(encoding="utf-8")


def test_what_is_more_than_an_act_is_planned_anew(shelf: PageShelf) -> None:
    before = shelf.plan().contents
    with open_to_write(shelf.store) as opened, opened.transaction():
        opened.connection.execute(
            "INSERT INTO journal.entry SELECT entry_no + 1, at_utc, 'assessment', 'R-1', record, record_sha256, "
            "chain_sha256 FROM journal.entry ORDER BY entry_no DESC LIMIT 1"
        )
        opened.changed = True
    assert shelf.plan().contents is not before


def test_a_page_that_takes_long_keeps_nobody_from_another(
    shelf: PageShelf, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun, may_end = Event(), Event()
    written = Planned.written

    def slowly(self: Planned, site: Site) -> Any:
        if self.kind == "index":
            begun.set()
            assert may_end.wait(60.0)
        return written(self, site)

    monkeypatch.setattr(Planned, "written", slowly)
    slow = Thread(target=shelf.file, args=("index.html",))
    slow.start()
    try:
        assert begun.wait(60.0)
        held(shelf.store)  # a new copy comes while it is composed
        found = shelf.file(PAGES[0])
        assert found is not None and slow.is_alive()
        assert "scuffed by the clamp" in found.path.read_text(encoding="utf-8")
        assert "index.html" not in shelf.plan().fresh
    finally:
        may_end.set()
        slow.join()
    assert "index.html" not in shelf.plan().fresh  # what was composed of the earlier copy is looked at again
