"""A print repeats byte for byte at its time, and a shift's page follows when a neighbour comes on file."""

from pathlib import Path

import pytest

from dashboards import page_planning, page_writing
from dashboards.fillers.run_book import run_books
from pipeline.cli.app import run as main
from pipeline.store.database import open_to_read


def test_a_print_at_a_time_repeats_byte_for_byte(
    judged_store: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    def printed(name: str, at: str) -> bytes:
        out = tmp_path / name
        words = ["print", "finding", "R-0413-F01", "--by", "quality engineer", "--at", at]
        assert main([*words, "--out", str(out), "--store", str(judged_store)]) == 0
        return out.read_bytes()

    first = printed("first.pdf", "2026-03-04T06:00")
    assert first == printed("again.pdf", "2026-03-04T06:00")
    assert first != printed("later.pdf", "2026-03-04T06:01")
    capsys.readouterr()
    words = ["print", "finding", "R-0413-F01", "--by", "quality engineer", "--at", "six o'clock"]
    assert main([*words, "--out", str(tmp_path / "no.pdf"), "--store", str(judged_store)]) != 0
    told = capsys.readouterr().err
    assert "--at" in told and "six o'clock" in told and "Traceback" not in told
    assert not (tmp_path / "no.pdf").exists()


def test_the_page_of_a_shift_is_written_anew_when_the_shift_after_it_comes(
    judged_store: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept = {("shift",), ("morning",), ("index",)}
    monkeypatch.setattr(
        page_planning, "PLANNERS", tuple(one for one in page_planning.PLANNERS if one[0] in kept)
    )
    monkeypatch.setattr(page_planning, "comparisons_of", lambda *_: [])
    shown: dict[str, str] = {}

    def written(*run_ids: str) -> set[str]:
        """Addresses whose text changed, with these runs on file."""
        with open_to_read(judged_store) as store:
            monkeypatch.setattr(
                page_planning,
                "run_books",
                lambda opened: [book for book in run_books(opened) if book.run_id in run_ids],
            )
            page_writing.write_pages(store, tmp_path, lambda _what, _more: None)
        now = {
            path.name: path.read_text(encoding="utf-8")
            for path in tmp_path.rglob("*.html")
            if path.parent.name != "mornings"
        }
        changed = {name for name, text in now.items() if shown.get(name) != text}
        shown.update(now)
        return changed

    day, evening, night = (f"2026-03-03-{name}.html" for name in ("DAY", "EVENING", "NIGHT"))
    assert written("R-0511") == {day, "index.html"}
    assert written("R-0511", "R-0515") == {day, night, "index.html"}
    assert night in shown[day] and day in shown[night]
    # One comes between them: both neighbours lead to it now, and no longer to each other.
    assert written("R-0511", "R-0515", "R-0513") == {day, evening, night, "index.html"}
    assert evening in shown[day] and night not in shown[day]
    assert written("R-0511", "R-0515", "R-0513") == set()
