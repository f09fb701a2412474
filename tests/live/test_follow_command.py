"""reelproof follow, as a person uses it: a server on loopback, stopped and started; Ctrl-C; then load."""

from __future__ import annotations

import asyncio
import json
import os
import re
import signal
import subprocess
import sys
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import pytest

from pipeline.cli.app import run as reelproof
from pipeline.store.database import open_to_read
from pipeline.store.readings import read_frame
from tests.live.test_opc_ua import NODES, UNITS, Line, free_port, until

# A loaded machine may take long to start a process and a server.
pytestmark = pytest.mark.timeout(600)
ROOT = Path(__file__).parents[2]
CHANNELS = {channel: name for name, channel in NODES.items()}


def write_live_sheet(path: Path, port: int, **more: str) -> None:
    lines = [
        "[live]",
        f'endpoint = "opc.tcp://127.0.0.1:{port}/line"',
        "sampling_ms = 20",
        "publishing_ms = 50",
    ]
    lines += ["slot_s = 0.0", *(f'{name} = "{value}"' for name, value in more.items()), "[live.nodes]"]
    lines += [
        f'{channel} = {{ node = "ns=2;s=L1.{name}", unit = "{UNITS[name]}" }}'
        for channel, name in CHANNELS.items()
    ]
    path.write_text("\n".join(lines) + "\n")


def started(sheet: Path, *options: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "pipeline", "follow", str(sheet), *options],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=sheet.parent,
        env=dict(os.environ, PYTHONPATH=str(ROOT)),
    )


@dataclass
class Followed:
    """What a run of the command said and left, and what the line wrote."""

    line: Line
    live: Path
    code: int
    out: str
    told: str


async def play(run_folder: Path) -> Followed:
    line = Line(free_port())
    await line.make()
    sheet = run_folder / "line.toml"
    write_live_sheet(sheet, line.port)
    live = run_folder / "live"
    # Before it can be asked, the line has written its first instant: what a server shows then is a reading.
    await line.run(1)
    await line.server.start()
    process = started(sheet)
    try:
        out, told = await _played(line, process, live)
    finally:
        process.kill()
        await line.server.stop()
    return Followed(line, live, process.returncode, out, told)


async def _played(line: Line, process: subprocess.Popen[str], live: Path) -> tuple[str, str]:
    def kept() -> int:
        return sum(path.read_bytes().count(b"\n") - 1 for path in live.glob("*.csv"))

    await until(lambda: kept() >= 4, 180)
    await line.run(29)
    await until(lambda: kept() >= 4 * 30, 60)
    await line.server.stop()
    await asyncio.sleep(1.5)
    await line.server.start()
    await line.run(1)
    await until(lambda: kept() >= 4 * 31, 180)
    await line.run(29)
    await until(lambda: kept() >= 4 * 60, 60)
    process.send_signal(signal.SIGINT)
    return await asyncio.to_thread(process.communicate, timeout=60)


@pytest.fixture(scope="module")
def followed(tmp_path_factory) -> Followed:
    return asyncio.run(play(tmp_path_factory.mktemp("R-1")))


def test_it_stops_cleanly_and_says_what_happened(followed: Followed) -> None:
    assert followed.code == 0, followed.told
    endpoint = f"opc.tcp://127.0.0.1:{followed.line.port}/line"
    lines = followed.out.splitlines()
    assert lines[:2] == [
        f"Following {endpoint}: 4 nodes into {followed.live}. Ctrl-C stops it.",
        "The connection is not secured; [live.security] in the sheet secures it.",
    ]
    assert lines[2] == (
        f"Stopped. 240 values kept in 1 files in {followed.live}; the server was lost 1 time."
    )
    assert lines[3] == "To load them, put this into the run sheet beside live:"
    told = [re.sub(r" at \d.*| \(.*", "", one) for one in followed.told.splitlines()]
    assert told == [f"{endpoint}: {one}" for one in ("lost", "reached again")]


def test_what_it_kept_loads_to_the_readings_of_a_file(
    followed: Followed, small_run: Path, tmp_path: Path, capsys
) -> None:
    mapping = followed.out.split("\n\n", 1)[1]
    head = small_run.read_text().split("[[run.logs]]")[0]
    # The server's values carry the clock's own day, so that is the shift's.
    head = head.replace("2026-03-03 evening", f"{datetime.now(UTC):%Y-%m-%d} evening")
    live = small_run.parents[1] / "R-L" / "run.toml"
    file = small_run.parents[1] / "R-F" / "run.toml"
    for sheet, name in ((live, "R-L"), (file, "R-F")):
        sheet.parent.mkdir()
        sheet.write_text(head.replace('id = "R-0415"', f'id = "{name}"'))
    followed.live.rename(live.parent / "live")
    live.write_text(live.read_text() + mapping)
    rows = [f"{time.isoformat()},{','.join(map(repr, values))}\n" for time, values in followed.line.written]
    (file.parent / "log.csv").write_text(f"time,{','.join(CHANNELS)}\n" + "".join(rows))
    columns = "\n".join(
        f'{own} = {{ column = "{own}", unit = "{UNITS[name]}" }}' for own, name in CHANNELS.items()
    )
    file.write_text(
        f'{file.read_text()}[[run.logs]]\nkind = "readings"\nfiles = ["log.csv"]\ntime = {{ column = "time" }}\n'
        f"[run.logs.channels]\n{columns}\n"
    )
    store = tmp_path / "s"
    assert reelproof(["load", str(live), str(file), "--store", str(store), "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["refused"] == []
    assert [one["rows_set_aside"] for one in answer["loaded"]] == [0, 0]
    with open_to_read(store) as opened:
        frames = [
            read_frame(opened, opened.ask("questions/load", load_id=load_id)[0]["folder"], "logged")
            for load_id in (1, 2)
        ]
    assert frames[0].height == 60
    assert frames[0].drop("line", "file_no").equals(frames[1].drop("line", "file_no"))


def test_a_stop_after_a_time_and_json(tmp_path: Path, capsys) -> None:
    sheet = tmp_path / "live.toml"
    write_live_sheet(sheet, free_port(), folder="kept")
    assert reelproof(["follow", str(sheet), "--for", "0.3", "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert (answer["values"], answer["connections"], answer["files"]) == (0, 0, [])
    assert 'files = ["kept/live-*.csv"]' in answer["run_sheet"]
    assert answer["notes"][0].startswith(f"{answer['endpoint']}: not reached yet (")


def test_without_the_library_one_sentence_says_what_to_install(tmp_path: Path, capsys, monkeypatch) -> None:
    sheet = tmp_path / "live.toml"
    write_live_sheet(sheet, 4840)
    monkeypatch.setitem(sys.modules, "asyncua", None)
    assert reelproof(["follow", str(sheet)]) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert shown.err == (
        "live source: the OPC UA library asyncua is not installed. Install it with: pip install 'reelproof[live]'.\n"
    )


def test_a_sheet_with_a_certificate_that_is_not_there(tmp_path: Path, capsys) -> None:
    sheet = tmp_path / "live.toml"
    write_live_sheet(sheet, 4840)
    text = (
        sheet.read_text()
        + '[live.security]\npolicy = "Basic256Sha256"\ncertificate = "c.der"\nprivate_key = "k"\n'
        + 'server_certificate = "s.der"\n'
    )
    sheet.write_text(text)
    assert reelproof(["follow", str(sheet)]) == 2
    assert capsys.readouterr().err == "".join(
        f"{sheet}: live.security.{key}: there is no file {tmp_path}/{name}. Put it there, or correct its name; who "
        "runs the server can say which certificate it trusts.\n"
        for key, name in (("certificate", "c.der"), ("private_key", "k"), ("server_certificate", "s.der"))
    )


SIGNED_ONLY = """[live.security]
policy = "Basic256Sha256"
certificate = "c"
private_key = "k"
server_certificate = "s"
mode = "Sign"
"""


@pytest.mark.parametrize(
    ("more", "told"),
    [
        (
            '[live.security]\npolicy = "Basic256Sha256"\ncertificate = "c"\nprivate_key = "k"\n',
            "server_certificate",
        ),
        ("", "would go in clear"),
        (SIGNED_ONLY, "would go in clear"),
    ],
)
def test_no_password_goes_in_clear_or_to_whoever_answers(
    tmp_path: Path, capsys, more: str, told: str
) -> None:
    sheet = tmp_path / "live.toml"
    write_live_sheet(sheet, 4840)
    sheet.write_text(sheet.read_text().replace("[live]\n", '[live]\nuser = "reelproof"\n', 1) + more)
    assert reelproof(["follow", str(sheet)]) == 2
    assert told in capsys.readouterr().err
