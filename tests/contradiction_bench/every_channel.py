"""The kinds of contradiction put on every other channel of a log, and what a plant's log may have besides."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial

import numpy as np
from numpy.typing import NDArray

from tests.contradiction_bench.cells import Cell, Maker, _half, _of, _one_wall, _ring, _walls
from tests.other_lines import edits
from tests.other_lines.edits import Edit
from tests.other_lines.running import MadeRun

Floats = NDArray[np.float64]
Change = Callable[[list[str], float, MadeRun], Edit]

AXES = ("diameter_x_mm", "diameter_y_mm")
WIRES = ("off centre", "thick", "good")
# Channel, its columns, and a size in its unit that is plainly not of the wire.
CHANNELS: tuple[tuple[str, tuple[str, ...], float], ...] = (
    ("one diameter axis", AXES[:1], 0.1),
    ("diameter", AXES, 0.1),
    ("hot diameter", ("hot_diameter_mm",), 0.1),
    ("conductor", ("conductor_mm",), 0.05),
    ("line speed", ("line_speed_m_s",), 0.2),
    ("spark voltage", ("spark_kv",), 1.0),
    ("spark counts", ("spark_counts",), 3.0),
    ("screw speed", ("screw_speed_rpm",), 5.0),
    ("melt temperature", ("melt_temperature_c",), 20.0),
    ("melt pressure", ("melt_pressure_bar",), 40.0),
)
SECONDS = (20.0, 60.0)


def _rows(run: MadeRun, seconds: float) -> int:
    return max(2, round(seconds / run.line.interval_s))


def _stuck(noise: float) -> Change:
    return lambda c, s, r: edits.stuck_for(c, _half(r), _rows(r, s), noise, 3)


def _emptied(c: list[str], s: float, r: MadeRun) -> Edit:
    rows = np.arange(r.seconds.size)
    return edits.emptied(c, (rows >= _half(r)) & (rows < _half(r) + _rows(r, s)))


def _late(c: list[str], s: float, r: MadeRun) -> Edit:
    return edits.lagging(c, _rows(r, s))


def _spiked(c: list[str], s: float, r: MadeRun) -> Edit:
    return edits.spikes(c, 97, s)


def _shift(c: list[str], s: float, r: MadeRun) -> Edit:
    return edits.shifted(c, s)


def _drift(c: list[str], s: float, r: MadeRun) -> Edit:
    return edits.drifted(c, s)


def _scaled(c: list[str], s: float, r: MadeRun) -> Edit:
    return edits.remade(c, lambda values: values * s)


def _smoothed(c: list[str], s: float, r: MadeRun) -> Edit:
    return edits.remade(c, partial(edits.averaged, rows=_rows(r, s)))


def _rounded(c: list[str], s: float, r: MadeRun) -> Edit:
    return edits.remade(c, lambda values: np.round(values / s) * s)


def _zeroed(c: list[str], s: float, r: MadeRun) -> Edit:
    return edits.auto_zeroed(c, _rows(r, 30.0), s, 5)


def _second_head(c: list[str], s: float, r: MadeRun) -> Edit:
    return edits.remade(c, lambda values: values + s * (np.arange(values.size) % 2))


def _at_nominal(c: list[str], s: float, r: MadeRun) -> Edit:
    return edits.remade(c, lambda values: np.full(values.size, s * float(np.round(np.median(values), 2))))


def _counter(make: Callable[[float, MadeRun], Edit]) -> Maker:
    return lambda run, size, rng: make(size, run)


def _slip(size: float, run: MadeRun) -> Edit:
    return edits.slipping(run.seconds.size // 2, size)


def _pasted(but: tuple[str, ...]) -> Maker:
    def make(run: MadeRun, size: float, rng: np.random.Generator) -> Edit | None:
        return edits.pasted(_half(run) + int(size) // 2, int(size), but=but)

    return make


def _mixed(run: MadeRun, size: float, rng: np.random.Generator) -> Edit | None:
    """Two neighbouring sensors both logged as their mean."""
    walls = _walls(run)
    if not walls:
        return None

    def edit(made: MadeRun, log: edits.Log) -> edits.Log:
        both = (log.columns[walls[0]] + log.columns[walls[1]]) / 2.0
        return log.having(**{walls[0]: both, walls[1]: both})

    return edit


def _fahrenheit(c: list[str], s: float, r: MadeRun) -> Edit:
    return edits.remade(c, lambda values: values * 1.8 + 32.0)


def _doubled(run: MadeRun, size: float, rng: np.random.Generator) -> Edit | None:
    """One wall sensor logged in its neighbor's column too."""
    walls = _walls(run)
    return edits.copied(walls[0], walls[1:2]) if walls else None


def _axis_copied(run: MadeRun, size: float, rng: np.random.Generator) -> Edit | None:
    there = [one for one in AXES if one in run.columns]
    return edits.copied(there[0], there[1:]) if len(there) == 2 else None


def _held(size: float, run: MadeRun) -> Edit:
    return edits.counter_held(_half(run), _rows(run, size))


def _reset(size: float, run: MadeRun) -> Edit:
    return edits.counter_reset(_half(run))


def every_channel() -> Iterator[Cell]:
    """Cells of each channel, then those of kinds that one channel has alone."""
    for name, channels, size in CHANNELS:
        wires = ("pinhole", "good") if name.startswith("spark") else WIRES
        # The page says of each run that an error of these is not seen.
        never = "" if name in {"one diameter axis", "diameter", "conductor", "line speed"} else "never"
        for kind, unit, sizes, change in (
            ("stuck", "s", SECONDS, _stuck(0.0)),
            ("stuck with noise", "s", SECONDS, _stuck(0.004 * size)),
            ("no values", "s", SECONDS, _emptied),
            ("lag", "s", (1.0, 5.0, 30.0), _late),
            ("sign", "times", (-1.0,), _scaled),
            ("rescale", "times", (0.9, 0.98, 1.02, 1.1), _scaled),
            ("averaged", "s", (10.0,), _smoothed),
            ("frozen at its nominal", "times", (1.0,), _at_nominal),
            ("every second row by another", "unit", (0.3 * size, size), _second_head),
        ):
            yield Cell(name, kind, unit, sizes, _of(channels, change), wires, never)
        if name not in {"one diameter axis", "diameter", "conductor"}:
            yield Cell(name, "offset", "unit", (-size, size), _of(channels, _shift), wires, never)
            yield Cell(name, "drift", "unit", (-size, size), _of(channels, _drift), wires, never)
        if name != "one diameter axis":
            yield Cell(name, "spike", "unit", (-size, size), _of(channels, _spiked), wires, never)
    for kind, unit, sizes, change in (
        ("late", "s", (1.0, 5.0, 15.0, 30.0), _late),
        ("sign", "times", (-1.0,), _scaled),
        ("rescale", "times", (0.9, 0.95, 1.05, 1.1), _scaled),
        ("averaged", "s", (10.0,), _smoothed),
        ("rounded", "mm", (0.1,), _rounded),
        ("zero set anew each 30 s", "mm", (0.01, 0.03, 0.1), _zeroed),
        ("every second row by another", "mm", (0.01, 0.03, 0.1), _second_head),
        ("frozen at its nominal", "times", (1.0,), _at_nominal),
    ):
        stated = {"late": "lag", "averaged": "never"}.get(kind, "")
        yield Cell("ring", kind, unit, sizes, _ring(change), ("off centre", "late", "short", "thin"), stated)
        if kind != "late":
            yield Cell("one wall sensor", kind, unit, sizes, _one_wall(change), ("off centre", "short"))
    yield Cell("one wall sensor", "lag", "s", (1.0, 5.0, 30.0), _one_wall(_late), ("off centre", "short"))
    yield Cell("one wall sensor", "no values", "s", SECONDS, _one_wall(_emptied), ("off centre", "short"))
    yield Cell("ring", "no values", "s", SECONDS, _ring(_emptied), ("off centre", "short"))
    yield Cell("ring", "spike", "mm", (-0.1, 0.1), _ring(_spiked), ("off centre", "good"))
    yield Cell("ring", "two sensors averaged", "", (1.0,), _mixed, ("off centre", "short"))
    yield Cell("ring", "one sensor twice", "", (1.0,), _doubled, ("off centre", "short"))
    yield Cell("diameter", "one axis twice", "", (1.0,), _axis_copied, ("thick", "off centre"))
    yield Cell("melt temperature", "unit", "degF", (1.0,), _of(("melt_temperature_c",), _fahrenheit))
    for kind, unit, sizes, make in (
        ("slip from the middle", "times", (-0.05, -0.02, 0.02, 0.05), _slip),
        ("stands", "s", (5.0, 20.0), _held),
        ("starts anew", "", (1.0,), _reset),
    ):
        yield Cell("counter", kind, unit, sizes, _counter(make), ("late", "pinhole"))
    for kind, change in (("lag", _late), ("drift", _drift), ("rescale", _scaled)):
        sizes = {"lag": (1.0, 5.0, 30.0), "drift": (10.0, 40.0), "rescale": (0.9, 0.98, 1.02, 1.1)}[kind]
        of = _of(("counter_m",), change)
        yield Cell(
            "counter", kind, {"lag": "s", "drift": "m"}.get(kind, "times"), sizes, of, ("late", "pinhole")
        )
    both = _of(("counter_m", "line_speed_m_s"), lambda c, s, r: edits.rescaled(c, s))
    yield Cell("counter and speed", "unit", "times", (3.281, 0.3048), both, ("late", "pinhole"), "never")
    for name, but in (("but the counter", ("counter_m", "spark_counts")), ("all columns", ())):
        yield Cell(
            "rows", f"pasted over others, {name}", "rows", (30.0, 300.0), _pasted(but), ("off centre", "late")
        )
