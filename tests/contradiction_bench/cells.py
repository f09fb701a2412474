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
    """A channel, a kind and sizes in their unit.

    `make` gives None where a line has no such thing; `stated` is the name under which the page states the smallest
    size that it shows.
    """

    channel: str
    kind: str
    unit: str
    sizes: tuple[float, ...]
    make: Maker
    wires: tuple[str, ...] = ("good", "off centre")
    stated: str = ""


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


def _repeat(run: MadeRun, size: float, rng: np.random.Generator) -> Edit | None:
    return edits.repeated(_half(run) - int(size), int(size))


def _lag(channels: list[str], metres: float, run: MadeRun) -> Edit:
    return edits.lagging(channels, max(2, round(metres / run.line.speed_m_s / run.line.interval_s)))


def _noisy(share: float, sensors: int) -> Maker:
    """Sensors that repeat a figure with noise for so many seconds, as a share of the gauge's uncertainty."""

    def make(run: MadeRun, size: float, rng: np.random.Generator) -> Edit | None:
        walls = _walls(run)
        if not walls or run.line.ring is None:
            return None
        chosen = walls if sensors >= len(walls) else [str(rng.choice(walls))]
        rows = round(size / run.line.interval_s)
        return edits.stuck_for(chosen, _half(run), rows, share * run.line.ring.u_mm, int(rng.integers(1000)))

    return make


def _swap(first: str, second: str) -> Maker:
    def make(run: MadeRun, size: float, rng: np.random.Generator) -> Edit | None:
        both = first in run.columns and second in run.columns
        return edits.exchanged(first, second) if both else None

    return make


UM = (0.005, 0.01, 0.02, 0.03, 0.04, 0.06, 0.1, 0.15)
ORDERS = ("opposite", "neighbors", "two apart", "every second", "at random", "reversed")
SPIKES = (0.05, 0.1, 0.2, 0.5)
SECONDS = (1.0, 5.0, 60.0, 3600.0)
GAUGES = {
    "ring": (_ring, "ring"),
    "diameter": (lambda edit: _of(("diameter_x_mm", "diameter_y_mm"), edit), "diameter"),
    "conductor": (lambda edit: _of(("conductor_mm",), edit), "diameter"),
}
SWAPS = (
    ("hot_diameter_mm", "diameter_x_mm"),
    ("conductor_mm", "diameter_x_mm"),
    ("conductor_mm", "hot_diameter_mm"),
    ("conductor_mm", "wall_1_mm"),
    ("diameter_x_mm", "wall_1_mm"),
    ("line_speed_m_s", "screw_speed_rpm"),
    ("counter_m", "line_speed_m_s"),
    ("diameter_x_mm", "diameter_y_mm"),
    ("melt_temperature_c", "melt_pressure_bar"),
)
UNITS = {
    "counter": (("counter_m",), (3.281, 0.3048)),
    "line speed": (("line_speed_m_s",), (3.281, 0.3048)),
    "diameter": (("diameter_x_mm", "diameter_y_mm"), (25.4, 1 / 25.4)),
    "conductor": (("conductor_mm",), (25.4, 1 / 25.4)),
    "melt pressure": (("melt_pressure_bar",), (14.504, 1 / 14.504)),
    "spark voltage": (("spark_kv",), (1000.0, 0.001)),
}


def _cells() -> Iterator[Cell]:
    for one in ORDERS:
        yield Cell("ring", f"order: {one}", "", (1.0,), _order(one))
    for sign, name in ((1.0, ""), (-1.0, " down")):
        shift = _one_wall(lambda c, s, r, sign=sign: edits.shifted(c, sign * s))
        drift = _one_wall(lambda c, s, r, sign=sign: edits.drifted(c, sign * s))
        yield Cell("one wall sensor", f"offset{name}", "mm", UM, shift, stated="offset")
        yield Cell("one wall sensor", f"drift{name}", "mm", UM, drift, stated="drift")
        for gauge, (way, stated) in GAUGES.items():
            shift = way(lambda c, s, r, sign=sign: edits.shifted(c, sign * s))
            drift = way(lambda c, s, r, sign=sign: edits.drifted(c, sign * s))
            yield Cell(gauge, f"offset{name}", "mm", UM[1:], shift, stated=stated)
            yield Cell(gauge, f"drift{name}", "mm", UM[1:], drift, stated=f"{stated}_drift")
        spike = _of(("diameter_x_mm",), lambda c, s, r, sign=sign: edits.spikes(c, 97, sign * s))
        yield Cell("one diameter axis", f"spike{name}", "mm", SPIKES, spike)
        spike = _one_wall(lambda c, s, r, sign=sign: edits.spikes(c, 97, sign * s))
        yield Cell("one wall sensor", f"spike{name}", "mm", SPIKES, spike)
    for first, second in SWAPS:
        yield Cell("columns", f"swap: {first}, {second}", "", (1.0,), _swap(first, second))
    for way, sign in (("back", -1.0), ("forward", 1.0)):
        for events in (True, False):
            maker = _clock(sign, events)
            name = f"set {way}{'' if events else ', not the tester'}"
            yield Cell("clock", name, "s", SECONDS, maker, ("pinhole",))
            yield Cell(
                "clock", f"{name}; faults in a list only", "s", SECONDS, _unlogged(maker), ("pinhole",)
            )
    yield Cell("rows", "gap", "s", (2.0, 10.0, 30.0), _gap, ("pinhole",))
    yield Cell("rows", "repeat", "rows", (60.0, 300.0), _repeat, ("pinhole",))
    for share in (0.1, 1.0):
        yield Cell("one wall sensor", f"stuck with noise {share:g} u", "s", (20.0, 60.0), _noisy(share, 1))
        yield Cell("ring", f"stuck with noise {share:g} u", "s", (20.0, 60.0), _noisy(share, 99))
    yield Cell("one wall sensor", "stuck", "s", (20.0, 60.0), _noisy(0.0, 1))
    yield Cell("ring", "stuck", "s", (20.0, 60.0), _noisy(0.0, 99))
    yield Cell("ring", "lag", "m", (5.0, 20.0), _ring(_lag), stated="lag")
    yield Cell("ring", "unit", "times", (25.4, 1 / 25.4), _ring(lambda c, s, r: edits.rescaled(c, s)))
    for name, (channels, factors) in UNITS.items():
        yield Cell(name, "unit", "times", factors, _of(channels, lambda c, s, r: edits.rescaled(c, s)))


CELLS = tuple(_cells())


def cells(chosen: str = "") -> Iterator[Cell]:
    """The rows, or those whose channel or kind has `chosen` in it."""
    return (one for one in CELLS if chosen in f"{one.channel}: {one.kind}")
