"""A watch that once saw its inbox outlives a share that goes away, and says so once a look."""

from pathlib import Path

import pytest

from pipeline.errors import SheetError
from pipeline.flows.watch import Pass, watch_inbox


def test_an_inbox_that_goes_away_is_looked_at_again(tmp_path: Path) -> None:
    inbox, store = tmp_path / "inbox", tmp_path / "store"
    inbox.mkdir()
    seen: list[Pass] = []

    def told(one: Pass) -> None:
        seen.append(one)
        if len(seen) == 1:
            inbox.rmdir()
        elif len(seen) == 2:
            inbox.mkdir()

    watch_inbox(inbox, store, told, every_s=0.01, passes=3)
    first, away, back = seen
    assert first.waiting == back.waiting == {}
    assert away.waiting == {str(inbox): "the folder cannot be reached; it is looked at again every 0.01 s"}
    assert not away.done and not away.failed


def test_an_inbox_that_was_never_there_is_refused(tmp_path: Path) -> None:
    with pytest.raises(SheetError, match="this is not a folder"):
        watch_inbox(tmp_path / "no", tmp_path / "store", lambda _: None, passes=3)


def test_a_store_that_cannot_be_written_is_told_without_a_traceback(
    tmp_path: Path, small_run: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    store = tmp_path / "store"
    store.mkdir()
    (store / "reelproof.duckdb").write_bytes(b"no database" * 1000)
    seen: list[Pass] = []
    watch_inbox(small_run.parents[1], store, seen.append, quiet_s=0.0, passes=1)
    ((key, told),) = seen[0].failed.items()
    assert key == "R-0415/run.toml"
    assert "this is not a store's database, or it cannot be opened" in told
    assert "Traceback" not in "".join(capfd.readouterr())
