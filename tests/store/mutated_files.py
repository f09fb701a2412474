"""Damage to every kind of file that is handed in or lies in a store: read, or refused in words, and nothing else.

None may end in a traceback, take over 10 s or 1 GB, or write outside its folder. Logs are damaged by
`tests/logs/mutations.py`. Run with a number and a seed to try that many of each kind and print a table:
``python -m tests.store.mutated_files 5000 1``.
"""

from __future__ import annotations

import io
import os
import re
import resource
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from dashboards.page_hashes import HASHES
from pipeline.cli.app import run
from pipeline.errors import ReelproofError
from tests.logs.mutations import mutated

SLOWEST_S = 10
LARGEST_BYTES = 500_000_000
VALUES = [
    *(
        b"9" * 5000,
        b"-1",
        b"0",
        b"1e308",
        b"-1e308",
        b"inf",
        b"-inf",
        b"nan",
        b"1e-320",
        b"9223372036854775808",
    ),
    *(
        b"[" * 1000 + b"]" * 1000,
        b"{" * 500,
        b"[]",
        b"{}",
        b"[[]]",
        b"true",
        b"2026-02-29",
        b"0001-01-01T00:00:00Z",
    ),
    *(
        b"9999-12-31T23:59:59.999999+23:59",
        b"23:59:60",
        b'""',
        b'"\\u0000"',
        b'"' + b"x" * 30_000 + b'"',
        b'"../../x"',
    ),
    *(
        b'"/dev/zero"',
        b"'''",
        b'"\\ud800"',
        '"\u202e\u0000"'.encode(),
        b"=1+1",
        b"\x00",
        b"\xff",
        b'"=HYPERLINK(1)"',
    ),
]
_NUMBER = re.compile(rb"\d+(?:\.\d+)?")
_OTHERS: list[Callable[[bytes], bytes]] = [
    *(
        lambda was, power=power: f"{float(was) * 10.0**power:.12g}".encode()
        for power in (-9, -3, -1, 1, 3, 9, 18)
    ),
    *(
        lambda was: b"-" + was,
        lambda was: was + b"1",
        lambda was: was.rpartition(b".")[0] or b"0",
        lambda _was: b"0",
    ),
    *(
        lambda _was, value=value: value
        for value in (b"inf", b"nan", b"1e308", b"1e-308", b"9223372036854775808")
    ),
]
_TOUCHES = {"os.rename", "os.remove", "os.mkdir", "os.rmdir", "os.link", "os.symlink", "os.truncate"}


def spoilt(content: bytes, rng: np.random.Generator) -> bytes:
    """`content` with values replaced, lines doubled or bytes damaged."""
    kind = int(rng.integers(8))
    if kind == 0:
        return mutated(content, rng)
    numbers = list(_NUMBER.finditer(content))
    if kind > 3 and numbers:
        found = numbers[int(rng.integers(len(numbers)))]
        other = _OTHERS[int(rng.integers(len(_OTHERS)))](found[0])
        return content[: found.start()] + other + content[found.end() :]
    lines = content.split(b"\n")
    for _ in range(int(rng.integers(1, 4))):
        at = int(rng.integers(len(lines)))
        if kind == 1:
            lines.insert(int(rng.integers(len(lines))), lines[at])
            continue
        mark = b"=" if b"=" in lines[at] else b":" if b":" in lines[at] else b","
        cells = lines[at].split(mark)
        cells[int(rng.integers(len(cells)))] = VALUES[int(rng.integers(len(VALUES)))]
        lines[at] = mark.join(cells)
    return b"\n".join(lines)


@dataclass
class Guard:
    """Sees every file that Python opens to write, and every name it changes, outside one folder."""

    folder: str = ""
    seen: list[str] = field(default_factory=list)

    def __call__(self, event: str, arguments: tuple[object, ...]) -> None:
        if not self.folder:
            return
        writes = (
            event == "open" and isinstance(arguments[2], int) and arguments[2] & (os.O_WRONLY | os.O_RDWR)
        )
        by_handle = (
            event in ("os.remove", "os.rmdir") and arguments[1] != -1
        )  # by `shutil.rmtree`, which walked there
        if by_handle or (not writes and event not in _TOUCHES):
            return
        for name in arguments[: 2 if event in ("os.rename", "os.link") else 1]:
            if isinstance(name, str | bytes | os.PathLike):
                path = os.path.realpath(os.fsdecode(name))
                if not path.startswith((self.folder, "/dev/null")):
                    self.seen.append(f"{event} {path}")


GUARD = Guard()
sys.addaudithook(GUARD)


def _too_slow(*_what: object) -> None:
    raise TimeoutError("too slow")


@contextmanager
def _within_bounds(folder: Path) -> Iterator[None]:
    signal.signal(signal.SIGALRM, _too_slow)
    signal.setitimer(signal.ITIMER_REAL, 60 * SLOWEST_S)
    GUARD.folder, GUARD.seen = str(folder.resolve()), []
    began = time.process_time()
    try:
        yield
    finally:
        GUARD.folder = ""
        signal.setitimer(signal.ITIMER_REAL, 0)
    assert GUARD.seen == [], GUARD.seen
    assert time.process_time() - began < SLOWEST_S


def _by_command(*arguments: str | Path) -> str:
    told = io.StringIO()
    with redirect_stdout(told), redirect_stderr(told):
        code = run([str(one) for one in arguments])
    assert code in (0, 1, 2, 3), told.getvalue()
    assert "fault of this program" not in told.getvalue(), told.getvalue()
    return "read" if code == 0 else "refused"


def _by_call(call: Callable[[], object]) -> str:
    try:
        call()
    except ReelproofError as fault:
        assert all(0 < len(str(one)) < 4000 for one in fault.complaints), str(fault)[:2000]
        return "refused"
    return "read"


def _in_place(path: Path, content: bytes, what: Callable[[], str]) -> str:
    kept = path.read_bytes()
    path.write_bytes(content)
    try:
        return what()
    finally:
        path.write_bytes(kept)


@dataclass(frozen=True)
class Kind:
    """One kind of file to damage: the file, and what reads it."""

    path: Path
    read: Callable[[], str]


def handed_in(folder: Path) -> dict[str, Kind]:
    """Every kind of file that is handed in, by name, laid out in the empty `folder`."""
    from pipeline.live.live_sheet import read_live_sheet
    from pipeline.lots.checkpoint import checkpoint_from, signed_checkpoint
    from pipeline.lots.journal import Anchor
    from pipeline.lots.key_files import read_public_key
    from pipeline.lots.signing import public_key
    from pipeline.lots.witness import Witness, request_of
    from pipeline.record.gauge_tables import read_samples, read_study
    from pipeline.record.issuer_sheet import read_issuer_sheet
    from pipeline.record.shipping_list import read_shipping_list
    from pipeline.steps.load import read_run_sheets
    from tests.conftest import SAMPLE_RUNS, copy_small_run
    from tests.lots.test_pack import KEY, content
    from tests.store.power_cuts import SHIPPED

    sheet = copy_small_run(folder)
    samples, study, shipped, listed = (folder / name for name in ("s.csv", "g.csv", "s.toml", "l.csv"))
    samples.write_text(
        "reel,at_ft,quantity,value_mil,measured_by\nL1-0415-01,100,mean_wall_mm,16.2,laboratory\n"
    )
    study.write_text(
        "part,operator,trial,value_mm\n" + "".join(f"{k % 3},{k % 2},{k},0.4\n" for k in range(12))
    )
    shipped.write_text(SHIPPED)
    listed.write_text(
        "reel,length,from_ft,to_ft,use,shipment,to\nL1-0415-01,A,0,500,package,S-1,a customer\n"
    )
    note = signed_checkpoint("log", Anchor(3, "ab" * 32), KEY)
    checkpoint, asked = folder / "a.checkpoint", folder / "asked"
    live, issuer, key = (folder / name for name in ("live.toml", "issuer.toml", "key.pub"))
    live.write_text(LIVE)
    shutil.copy(SAMPLE_RUNS / "issuer.toml", issuer)
    key.write_text(f"{public_key(KEY).hex()}\n")
    checkpoint.write_text(note.text)
    asked.write_bytes(request_of(0, (), note))
    witness = Witness(folder / "seen", "w", KEY, (public_key(KEY),))

    def told(call: Callable[[], object]) -> Callable[[], str]:
        return lambda: _by_call(call)

    def whole() -> str:
        try:
            checkpoint_from(checkpoint.read_text(encoding="utf-8"))
        except ValueError:
            return "refused"
        return "read"

    from pipeline.lots.pack import packed, write_pack, zip_pack

    write_pack(folder / "pack", packed(content(), KEY))
    zip_pack(folder / "pack", folder / "pack.zip")
    found = {
        "run sheet": Kind(sheet, told(lambda: read_run_sheets(sheet))),
        "line sheet": Kind(sheet.parents[2] / "lines" / "L1.toml", told(lambda: read_run_sheets(sheet))),
        "plant sheet": Kind(sheet.parents[2] / "plant.toml", told(lambda: read_run_sheets(sheet))),
        "samples": Kind(samples, told(lambda: read_samples(samples))),
        "gauge study": Kind(study, told(lambda: read_study(study))),
        "shipping list": Kind(shipped, told(lambda: read_shipping_list(shipped))),
        "shipping table": Kind(listed, told(lambda: read_shipping_list(listed))),
        "checkpoint": Kind(checkpoint, whole),
        "issuer sheet": Kind(issuer, told(lambda: read_issuer_sheet(issuer))),
        "live sheet": Kind(live, told(lambda: read_live_sheet(live))),
        "public key": Kind(key, told(lambda: read_public_key(key))),
        "request of a witness": Kind(asked, lambda: str(witness.add(asked.read_bytes()).status)),
        "zip of a pack": Kind(folder / "pack.zip", lambda: _by_command("verify", folder / "pack.zip")),
    }
    for name in ("manifest.json", "journal.json", "verify.py"):
        found[f"{name} of a pack"] = Kind(
            folder / "pack" / name, lambda: _by_command("verify", folder / "pack")
        )
    return found


LIVE = """
[live]
endpoint = "opc.tcp://host:4840"
[live.nodes]
wall_1_mm = { node = "ns=2;s=L1.w1", unit = "mm" }
counter_m = { node = "i=7", unit = "ft" }
"""


def on_file(folder: Path) -> dict[str, Kind]:
    """Files of a store, and sheets of a run that is loaded and judged, by name, laid out in the empty `folder`."""
    from tests.conftest import copy_small_run
    from tests.job.test_runs_fail_alone import log_of

    home, fresh = folder / "store", folder / "fresh"
    tiny = copy_small_run(folder)
    _by_command("load", tiny, "--store", home)
    _by_command("assess", "--store", home)
    _by_command("pages", "--store", home)
    _by_command("account", "QE-1", "--role", "quality engineer", "--store", home)
    log_of(tiny, lambda lines: lines[:300])
    (readings,) = home.rglob("measured.parquet")
    copy = max(home.glob("published/*.duckdb"))

    def judged() -> str:
        shutil.rmtree(fresh, ignore_errors=True)
        if _by_command("load", tiny, "--store", fresh) == "refused":
            return "refused"
        return _by_command("assess", "--store", fresh)

    found = {
        "run sheet, judged": Kind(tiny, judged),
        "line sheet, judged": Kind(tiny.parents[2] / "lines" / "L1.toml", judged),
        "plant sheet, judged": Kind(tiny.parents[2] / "plant.toml", judged),
        "database": Kind(home / "reelproof.duckdb", lambda: _by_command("verify", "--store", home)),
        "published copy": Kind(copy, lambda: _by_command("reel", "L1-0415-01", "--store", home)),
        "readings": Kind(
            readings, lambda: _by_command("reel", "L1-0415-01", "--at", "100ft", "--store", home)
        ),
    }
    hashes = home / "pages" / HASHES
    found[HASHES] = Kind(hashes, lambda: _by_command("verify", "--pages", hashes.parent, "--store", home))
    accounts = home / "desk" / "accounts.sqlite"
    found["accounts"] = Kind(accounts, lambda: _by_command("account", "--log", "--store", home))
    for name in ("journal_head.json", "watched.json"):
        (home / name).touch()
        found[name] = Kind(home / name, lambda: _by_command("reel", "L1-0415-01", "--store", home))
    return found


def try_kind(kind: Kind, count: int, seed: int, folder: Path) -> tuple[Counter[str], float]:
    """What came of `count` damaged files of a kind, and the longest time one took [s of processor]."""
    rng = np.random.default_rng(seed)
    outcomes: Counter[str] = Counter()
    slowest = 0.0
    held = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    content = kind.path.read_bytes()
    assert kind.read() != "refused", f"{kind.path.name}: it is refused as it stands"
    for number in range(count):
        damaged = spoilt(content, rng)
        if damaged == content:
            continue
        began = time.process_time()
        try:
            with _within_bounds(folder):
                outcomes[_in_place(kind.path, damaged, kind.read)] += 1
        except BaseException:
            (folder / "kept_for_looking").write_bytes(damaged)
            print(f"number {number} of seed {seed}: {kind.path.name} in {folder}/kept_for_looking")
            raise
        slowest = max(slowest, time.process_time() - began)
    assert (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - held) * 1024 < LARGEST_BYTES
    return outcomes, slowest


if __name__ == "__main__":
    wanted, first, only = int(sys.argv[1]), int(sys.argv[2]), sys.argv[3:]
    home = Path(tempfile.mkdtemp())
    for place, laid_out in (("in", handed_in), ("on", on_file)):
        (home / place).mkdir()
        for name, one in laid_out(home / place).items():
            # What takes seconds is tried less often.
            tries = wanted if place == "in" else wanted // 100 if "judged" in name else wanted // 10
            if tries and (not only or name in only):
                told, longest = try_kind(one, tries, first, home / place)
                came = " ".join(f"{what}={count}" for what, count in sorted(told.items()))
                print(f"{name},{first},{sum(told.values())},{longest:.2f},{came}", flush=True)
    print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6:.2f} GB")
