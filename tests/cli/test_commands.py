"""Every command as a person would try it: help, a typo, another folder, an empty file, JSON."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


def reelproof(*arguments: str | Path, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    environment = {name: value for name, value in os.environ.items() if name != "REELPROOF_STORE"}
    return subprocess.run(
        [sys.executable, "-m", "pipeline", *map(str, arguments)],
        capture_output=True,
        text=True,
        cwd=cwd or ROOT,
        env={**environment, "PYTHONPATH": str(ROOT), "COLUMNS": "100"},
        timeout=240,
    )


def commands() -> list[str]:
    import typer.main

    from pipeline.cli.app import app

    group = typer.main.get_command(app)
    return sorted(group.commands)  # type: ignore[attr-defined]


def test_the_commands_are_the_documented_ones() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    for name in commands():
        assert f"reelproof {name}" in readme, f"README.md does not show 'reelproof {name}'"


@pytest.mark.parametrize("name", commands())
def test_help_shows_an_example(name: str) -> None:
    shown = reelproof(name, "--help")
    assert shown.returncode == 0
    assert f"Example: reelproof {name}" in shown.stdout


def test_a_typo_names_the_nearest_command() -> None:
    shown = reelproof("asses")
    assert shown.returncode == 2
    assert "No such command 'asses'. Did you mean 'assess', 'reassess', 'pages'?" in shown.stderr
    assert "Traceback" not in shown.stderr


def test_judging_and_pages_wait_for_the_statistics_only_where_something_is_new() -> None:
    """SciPy takes longer to import than a store of ten thousand runs takes to look through."""
    rooms = "dashboards.page_writing, pipeline.job.assessing, pipeline.cli.complaint, pipeline.record.complaint_on_file"
    asked = f"import sys, {rooms}; sys.exit('scipy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", asked], cwd=ROOT, check=False).returncode == 0


def test_the_start_imports_no_heavy_library() -> None:
    listed = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "pipeline", "--help"],
        capture_output=True,
        text=True,
        cwd=ROOT,
        timeout=60,
    )
    loaded = {line.split("|")[-1].strip() for line in listed.stderr.splitlines() if "|" in line}
    heavy = {"polars", "duckdb", "numpy", "scipy", "plotly", "prefect", "pydantic", "pyarrow", "statsmodels"}
    heavy |= {"starlette", "uvicorn", "argon2", "sqlite3"}
    assert loaded & heavy == set()


def test_a_reel_is_read_without_a_frame_library(judged_store: Path) -> None:
    listed = subprocess.run(
        [
            sys.executable,
            "-X",
            "importtime",
            "-m",
            "pipeline",
            "reel",
            "L1-0412-02",
            "--store",
            str(judged_store),
        ],
        capture_output=True,
        text=True,
        cwd=ROOT,
        timeout=60,
    )
    assert listed.returncode == 0
    loaded = {line.split("|")[-1].strip() for line in listed.stderr.splitlines() if "|" in line}
    assert loaded & {"polars", "scipy", "plotly", "prefect", "pyarrow", "statsmodels"} == set()


def test_a_reel_is_shown_from_another_folder(judged_store: Path, tmp_path: Path) -> None:
    shown = reelproof("reel", "L1-0412-02", "--store", judged_store, cwd=tmp_path)
    assert shown.returncode == 0
    first = shown.stdout.splitlines()[0]
    assert first == (
        "Reel L1-0412-02: held. 14 AWG THHN/THWN-2, solid copper, run R-0412, line L1, day, 2026-03-03."
    )
    assert "minimum wall at any point" in shown.stdout


def test_a_reel_that_is_not_on_file_names_the_nearest(judged_store: Path) -> None:
    shown = reelproof("reel", "L1-0412-2", "--store", judged_store)
    assert shown.returncode == 2
    assert shown.stderr == (
        "L1-0412-2: no reel of this number is on file. "
        "The nearest on file: L1-0412-02, L1-0421-02, L1-0420-02.\n"
    )


def test_a_lot_is_followed_to_its_reels(judged_store: Path) -> None:
    shown = reelproof("lot", "PVC-7741", "--store", judged_store, "--json")
    answer = json.loads(shown.stdout)
    assert answer["materials"] == ["insulation compound"]
    reels = {row["reel_id"] for row in answer["reels"]}
    # The lot changed at 4,200 m of run R-0414: the first reel holds none of it.
    assert "L1-0414-01" not in reels
    assert {"L1-0414-03", "L1-0414-04"} <= reels


def test_a_line_is_tuned_in_words_and_as_json(judged_store: Path) -> None:
    shown = reelproof("tune", "L1", "--product", "12 AWG", "--store", judged_store, "--json")
    assert shown.returncode == 0
    answer = json.loads(shown.stdout)
    (one,) = answer["products"]
    assert one["product"] == "THHN/THWN-2 12 AWG concentric copper"
    # One of the twelve reels on file was bad, which the prediction behind a target makes next to impossible.
    target = one["tuning"]["target"]
    assert "binding" not in target
    assert "Observed on file: 1 bad of 12 reels." in target["reason"]["words"]
    assert "The record contradicts the prediction" in target["reason"]["words"]
    assert "No target without that prediction." in target["reason"]["words"]
    # What belongs to the line's reels is kept to itself; every figure a person reads is in it.
    assert "needs" not in one["tuning"]["target"]
    assert len(answer["told"]) == 3
    shown = reelproof("tune", "L3", "--store", judged_store)
    assert (shown.returncode, shown.stderr) == (
        2,
        "L3: no line of this number is on file. The nearest on file: L2, L1.\n",
    )
    shown = reelproof("tune", "L1", "--changed-at", "yesterday", "--store", judged_store)
    assert shown.returncode == 2
    assert shown.stderr == (
        "--changed-at: 'yesterday' is no day and no time. Write it like 2026-03-03 or 2026-03-03T14:00, with an offset "
        "where it is not the plant's time.\n"
    )


def test_no_store_is_told(tmp_path: Path) -> None:
    shown = reelproof("lot", "PVC-7741", cwd=tmp_path)
    assert shown.returncode == 3
    assert shown.stderr == (
        "reelproof_store: there is no store here. "
        "Give --store the folder of a store, or load runs first with 'reelproof load'.\n"
    )
    assert list(tmp_path.iterdir()) == []


def test_a_path_that_is_not_there(tmp_path: Path) -> None:
    shown = reelproof("load", tmp_path / "nothing", "--store", tmp_path / "s")
    assert shown.returncode == 2
    assert (
        f"{tmp_path / 'nothing'}: there is no such file or folder. Check the path and try again.\n"
        in shown.stderr
    )


def test_an_empty_sheet_is_told_with_what_it_begins_with(tmp_path: Path) -> None:
    (tmp_path / "run.toml").write_text("")
    shown = reelproof("load", tmp_path, "--store", tmp_path / "s")
    assert shown.returncode == 2
    assert (
        shown.stderr
        == f"{tmp_path / 'run.toml'}: the sheet is empty. Begin it with [run], or name another file.\n"
    )


def test_an_empty_log_is_told_and_nothing_is_put_on_file(small_run: Path, tmp_path: Path) -> None:
    import gzip

    with gzip.open(small_run.parent / "R-0415_log.csv.gz", "wb"):
        pass
    shown = reelproof("load", small_run, "--store", tmp_path / "s")
    assert shown.returncode == 2
    assert "R-0415_log.csv.gz" in shown.stderr
    assert "Traceback" not in shown.stderr
    assert reelproof("reel", "L1-0415-01", "--store", tmp_path / "s").returncode == 2


def test_loading_again_says_so(small_run: Path, tmp_path: Path) -> None:
    first = reelproof("load", small_run, "--store", tmp_path / "s")
    again = reelproof("load", small_run.parent, "--store", tmp_path / "s", "--json")
    assert first.returncode == again.returncode == 0
    assert " rows read = " in first.stdout
    assert json.loads(again.stdout)["loaded"][0]["was_new"] is False


def test_a_product_that_does_not_exist_names_the_nearest() -> None:
    shown = reelproof("product", "THHM", "14 AWG")
    assert shown.returncode == 2
    assert "'THHM' is not a wire type on file. The nearest is THHN." in shown.stderr


def test_every_product_of_the_scope_is_answered() -> None:
    """All 24 sizes of both families, as the command works them out."""
    from pipeline.products.construction_sheet import construction_sheet
    from pipeline.products.product import find_product
    from pipeline.products.sizes import all_sizes

    sizes = [size.name for size in all_sizes()]
    assert len(sizes) == 24
    for family in ("THHN/THWN-2", "XHHW-2"):
        for size in sizes:
            sheet = construction_sheet(find_product(family, size, "concentric"))
            assert any(limit.requirement == "minimum average wall" for limit in sheet.limits), (family, size)
            assert sheet.sources


def test_every_source_is_cited_by_a_number_that_is_listed() -> None:
    import re

    shown = reelproof("product", "THHN/THWN-2", "14 AWG").stdout
    told = re.findall(r"^  \[(\d+)\] (.+)$", shown.split("\nSources\n")[1], re.M)
    cited = set(re.findall(r"\[(\d+)\]", shown))
    assert [number for number, _ in told] == [str(one + 1) for one in range(len(told))]
    assert cited == {number for number, _ in told}
    # ASTM B8's Table 1 was seen from 700 kcmil on, so a 14 AWG conductor leans on B496 instead.
    assert any("ASTM B496" in document for _, document in told)
    assert not any("ASTM B8-" in document for _, document in told)
    assert not re.search(r"\bS\d+[a-z]?\b|\bMEM\b", shown)
    assert " = 4.0" not in shown  # a figure is not printed as equal to itself


DROPPED = """
import os, sys
from pathlib import Path
from pipeline.errors import StoreError
from pipeline.store.database import open_to_write
import duckdb, polars
if os.geteuid() == 0:
    os.setgroups([])
    os.setuid(65534)
try:
    with open_to_write(Path(sys.argv[1])):
        print("opened")
except StoreError as fault:
    print(fault)
"""


def test_a_folder_without_permission_is_told() -> None:
    """Root may write everywhere, so the child gives its rights away first."""
    with tempfile.TemporaryDirectory() as home:
        locked = Path(home) / "locked"
        locked.mkdir()
        Path(home).chmod(0o755)
        locked.chmod(0o555)
        shown = subprocess.run(
            [sys.executable, "-c", DROPPED, str(locked / "store")],
            capture_output=True,
            text=True,
            cwd=ROOT,
            timeout=60,
        )
        locked.chmod(0o755)
    assert shown.stdout == (
        f"{locked / 'store'}: this program may not write here. "
        "Give it write permission, or choose another --store.\n"
    ), shown.stderr


@pytest.mark.parametrize(
    "words", [("assess", "R-1"), ("reassess",), ("disposition", "F-1", "decide", "scrap")]
)
def test_what_asks_for_things_on_file_makes_no_store(tmp_path: Path, words: tuple[str, ...]) -> None:
    more = ("--role", "engineer", "--reason", "thin") if words[0] == "disposition" else ()
    shown = reelproof(*words, *more, "--store", tmp_path / "s")
    assert shown.returncode == 3
    assert shown.stderr == (
        f"{tmp_path / 's'}: there is no store here. Give --store the folder of a store, or load runs first with "
        "'reelproof load'.\n"
    )
    assert not (tmp_path / "s").exists()


def test_a_word_or_day_that_is_none_is_told_in_our_words(tmp_path: Path) -> None:
    shown = reelproof("reassess", "--since", "2026-13-01", "--store", tmp_path / "s")
    assert shown.stderr == "--since: '2026-13-01' is no day. Write it like 2026-03-31: year, month, day.\n"
    shown = reelproof("disposition", "F-1", "decid", "--store", tmp_path / "s")
    assert shown.stderr.splitlines()[-1] == (
        "Error: Invalid value for 'ACT': 'decid' is not one of 'decide', 'confirm', 'decline', 'complete', 'reopen'."
    )


def test_the_list_of_commands_cuts_no_sentence_short() -> None:
    shown = reelproof("--help")
    assert "..." not in shown.stdout.split("Commands:")[1]


def test_a_watch_says_what_a_run_waits_for_and_an_unfit_key_in_plain_words(tmp_path: Path) -> None:
    run = tmp_path / "in" / "R-1"
    run.mkdir(parents=True)
    words = ("watch", tmp_path / "in", "--store", tmp_path / "s", "--looks", "1", "--quiet", "0")
    (run / "run.toml").write_text('[run]\nid = 3\nplant = "x"\n')
    shown = reelproof(*words)
    assert shown.stderr == f"Watching {tmp_path / 'in'}, a look every 15 s; Ctrl-C stops it.\n"
    assert (
        shown.stdout == f"R-1/run.toml: waits. {run / 'run.toml'}: run.id: found 3. Write text, in quotes.\n"
    )


def test_a_name_that_cannot_be_written_is_no_fault_of_the_program(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from pipeline.cli.app import run

    log = ROOT / "sample_runs" / "runs" / "R-0415" / "R-0415_log.csv.gz"
    for out, why in (
        (tmp_path / "no" / "x", "no such file or directory"),
        (tmp_path / ("n" * 300), "file name too long"),
    ):
        assert run(["map", str(log), "--out", str(out)]) == 2
        assert capsys.readouterr().err == (
            f"{out}: it cannot be read or written ({why}). Check the name, its folder and the permission, then run "
            "the same command again.\n"
        )
