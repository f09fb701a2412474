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
