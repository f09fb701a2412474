"""A run that cannot be read is refused alone, in words, within seconds; the others are loaded and judged."""

from __future__ import annotations

import gzip
import os
import shutil
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from dashboards.page_hashes import pages_changed
from dashboards.page_writing import write_pages
from pipeline.cli.app import run as command
from pipeline.errors import LogError, ReelproofError
from pipeline.job import assessing
from pipeline.job.assessing import NOT_JUDGED, assess_runs
from pipeline.job.loading import load_sheets
from pipeline.job.watching import look
from pipeline.logs.open_log import OpenLog
from pipeline.sheets.run_sheet import LogFile
from pipeline.sheets.toml_file import LONGEST_TEXT, read_sheet
from pipeline.steps.load import find_run_sheets
from pipeline.store.database import open_to_read, open_to_write

ROWS, HALF = 1500, 750
SLOWEST_S = 60.0  # on a machine shared by many; alone each takes less than one


def replaced(sheet: Path, old: str, new: str) -> None:
    text = sheet.read_text(encoding="utf-8")
    assert old in text
    sheet.write_text(text.replace(old, new, 1), encoding="utf-8")


def pipe(sheet: Path) -> None:
    sheet.unlink()
    os.mkfifo(sheet)


def log_of(sheet: Path, change: Callable[[list[bytes]], list[bytes]]) -> None:
    (log,) = sheet.parent.glob("*_log.csv.gz")
    lines = gzip.decompress(log.read_bytes()).splitlines(keepends=True)
    log.write_bytes(gzip.compress(b"".join(change(lines)), 1))


def pipe_of_log(sheet: Path) -> None:
    (log,) = sheet.parent.glob("*_log.csv.gz")
    log.unlink()
    os.mkfifo(log)


def link_of_log(sheet: Path) -> None:
    (log,) = sheet.parent.glob("*_log.csv.gz")
    log.unlink()
    log.symlink_to("/etc/passwd")


NAME = 'files = ["R-0415_log.csv.gz"]'
# What is done to a run, and what its one complaint says.
BAD: dict[str, tuple[Callable[[Path], None], str]] = {
    "an integer of 5,000 digits": (
        lambda sheet: replaced(sheet, "from_m = 126.0", f"from_m = {'9' * 5000}"),
        "this is no sheet: Exceeds the limit (4300 digits) for integer string conversion",
    ),
    "brackets 1,000 deep": (
        lambda sheet: replaced(sheet, "from_m = 126.0", f"from_m = {'[' * 1000}{']' * 1000}"),
        "deep",
    ),
    "tables 30 deep": (
        lambda sheet: replaced(sheet, "from_m = 126.0", f"from_m = {'[' * 30}{']' * 30}"),
        "tables or lists stand in each other more than 16 deep",
    ),
    "inf": (
        lambda sheet: replaced(sheet, "126.0", "inf"),
        "run.reels[1].from_m: inf is no number to calculate with",
    ),
    "1e308": (
        lambda sheet: replaced(sheet, "126.0", "1e308"),
        "run.reels[1].from_m: this number is far too large",
    ),
    "a long text": (
        lambda sheet: replaced(sheet, "extruder operator", "x" * (LONGEST_TEXT + 1)),
        "run.operator_role: this text has 20,001 characters",
    ),
    "a sheet of 5 MB": (
        lambda sheet: sheet.write_bytes(b"#" * 5_000_000),
        "this file has more than 4,000,000 bytes",
    ),
    "a pipe as sheet": (pipe, "this is a pipe or a device, not a file"),
    "a pipe as log": (pipe_of_log, "there is no file 'R-0415_log.csv.gz' beside the run sheet"),
    "a link to a system file": (
        link_of_log,
        "'R-0415_log.csv.gz' lies outside the folder that holds this run's",
    ),
    "a system file as log": (
        lambda sheet: replaced(sheet, NAME, 'files = ["/etc/passwd"]'),
        "'/etc/passwd' lies outside the folder that holds this run's",
    ),
    "an odd encoding": (
        lambda sheet: replaced(sheet, NAME, NAME + '\nencoding = "idna"'),
        "encoding: 'idna' is not a text encoding this program knows",
    ),
}
# These are read as far as they can be, or refused in words; either way the others go on.
ODD: dict[str, Callable[[list[bytes]], list[bytes]]] = {
    "a field of 10 MB": lambda lines: [*lines[:HALF], lines[HALF].replace(b",", b"," + b"7" * 10_000_000, 1)],
    "a quoted field of 10 MB": lambda lines: [*lines[:HALF], b'"' + b"x\n" * 5_000_000 + b'",1\n'],
    "a frozen clock": lambda lines: [lines[0], *(lines[1][:23] + one[23:] for one in lines[1:ROWS])],
    "numbers out of all range": lambda lines: [
        *lines[:HALF],
        *(one[:24] + b"1e308,inf,-1e308,nan" + one[44:] for one in lines[HALF : HALF + 50]),
    ],
    "zero bytes": lambda lines: [*lines[:HALF], b"\0" * 100_000],
    "nothing but a header": lambda lines: lines[:1],
}


def copied(small_run: Path, name: str) -> Path:
    folder = small_run.parents[1] / name
    shutil.copytree(small_run.parent, folder)
    replaced(folder / "run.toml", 'id = "R-0415"', f'id = "{name}"')
    text = (folder / "run.toml").read_text(encoding="utf-8").replace("L1-0415-", f"L1-{name}-")
    (folder / "run.toml").write_text(text, encoding="utf-8")
    return folder / "run.toml"


def short(sheet: Path) -> None:
    log_of(sheet, lambda lines: lines[:ROWS])


@pytest.mark.timeout(900)
def test_every_bad_run_is_refused_alone(small_run: Path, tmp_path: Path) -> None:
    short(small_run)
    good = copied(small_run, "R-9999")
    sheets = {}
    for number, (what, (spoil, _)) in enumerate(BAD.items()):
        sheets[what] = copied(small_run, f"R-1{number:03d}")
        spoil(sheets[what])
    for number, (what, change) in enumerate(ODD.items()):
        sheets[what] = copied(small_run, f"R-2{number:03d}")
        log_of(sheets[what], change)
    unread = small_run.parents[1] / "R-3000"
    unread.mkdir()
    began = time.monotonic()
    with open_to_write(tmp_path / "store") as store:
        loaded, refused = load_sheets(store, (small_run.parents[1],))
        outcomes = assess_runs(store, ())
    assert time.monotonic() - began < SLOWEST_S * len(sheets)
    assert {"R-0415", good.parent.name} <= {one.run_id for one in loaded}
    for what, (_, says) in BAD.items():
        own = [one for one in refused if str(sheets[what].parent) in one]
        assert len(own) >= 1, what
        assert any(says in one for one in own), (what, own)
        assert max(map(len, own)) < 600, what
    told = [one for one in refused if "fault of this program" in one]
    assert told == []
    for what in ODD:
        run_id = sheets[what].parent.name
        assert run_id in {one.run_id for one in loaded} or any(run_id in one for one in refused), what
    assert [one for one in outcomes if one.outcome == NOT_JUDGED] == []


def test_a_folder_that_cannot_be_read_is_told(
    small_run: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from pipeline.steps import load

    closed = small_run.parents[1] / "R-0900"
    closed.mkdir()
    real = os.scandir

    def scandir(path: str | Path) -> object:
        if Path(path) == closed:
            raise PermissionError(13, "Permission denied", str(closed))
        return real(path)

    monkeypatch.setattr(load.os, "scandir", scandir)
    sheets, told = load.run_sheets_below(small_run.parents[1])
    assert sheets == [small_run]
    assert "\n".join(map(str, told)) == (
        f"{closed}: this folder cannot be read (Permission denied). "
        "Ask for read permission: a run in it would be passed over."
    )
    ready, memory = look(small_run.parents[1], {}, 0.0, 0.0)
    assert ready == (small_run,)
    assert memory["R-0900/"].reason.startswith("this folder cannot be read (Permission denied).")


def test_a_run_whose_judging_fails_is_told_and_the_others_are_judged(
    small_run: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    short(small_run)
    copied(small_run, "R-9999")
    store = tmp_path / "store"
    assert command(["load", str(small_run.parents[1]), "--store", str(store)]) == 0
    real = assessing.assess_run

    def fails(opened: object, run_id: str, *more: object) -> object:
        if run_id == "R-0415":
            raise ZeroDivisionError("nothing to divide by")
        return real(opened, run_id, *more)  # type: ignore[arg-type]

    monkeypatch.setattr(assessing, "assess_run", fails)
    capsys.readouterr()
    assert command(["assess", "--store", str(store)]) == 2
    told = capsys.readouterr()
    assert "R-9999: " in told.out
    assert told.err == (
        "R-0415: could not be judged. run R-0415: a fault of this program, not of your data (ZeroDivisionError: "
        "nothing to divide by). The others go on; run the same command with REELPROOF_TRACE=1 set and report what it "
        "prints.\n"
    )


def test_a_page_that_cannot_be_written_is_taken_away_and_the_others_are_written(
    small_run: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from dashboards import run_pages

    short(small_run)
    with open_to_write(tmp_path / "store") as store:
        load_sheets(store, (small_run.parent,))
        assess_runs(store, ())
    out = tmp_path / "pages"

    def written() -> tuple[int, list[str]]:
        refused: list[str] = []
        with open_to_read(tmp_path / "store") as store:
            return write_pages(store, out, lambda _what, _more: None, refused)[1], refused

    assert written()[1] == []
    assert pages_changed(out) == ()
    page = out / "runs" / "R-0415.html"
    whole = page.read_bytes()
    (out / ".made.json").unlink()

    def fails(*_what: object) -> object:
        raise KeyError("mean")

    with monkeypatch.context() as patch:
        patch.setattr(run_pages, "run_review", fails)
        _, refused = written()
    assert len(refused) == 1
    assert refused[0].startswith(
        "page runs/R-0415.html: a fault of this program, not of your data (KeyError: 'mean')"
    )
    assert not page.exists(), "an earlier state is never left to be taken for the present one"
    assert pages_changed(out) == ()
    assert written() == (1, [])
    assert page.read_bytes() == whole
    # Changed, emptied, deleted and added behind the program's back.
    page.write_bytes(whole.replace(b"held", b"releasable"))
    (out / "index.html").write_bytes(b"")
    (out / "runs" / "R-0416.html").write_text("made up")
    (out / ".R-0417.html").write_text("made up")
    (out / "reels2").symlink_to(tmp_path)
    assert pages_changed(out) == (
        "page index.html: it is not as it was written.",
        "page runs/R-0415.html: it is not as it was written.",
        "page .R-0417.html: this program did not write it.",
        "page reels2: this program did not write it.",
        "page runs/R-0416.html: this program did not write it.",
    )
    page.unlink()
    assert "page runs/R-0415.html: it is missing or cannot be read." in pages_changed(out)
    with pytest.raises(ReelproofError, match="no hashes of pages are kept here"):
        pages_changed(tmp_path)


def text_in(path: Path, encoding: str) -> bytes:
    with OpenLog(path, encoding) as opened:
        return b"".join(opened.text())


@pytest.mark.parametrize(
    "name", ["utf-8", "cp1252", "latin-1", "utf-16", "utf-16-le", "utf-32-be", "shift_jis", "UTF8"]
)
def test_an_encoding_of_logs_is_read(name: str, tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_bytes("a,b\n1,2\n".encode(name))
    assert text_in(tmp_path / "a.csv", name) == b"a,b\n1,2\n"


@pytest.mark.parametrize(
    "name", ["idna", "punycode", "utf-7", "rot13", "base64", "no such", "undefined", "", "a\0"]
)
def test_an_encoding_that_no_log_has_is_refused(name: str, tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_bytes(b"a,b\n1,2\n")
    with pytest.raises(LogError, match="is not a text encoding this program knows"):
        text_in(tmp_path / "a.csv", name)


@pytest.mark.parametrize("device", ["/dev/zero", "/dev/null"])
def test_a_device_is_no_sheet(device: str) -> None:
    with pytest.raises(ReelproofError, match=f"{device}: this is a pipe or a device"):
        find_run_sheets((Path(device),))
    with pytest.raises(ReelproofError) as told:
        read_sheet(Path(device), LogFile)
    assert str(told.value) == (
        f"{device}: this is a pipe or a device, not a file. A sheet is a text file of a few pages; name that."
    )
