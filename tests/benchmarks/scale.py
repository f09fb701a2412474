"""How large the benchmarks are: full as a plant is, small in about two minutes, tiny so that they cannot rot."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Scale:
    """Sizes of the work.

    Args:
        name: full, small or tiny.
        out: folder of data and results.
        lines: lines of the plant.
        hours: log of one line [h].
        growth_hours: log of one line at 1x [h].
        growth: how many times as long the longer logs are.
        year_runs: line-days on file in a store of a year.
        quiet_runs: runs on file where nothing is new to do.
        readings: readings on file for the queries of pages.
        page_lines: lines of one shift whose pages are written.
        run_page_readings: readings of each channel of a run page that is opened.
        repeats: times a short thing is measured; the best counts.
    """

    name: str
    out: Path
    lines: int
    hours: float
    growth_hours: float
    growth: tuple[int, ...]
    year_runs: int
    quiet_runs: int
    readings: tuple[int, ...]
    page_lines: int
    run_page_readings: int
    repeats: int

    @property
    def data(self) -> Path:
        """Folder of logs, kept from one run to the next."""
        return self.out / "data"

    @property
    def scratch(self) -> Path:
        """Folder of what one run makes."""
        home = self.out / f"scratch-{self.name}"
        home.mkdir(parents=True, exist_ok=True)
        return home

    def fresh(self, name: str) -> Path:
        """A folder of that name that is not there yet."""
        folder = self.scratch / name
        shutil.rmtree(folder, ignore_errors=True)
        return folder


def scale_of(name: str, out: Path) -> Scale:
    """The scale of that name, keeping what it makes in `out`."""
    if name == "full":
        return Scale(
            name,
            out,
            5,
            24.0,
            1.5,
            (1, 4, 16),
            365 * 5,
            10_000,
            (100_000_000, 1_000_000_000),
            20,
            1_000_000,
            5,
        )
    if name == "small":
        return Scale(name, out, 5, 1.0, 0.1, (1, 4, 16), 365, 2_000, (100_000_000,), 8, 200_000, 3)
    return Scale(name, out, 1, 0.1, 0.1, (1, 2), 3, 5, (200_000,), 2, 20_000, 1)
