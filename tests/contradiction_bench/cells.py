"""What is done to the data: channels, kinds of contradiction and sizes, as edits of a log."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from tests.other_lines import edits
from tests.other_lines.edits import Edit
from tests.other_lines.running import MadeRun

Maker = Callable[[MadeRun, float, np.random.Generator], Edit | None]


@dataclass(frozen=True)
class Cell:
    """A channel, a kind and sizes in their unit; `make` gives None where a line has no such thing."""

    channel: str
    kind: str
    unit: str
    sizes: tuple[float, ...]
    make: Maker
    wires: tuple[str, ...] = ("good", "off centre")


def _walls(run: MadeRun) -> list[str]:
    return edits.walls_of_columns(run.columns)


def _half(run: MadeRun) -> int:
    """A row at which the second reel's first metres pass the gauges."""
    return int(np.searchsorted(run.front_m, run.reels[1].from_m + 20.0 + run.line.cold.station_m))


def _order(kind: str) -> Maker:
    def make(run: MadeRun, size: float, rng: np.random.Generator) -> Edit | None:
        n = len(_walls(run))
        if n == 0:
            return None
        order = list(range(n))
        if kind == "opposite":
            order[0], order[n // 2] = n // 2, 0
        elif kind == "neighbors":
            order[1], order[2] = 2, 1
        elif kind == "two apart":
            order[n - 1], order[1] = 1, n - 1
        elif kind == "every second":
            order = [*range(0, n, 2), *range(1, n, 2)]
        elif kind == "reversed":
            order.reverse()
        else:
            order = [int(k) for k in rng.permutation(n)]
        return edits.permuted(order)

    return make


def _one_wall(edit: Callable[[list[str], float, MadeRun], Edit]) -> Maker:
    def make(run: MadeRun, size: float, rng: np.random.Generator) -> Edit | None:
        walls = _walls(run)
        return edit([str(rng.choice(walls))], size, run) if walls else None

    return make


def _ring(edit: Callable[[list[str], float, MadeRun], Edit]) -> Maker:
    def make(run: MadeRun, size: float, rng: np.random.Generator) -> Edit | None:
        walls = _walls(run)
        return edit(walls, size, run) if walls else None

    return make


def _of(channels: tuple[str, ...], edit: Callable[[list[str], float, MadeRun], Edit]) -> Maker:
    def make(run: MadeRun, size: float, rng: np.random.Generator) -> Edit | None:
        there = [one for one in channels if one in run.columns]
        return edit(there, size, run) if there else None

    return make


def _clock(sign: float, events: bool) -> Maker:
    def make(run: MadeRun, size: float, rng: np.random.Generator) -> Edit | None:
        at = run.reels[1].from_m + 0.35 * run.reels[1].length_m + run.line.spark.station_m
        return edits.clock_set(int(np.searchsorted(run.front_m, at)), sign * size, events)

    return make


def _unlogged(maker: Maker) -> Maker:
    """The same where the readings do not carry the spark tester's counter."""

    def make(run: MadeRun, size: float, rng: np.random.Generator) -> Edit | None:
        edit = maker(run, size, rng)
        return None if edit is None else edits.after(edit, edits.without("spark_counts"))

    return make


def _gap(run: MadeRun, size: float, rng: np.random.Generator) -> Edit | None:
    """No rows for so many seconds while the middle of the second reel passed the spark tester."""
    middle, half = run.reels[1].from_m + 0.5 * run.reels[1].length_m, 0.5 * size * run.line.speed_m_s
    return edits.rows_lost(middle - half, middle + half, run.line.spark.station_m)


def _swap(first: str, second: str) -> Maker:
    def make(run: MadeRun, size: float, rng: np.random.Generator) -> Edit | None:
        both = first in run.columns and second in run.columns
        return edits.exchanged(first, second) if both else None

    return make


UM = (0.005, 0.01, 0.02, 0.03, 0.04, 0.06, 0.1, 0.15)
ORDERS = ("opposite", "neighbors", "two apart", "every second", "at random", "reversed")
CELLS: list[Cell] = [
    Cell(
        "one diameter axis",
        "spike",
        "mm",
        (0.05, 0.1, 0.2, 0.5),
        _of(("diameter_x_mm",), lambda c, s, r: edits.spikes(c, 97, s)),
    ),
    Cell(
        "one diameter axis",
        "spike, thin",
        "mm",
        (0.05, 0.1, 0.2, 0.5),
        _of(("diameter_x_mm",), lambda c, s, r: edits.spikes(c, 97, -s)),
    ),
    *(
        Cell(
            "clock",
            f"set {way}{'' if events else ', not the spark tester'}",
            "s",
            (1.0, 5.0, 60.0, 3600.0),
            _clock(sign, events),
            ("pinhole",),
        )
        for way, sign in (("back", -1.0), ("forward", 1.0))
        for events in (True, False)
    ),
    *(
        Cell(
            "clock",
            f"set {way}, faults in a list alone",
            "s",
            (1.0, 5.0, 60.0, 3600.0),
            _unlogged(_clock(sign, events)),
            ("pinhole",),
        )
        for way, sign, events in (
            ("back", -1.0, True),
            ("back unknown to the tester", -1.0, False),
            ("forward", 1.0, True),
            ("forward unknown to the tester", 1.0, False),
        )
    ),
    Cell("rows", "gap", "s", (2.0, 10.0, 30.0), _gap, ("pinhole",)),
    *(
        Cell(channel, kind, "mm", (0.01, 0.02, 0.04, 0.06, 0.1, 0.15), maker)
        for channel, way in (
            ("ring", _ring),
            ("diameter", lambda e: _of(("diameter_x_mm", "diameter_y_mm"), e)),
            ("conductor", lambda e: _of(("conductor_mm",), e)),
        )
        for kind, maker in (
            ("offset", way(lambda c, s, r: edits.shifted(c, s))),
            ("offset down", way(lambda c, s, r: edits.shifted(c, -s))),
            ("drift", way(lambda c, s, r: edits.drifted(c, s))),
        )
    ),
    *(
        Cell("columns", f"swap: {first}, {second}", "", (1.0,), _swap(first, second))
        for first, second in (
            ("hot_diameter_mm", "diameter_x_mm"),
            ("conductor_mm", "diameter_x_mm"),
            ("diameter_x_mm", "diameter_y_mm"),
            ("melt_temperature_c", "melt_pressure_bar"),
        )
    ),
    *(Cell("ring", f"order: {one}", "", (1.0,), _order(one)) for one in ORDERS),
    Cell("one wall sensor", "offset", "mm", UM, _one_wall(lambda c, s, r: edits.shifted(c, s))),
    Cell("one wall sensor", "offset, thin", "mm", UM, _one_wall(lambda c, s, r: edits.shifted(c, -s))),
    Cell("one wall sensor", "drift", "mm", UM, _one_wall(lambda c, s, r: edits.drifted(c, s))),
]


def cells(chosen: str = "") -> Iterator[Cell]:
    """The rows, or those whose channel or kind has `chosen` in it."""
    return (one for one in CELLS if chosen in f"{one.channel}: {one.kind}")
