"""Damage to logs as it happens: bytes flipped, cut, doubled, lines swapped, cells replaced.

Run with a number to try that many damaged logs and print what came of them:
``python -m tests.logs.mutations 5000``.
"""

from __future__ import annotations

import gzip
import re
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa

from pipeline.errors import ReelproofError
from pipeline.logs.run_logs import LoadedRun, read_logs
from tests.logs.sheets import HEADER, WIDE, line_sheet, run_sheet
from tests.logs.test_shapes import PLAIN, SHAPES, tagged

COLUMNS = (("counter_m", "counter"), ("line_speed_m_s", "speed"), ("wall_1_mm", "w1"), ("wall_2_mm", "w2"))
# First bytes of gzip, zstd, UTF-16, UTF-32 and Parquet, which are not read as plain text.
PACKED = (b"\x1f\x8b", b"\x28\xb5", b"\xff\xfe", b"\xfe\xff", b"PA")
WHITE = " \t\x0b\x0c\x1c\x1d\x1e\x85\xa0"
CELLS = [
    b"",
    b"NaN",
    b"nan",
    b"inf",
    b"-inf",
    b"1e999",
    b"1e-999",
    b"--",
    b"0x1F",
    b"1,5",
    b'"',
    b'""',
    b'"a',
    b'a"b',
    b"\xff\xfe",
    b"\x00",
    b"\xc3",
    "٣".encode(),
    b"2026-02-30T00:00:00",
    b"9999-12-31T23:59:59.999999",
    b"0001-01-01",
    b"2026-03-08T02:30:00",
    b"2026-11-01T01:30:00",
    b"1" * 400,
    b" 0.44 ",
    b"+0.44",
    b"0.44mm",
    b"=1+1",
    b"true",
    b"\r",
    b"\n",
    b"\r\n",
    b",",
    b";",
    b"\t",
]


def mutated(content: bytes, rng: np.random.Generator) -> bytes:
    """`content` with one to four damages."""
    for _ in range(int(rng.integers(1, 5))):
        content = _damages[int(rng.integers(len(_damages)))](content, rng)
    return content


def _flip(content: bytes, rng: np.random.Generator) -> bytes:
    data = bytearray(content)
    for _ in range(int(rng.integers(1, 8))):
        if data:
            data[int(rng.integers(len(data)))] ^= 1 << int(rng.integers(8))
    return bytes(data)


def _random_bytes(content: bytes, rng: np.random.Generator) -> bytes:
    at = int(rng.integers(len(content) + 1))
    return content[:at] + rng.bytes(int(rng.integers(1, 40))) + content[at:]


def _cut(content: bytes, rng: np.random.Generator) -> bytes:
    return content[: int(rng.integers(len(content) + 1))]


def _cut_out(content: bytes, rng: np.random.Generator) -> bytes:
    low, high = sorted(rng.integers(len(content) + 1, size=2).tolist())
    return content[:low] + content[high:]


def _double(content: bytes, rng: np.random.Generator) -> bytes:
    low, high = sorted(rng.integers(len(content) + 1, size=2).tolist())
    return content[:high] + content[low:high] + content[high:]


def _swap_lines(content: bytes, rng: np.random.Generator) -> bytes:
    lines = content.split(b"\n")
    first, second = rng.integers(len(lines), size=2).tolist()
    lines[first], lines[second] = lines[second], lines[first]
    return b"\n".join(lines)


def _replace_cell(content: bytes, rng: np.random.Generator) -> bytes:
    lines = content.split(b"\n")
    row = int(rng.integers(len(lines)))
    cells = lines[row].split(b",")
    cells[int(rng.integers(len(cells)))] = CELLS[int(rng.integers(len(CELLS)))]
    lines[row] = b",".join(cells)
    return b"\n".join(lines)


def _insert_token(content: bytes, rng: np.random.Generator) -> bytes:
    at = int(rng.integers(len(content) + 1))
    return content[:at] + CELLS[int(rng.integers(len(CELLS)))] + content[at:]


_damages = [
    _flip,
    _random_bytes,
    _cut,
    _cut_out,
    _double,
    _swap_lines,
    _replace_cell,
    _replace_cell,
    _insert_token,
]


def shapes() -> list[tuple[bytes, dict[str, Any]]]:
    """Logs to damage: every shape there is, text, packed and Parquet, and a list of events."""
    found = []
    for content, changes in SHAPES.values():
        if not callable(content):
            found.append((content, WIDE | {"files": ["log"]} | changes))
        else:
            with tempfile.TemporaryDirectory() as name:
                content(Path(name) / "log")
                found.append(((Path(name) / "log").read_bytes(), WIDE | {"files": ["log"]} | changes))
    short = "".join(PLAIN.splitlines(keepends=True)[:40]).encode()
    # Damage to a packed log is mostly damage to its packing, so damage goes inside too.
    found += [(short, WIDE | {"files": ["log"]})] * 12
    events = {
        "kind": "surface flaws",
        "files": ["log"],
        "time": {"column": "when"},
        "at": {"column": "at", "unit": "ft"},
        "classes": "class",
        "channels": {"flaw_size_mm": {"column": "size", "unit": "mil"}},
    }
    rows = "".join(f'2026-03-02T12:00:{k:02d}Z,{k}.5,12,"lump, {k}"\n' for k in range(40))
    found += [(("when,at,size,class\n" + rows).encode(), events)] * 3
    found += [(SHAPES["long, by time"][0][:3000], WIDE | {"files": ["log"]} | tagged())] * 2
    return found


def check_identity(run: LoadedRun) -> None:
    """Every row read is kept or set aside, and those set aside are all there."""
    for file in run.files:
        aside = run.set_aside.filter(file_no=file.file_no)
        assert file.rows_read == file.rows_kept + file.rows_set_aside
        assert file.rows_set_aside == aside.height
        assert aside["line"].is_sorted()
        assert not (aside["said"] == "").any()
    readings = run.readings
    wide = {file.file_no: file.rows_kept for file in run.files if file.kind == "readings"}
    for file_no, count in readings.group_by("file_no").len().iter_rows():
        assert count <= wide[file_no]
    assert readings["row"].to_list() == list(range(readings.height))
    assert readings["time_utc"].null_count() == 0
    assert run.flagged["row"].max() is None or run.flagged["row"].max() < readings.height


_PLAIN_NUMBER = re.compile(r"[+-]?\d{1,15}(\.\d{1,9})?")


def check_against_plain_reading(run: LoadedRun, content: bytes) -> None:
    """A comma log without quotes, line by line and cell by cell, in nothing but Python."""
    text = content.decode("utf-8-sig", "replace").replace("\r\n", "\n").replace("\r", "\n")
    lines = text.split("\n")
    rows = [number for number, line in enumerate(lines, 1) if line.strip(WHITE)]
    assert run.files[0].rows_read == len(rows) - 1
    names = [cell.strip() for cell in lines[rows[0] - 1].split(",")]
    assert set(run.set_aside["line"]) | set(run.readings["line"]) == set(rows[1:])
    for row in run.readings.iter_rows(named=True):
        cells = lines[row["line"] - 1].split(",")
        assert len(cells) == len(names)
        for channel, name in COLUMNS:
            cell = cells[names.index(name)].strip()
            if _PLAIN_NUMBER.fullmatch(cell):
                assert row[channel] == float(cell)
            elif cell in {"", "NaN", "nan"}:
                assert row[channel] is None


def try_one(content: bytes, mapping: dict[str, Any], folder: Path) -> str:
    """What came of reading `content`: 'read', 'refused'; anything else raises."""
    (folder / "log").write_bytes(content)
    logs = [mapping]
    if mapping["kind"] != "readings":
        (folder / "gauge.csv").write_text(
            HEADER + "2026-03-02T12:00:00Z,0,8,0.44,0.45\n2026-03-02T12:01:00Z,500,8,0.44,0.45\n"
        )
        logs.insert(0, WIDE)
    try:
        run = read_logs(run_sheet(*logs), line_sheet(), folder, "America/Chicago")
    except ReelproofError as fault:
        assert str(fault)
        return "refused"
    check_identity(run)
    if mapping == WIDE | {"files": ["log"]} and content[:2] not in PACKED and b'"' not in content:
        check_against_plain_reading(run, content)
    return "read" if run.set_aside.height == 0 else "read in part"


def try_many(count: int, seed: int, folder: Path) -> tuple[Counter[str], float]:
    """What came of `count` damaged logs, and the longest time one took [s]."""
    rng = np.random.default_rng(seed)
    outcomes: Counter[str] = Counter()
    slowest = 0.0
    sources = shapes()
    for number in range(count):
        content, mapping = sources[number % len(sources)]
        damaged = mutated(content, rng)
        if number % 11 == 0:
            damaged = gzip.compress(damaged, 1)
        elif number % 13 == 0:
            damaged = pa.Codec("zstd").compress(damaged, asbytes=True)
        start = time.perf_counter()
        try:
            outcomes[try_one(damaged, mapping, folder)] += 1
        except BaseException:
            (folder / "kept_for_looking").write_bytes(damaged)
            print(f"number {number} of seed {seed}: {folder}/kept_for_looking")
            raise
        slowest = max(slowest, time.perf_counter() - start)
    return outcomes, slowest


if __name__ == "__main__":
    wanted = int(sys.argv[1]) if len(sys.argv) > 1 else 5000
    with tempfile.TemporaryDirectory() as name:
        begun = time.perf_counter()
        told, longest = try_many(wanted, seed=int(sys.argv[2]) if len(sys.argv) > 2 else 1, folder=Path(name))
        took = time.perf_counter() - begun
    print(f"{wanted} damaged logs in {took:.0f} s: {dict(told)}; the slowest took {longest:.2f} s")
