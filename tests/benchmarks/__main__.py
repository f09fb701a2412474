"""Run the benchmarks, print one table and write it as JSON."""

from __future__ import annotations

import argparse
import importlib
import json
import os
import shutil
import sys
import time
from dataclasses import asdict
from pathlib import Path

from pipeline import __version__
from tests.benchmarks.own_process import ROOT
from tests.benchmarks.row import Row, table
from tests.benchmarks.scale import scale_of

BENCHMARKS = (
    "plant_day", "notebook", "growth", "commands", "run_page", "nothing_new", "shift_pages", "one_more_hour",
    "page_queries",
)  # fmt: skip


def measure(names: tuple[str, ...], scale_name: str, out: Path) -> list[Row]:
    """The rows of the benchmarks named, at that scale; told on standard error as they go."""
    rows: list[Row] = []
    scale = scale_of(scale_name, out)
    try:
        for number, name in enumerate(names, 1):
            began = time.perf_counter()
            print(f"[{number}/{len(names)}] {name} ...", end=" ", file=sys.stderr, flush=True)
            try:
                found = importlib.import_module(f"tests.benchmarks.{name}").run(scale)
            except RuntimeError as fault:  # a check that did not hold costs its own rows only
                found = [Row(f"{name}: no figures", "", str(fault).splitlines()[-1], False)]
            rows += found
            print(f"{time.perf_counter() - began:.0f} s", file=sys.stderr, flush=True)
            for row in found:
                print(f"      {row.what}: {row.reached}", file=sys.stderr, flush=True)
    finally:
        shutil.rmtree(scale.scratch, ignore_errors=True)
    return rows


def machine() -> dict[str, object]:
    """The machine, by cores, memory and how busy others keep it."""
    pages, size = os.sysconf("SC_PHYS_PAGES"), os.sysconf("SC_PAGE_SIZE")
    return {
        "cores": os.cpu_count(),
        "memory_gb": round(pages * size / 2**30),
        "load_before": round(os.getloadavg()[0], 1),
    }


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.add_argument(
        "names", nargs="*", metavar="NAME", help=f"which: {', '.join(BENCHMARKS)}; all by default"
    )
    parser.add_argument("--scale", choices=("full", "small", "tiny"), default="full")
    parser.add_argument("--out", type=Path, default=ROOT / "out" / "bench")
    given = parser.parse_args()
    unknown = [name for name in given.names if name not in BENCHMARKS]
    if unknown:
        parser.error(f"no benchmark '{unknown[0]}'; there are {', '.join(BENCHMARKS)}")
    on = machine()
    rows = measure(tuple(given.names) or BENCHMARKS, given.scale, given.out.resolve())
    print(f"Scale {given.scale}; {on['cores']} cores, {on['memory_gb']} GB, load before {on['load_before']}.")
    print(table(rows))
    answer = {
        "scale": given.scale,
        "software": __version__,
        "machine": on,
        "rows": [asdict(row) for row in rows],
    }
    given.out.mkdir(parents=True, exist_ok=True)
    written = given.out / f"{given.scale}-{time.strftime('%Y%m%dT%H%M%S')}.json"
    written.write_text(json.dumps(answer, indent=1), encoding="utf-8")
    print(f"Written: {written}")
    return 1 if any(row.what.endswith(": no figures") for row in rows) else 0


if __name__ == "__main__":
    sys.exit(main())
