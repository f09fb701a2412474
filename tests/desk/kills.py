"""Kill a served site at any instant, many times: no answered act is lost, none stands twice, the next start is short.

    python -m tests.desk.kills STORE --times 200

STORE is a judged store, which is copied. A process that has the libraries ready starts each server by a fork, so that
the kills fall on the site's own work and not on imports; each twentieth start is the command's own, from nothing.
"""

from __future__ import annotations

import argparse
import itertools
import json
import os
import random
import select
import shutil
import signal
import subprocess
import sys
import tempfile
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from threading import Event, Thread
from time import monotonic, sleep
from typing import Any

import httpx

from pipeline.cli.app import run
from pipeline.desk.accounts import Accounts
from pipeline.desk.tokens import Tokens
from pipeline.store.account_file import open_accounts
from pipeline.store.database import open_to_read
from tests.acts.decided_store import copied
from tests.desk.site import free_port

ROOT = Path(__file__).parents[2]
# Starts a server for each line it reads, and tells its process.
READY = """
import os, sys
from pathlib import Path
import polars, pyarrow, pipeline.acts.holding, pipeline.desk.api.surface
from pipeline.desk.serving import Served, serve
for line in sys.stdin:
    store, port = line.split()
    child = os.fork()
    if child == 0:
        serve(Path(store), Served(port=int(port)), lambda _: None)
        os._exit(0)
    print(child, flush=True)
    os.waitpid(child, 0)
    print("ended", flush=True)
"""
CLIENTS = 3
LONGEST_UP_S = 0.5
MOST_WAIT_S = 15.0


@dataclass
class Told:
    """What one client was answered: every act that it sent, and whether an answer came."""

    answered: list[str] = field(default_factory=list)
    sent: list[str] = field(default_factory=list)
    unanswered: int = 0
    wrong: list[str] = field(default_factory=list)


def client(base: str, token: str, reels: list[str], told: Told, over: Event) -> None:
    """Hold one reel after the other, each time for another reason; what got no answer is sent anew."""
    with httpx.Client(base_url=base, timeout=30.0, trust_env=False) as http:
        http.headers["authorization"] = f"Bearer {token}"
        for count in itertools.count():
            reel = reels[count % len(reels)]
            if not _held(http, reel, f"{reel} {count}", told, over):
                return


def _held(http: httpx.Client, reel: str, mark: str, told: Told, over: Event) -> bool:
    """Send a hold until it is answered; whether it was."""
    told.sent.append(mark)
    while not over.is_set():
        try:
            answer = http.post("/api/acts/hold", json={"subject": reel, "reason": mark})
        except httpx.HTTPError:
            told.unanswered += 1
            sleep(0.02)
            continue
        if answer.status_code == 200:
            told.answered.append(mark)
            return True
        if answer.status_code not in (429, 503):
            told.wrong.append(f"{mark}: {answer.status_code} {answer.text[:300]}")
            return False
        sleep(0.1)
    return False


def _started(base: str, until: float) -> bool:
    """Whether the site answers before an instant."""
    with httpx.Client(base_url=base, timeout=10.0, trust_env=False) as http:
        while monotonic() < until:
            try:
                http.get("/api/problems")
                return True
            except httpx.HTTPError:
                sleep(0.01)
    return False


def _line(ready: subprocess.Popen[str]) -> str:
    assert ready.stdout is not None
    assert select.select([ready.stdout], [], [], 120.0)[0], "the process that starts servers is stuck"
    return ready.stdout.readline().strip()


def kills(judged: Path, times: int, seed: int) -> dict[str, Any]:
    """Kill the site of a copy of a store so many times; what was lost, what stands twice, and how long starts took."""
    rng = random.Random(seed)
    folder = Path(tempfile.mkdtemp())
    store, port = copied(judged, folder / "store"), free_port()
    base = f"http://127.0.0.1:{port}"
    with open_to_read(store) as opened, open_accounts(store) as file:
        reels = [row["reel_id"] for row in opened.ask("questions/reel_ids")]
        token = Tokens(Accounts(file)).make("killer", "quality engineer", "", ["hold"], 1)
    over = Event()
    told = [Told() for _ in range(CLIENTS)]
    threads = [
        Thread(target=client, args=(base, token, reels[number::CLIENTS], one, over))
        for number, one in enumerate(told)
    ]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    ready = subprocess.Popen(
        [sys.executable, "-c", READY],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env=environment,
    )
    assert ready.stdin is not None
    starts: dict[str, list[float]] = {"forked": [], "command": []}
    before_ready = 0
    for thread in threads:
        thread.start()
    try:
        for number in range(times):
            kind = "command" if number % 20 == 19 else "forked"
            began = monotonic()
            process = None
            if kind == "command":
                words = [
                    sys.executable,
                    "-m",
                    "pipeline",
                    "serve",
                    "--store",
                    str(store),
                    "--port",
                    str(port),
                ]
                process = subprocess.Popen(words, stdout=subprocess.DEVNULL, env=environment, cwd=ROOT)
                child = process.pid
            else:
                ready.stdin.write(f"{store} {port}\n")
                ready.stdin.flush()
                child = int(_line(ready))
            if rng.random() < 0.15:  # some are killed before they answer
                sleep(rng.random() * 0.5)
                before_ready += 1
            else:
                assert _started(base, began + 120.0), "the site did not start"
                starts[kind].append(monotonic() - began)
                sleep(rng.random() * LONGEST_UP_S)
                before = sum(len(one.answered) for one in told)
                until = monotonic() + MOST_WAIT_S * (rng.random() < 0.8)
                while sum(len(one.answered) for one in told) == before and monotonic() < until:
                    sleep(0.002)
                sleep(rng.random() * 0.4)
            os.kill(child, signal.SIGKILL)
            if process is not None:
                process.wait()
            else:
                assert _line(ready) == "ended"
            if number % 20 == 19:
                print(
                    f"{number + 1} kills, {sum(len(one.answered) for one in told)} acts answered", flush=True
                )
    finally:
        over.set()
        for thread in threads:
            thread.join()
        ready.stdin.close()
        ready.wait()
    found = _held_against_the_journal(store, told)
    found |= {
        "kills": times,
        "killed before they answered": before_ready,
        **{f"start, {kind}: longest [s]": round(max(all_), 2) for kind, all_ in starts.items() if all_},
        **{
            f"start, {kind}: median [s]": round(sorted(all_)[len(all_) // 2], 2)
            for kind, all_ in starts.items()
            if all_
        },
    }
    shutil.rmtree(folder)
    return found


def _held_against_the_journal(store: Path, told: list[Told]) -> dict[str, Any]:
    with open_to_read(store) as opened:
        rows = opened.ask("questions/entries_of_kind", kind="hold")
        kept = Counter(json.loads(row["record"])["record"]["reason"] for row in rows)
    answered = [one for each in told for one in each.answered]
    sent = {one for each in told for one in each.sent}
    return {
        "acts answered": len(answered),
        "sendings without an answer": sum(each.unanswered for each in told),
        "answered and lost": sum(kept[one] == 0 for one in answered),
        "on file twice": sum(count > 1 for count in kept.values()),
        "on file and never sent": sum(one not in sent for one in kept),
        "answers that should not be": [one for each in told for one in each.wrong],
        "the store verifies": run(["verify", "--store", str(store)]) == 0,
    }


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.desk.kills", description=__doc__)
    parser.add_argument("store", type=Path)
    parser.add_argument("--times", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    found = kills(given.store, given.times, given.seed)
    print(json.dumps(found, indent=1))
    lost = found["answered and lost"] or found["on file twice"] or found["on file and never sent"]
    return int(bool(lost or found["answers that should not be"] or not found["the store verifies"]))


if __name__ == "__main__":
    sys.exit(main())
