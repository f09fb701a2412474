"""What goes wrong between wire and file: rows, channels, sensors, clocks and counters of a log, edited.

Each edit takes the run and its log and gives the log with the fault in it. Kinds are those a plant's data have (common
experience of the trade, no source).
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tests.other_lines.running import MadeRun
from tests.other_lines.writing import Log

Floats = NDArray[np.float64]
Edit = Callable[[MadeRun, Log], Log]


def walls_of_columns(columns: Collection[str]) -> list[str]:
    return [name for name in columns if name.startswith("wall_")]


def rows_seeing(run: MadeRun, station_m: float, from_m: float, to_m: float) -> NDArray[np.bool_]:
    """Rows of the run at which an instrument saw wire of a stretch."""
    at = run.front_m - station_m
    return np.asarray((at >= from_m) & (at <= to_m))


def rows_lost(from_m: float, to_m: float, station_m: float) -> Edit:
    """No rows while a stretch of wire passed a station."""
    return lambda run, log: log.rows(~rows_seeing(run, station_m, from_m, to_m))


def rows_thinned(share: float, seed: int) -> Edit:
    """Single rows lost by chance, never two neighbours."""

    def edit(run: MadeRun, log: Log) -> Log:
        lost = np.random.default_rng(seed).random(log.seconds.size) < share
        lost[1:] &= ~lost[:-1]
        lost[[0, -1]] = False
        return log.rows(~lost)

    return edit


def cut_short(after_m: float) -> Edit:
    """The log ends when so much wire was made."""
    return lambda run, log: log.rows(run.front_m <= after_m)


def without(*channels: str) -> Edit:
    """Columns that were never logged; ``wall`` stands for the ring."""

    def edit(run: MadeRun, log: Log) -> Log:
        names = [n for n in log.columns if n in channels or ("wall" in channels and n.startswith("wall_"))]
        return log.having(**dict.fromkeys(names))

    return edit


def emptied(channels: Sequence[str], rows: NDArray[np.bool_] | None = None) -> Edit:
    """Empty cells, everywhere or in some rows."""

    def edit(run: MadeRun, log: Log) -> Log:
        changed = {}
        for name in channels:
            values = log.columns[name].copy()
            values[slice(None) if rows is None else rows] = np.nan
            changed[name] = values
        return log.having(**changed)

    return edit


def stuck(channels: Sequence[str], from_row: int, noise: float = 0.0, seed: int = 0) -> Edit:
    """Channels that repeat what they read at a row from there on, exactly or with noise [their unit]."""

    def edit(run: MadeRun, log: Log) -> Log:
        rng = np.random.default_rng(seed)
        changed = {}
        for name in channels:
            values = log.columns[name].copy()
            held = float(np.mean(values[max(from_row - 20, 0) : from_row + 1])) if noise else values[from_row]
            values[from_row:] = held + noise * rng.standard_normal(values.size - from_row)
            changed[name] = values
        return log.having(**changed)

    return edit


def stuck_for(channels: Sequence[str], from_row: int, rows: int, noise: float, seed: int) -> Edit:
    """Channels that repeat what they read at a row for so many rows, exactly or with noise [their unit]."""

    def edit(run: MadeRun, log: Log) -> Log:
        still = stuck(channels, from_row, noise, seed)(run, log)
        to = from_row + rows
        return log.having(
            **{name: np.concatenate((still.columns[name][:to], log.columns[name][to:])) for name in channels}
        )

    return edit


def permuted(order: Sequence[int]) -> Edit:
    """Wall columns mapped in another order: column k holds sensor ``order[k]`` (from 0)."""

    def edit(run: MadeRun, log: Log) -> Log:
        return log.having(
            **{f"wall_{k + 1}_mm": log.columns[f"wall_{n + 1}_mm"] for k, n in enumerate(order)}
        )

    return edit


def exchanged(first: str, second: str) -> Edit:
    """Two columns under each other's name."""
    return lambda run, log: log.having(**{first: log.columns[second], second: log.columns[first]})


def shifted(channels: Sequence[str], by: float) -> Edit:
    """Channels that read too high by a constant [their unit]."""
    return lambda run, log: log.having(**{name: log.columns[name] + by for name in channels})


def drifted(channels: Sequence[str], by: float) -> Edit:
    """Channels whose bias grows evenly to a figure [their unit] over the run."""
    return lambda run, log: log.having(
        **{name: log.columns[name] + by * np.linspace(0.0, 1.0, log.seconds.size) for name in channels}
    )


def rescaled(channels: Sequence[str], by: float) -> Edit:
    """Channels written in another unit than the sheet says: every figure times a factor."""
    return lambda run, log: replace(log, rescaled={**log.rescaled, **dict.fromkeys(channels, by)})


def lagging(channels: Sequence[str], rows: int) -> Edit:
    """Channels logged so many rows late."""

    def edit(run: MadeRun, log: Log) -> Log:
        late = np.maximum(np.arange(log.seconds.size) - rows, 0)
        return log.having(**{name: log.columns[name][late] for name in channels})

    return edit


def clock_set(at_row: int, by_s: float, events: bool) -> Edit:
    """The logger's clock is set by so many seconds at a row; the spark tester's too, or not."""

    def edit(run: MadeRun, log: Log) -> Log:
        when = log.seconds[at_row]
        seconds = log.seconds + by_s * (log.seconds >= when)
        faults = log.faults + by_s * (log.faults >= when) if events else log.faults
        return replace(log, seconds=seconds, faults=faults)

    return edit


def counter_reset(at_row: int) -> Edit:
    """The length counter starts again from nothing."""

    def edit(run: MadeRun, log: Log) -> Log:
        counter = log.columns["counter_m"]
        after = np.arange(counter.size) >= at_row
        return log.having(counter_m=counter - counter[at_row] * after)

    return edit


def counter_held(at_row: int, rows: int) -> Edit:
    """The counter stands while the wire runs, then goes on from where it stood."""

    def edit(run: MadeRun, log: Log) -> Log:
        counter = log.columns["counter_m"].copy()
        lost = counter[at_row + rows] - counter[at_row]
        counter[at_row : at_row + rows] = counter[at_row]
        counter[at_row + rows :] -= lost
        return log.having(counter_m=counter)

    return edit


def repeated(from_row: int, rows: int) -> Edit:
    """A block of rows written twice."""

    def edit(run: MadeRun, log: Log) -> Log:
        order = np.arange(log.seconds.size)
        return log.rows(np.insert(order, from_row + rows, order[from_row : from_row + rows]))

    return edit


def shuffled(width: int, seed: int) -> Edit:
    """Rows out of order within blocks."""

    def edit(run: MadeRun, log: Log) -> Log:
        n = log.seconds.size
        order = np.argsort(np.arange(n) // width + np.random.default_rng(seed).random(n), kind="stable")
        return log.rows(order)

    return edit


def faults_lost() -> Edit:
    """The spark tester's list is empty though its counter in the log counts on."""
    return lambda run, log: replace(log, faults=np.zeros(0))


def untested(from_m: float, to_m: float, kv: float) -> Edit:
    """The spark tester at another voltage while a stretch of wire passed it."""

    def edit(run: MadeRun, log: Log) -> Log:
        rows = rows_seeing(run, run.line.spark.station_m, from_m, to_m)
        values = np.where(rows, kv, log.columns["spark_kv"])
        # What breaks down only at the full voltage is not counted.
        low, high = run.seconds[rows].min(initial=np.inf), run.seconds[rows].max(initial=-np.inf)
        kept = (log.faults < low) | (log.faults > high)
        return replace(log.having(spark_kv=values), faults=log.faults[kept])

    return edit


def spikes(channels: Sequence[str], every: int, size: float) -> Edit:
    """Single readings far off, one in so many rows."""

    def edit(run: MadeRun, log: Log) -> Log:
        changed = {}
        for name in channels:
            values = log.columns[name].copy()
            values[every // 2 :: every] += size
            changed[name] = values
        return log.having(**changed)

    return edit


def coded(channels: Sequence[str], code: float, rows: NDArray[np.bool_]) -> Edit:
    """A figure that stands for no reading, as 0, -999 or 9999, in some rows [unit of the channel]."""

    def edit(run: MadeRun, log: Log) -> Log:
        return log.having(**{name: np.where(rows, code, log.columns[name]) for name in channels})

    return edit


def by_change(channels: Sequence[str]) -> Edit:
    """Channels written only where their figure changes; cells between are empty."""

    def edit(run: MadeRun, log: Log) -> Log:
        changed = {}
        for name in channels:
            values = log.columns[name].copy()
            same = np.concatenate(([False], values[1:] == values[:-1]))
            changed[name] = np.where(same, np.nan, values)
        return log.having(**changed)

    return edit


def after(*edits: Edit) -> Edit:
    """One edit after another."""

    def edit(run: MadeRun, log: Log) -> Log:
        for one in edits:
            log = one(run, log)
        return log

    return edit


def remade(channels: Sequence[str], change: Callable[[Floats], Floats]) -> Edit:
    """Channels whose figures something made others of, row by row or along the log."""
    return lambda run, log: log.having(**{name: change(log.columns[name]) for name in channels})


def averaged(values: Floats, rows: int) -> Floats:
    """Trailing mean over so many rows, as a filter in a gauge makes it."""
    summed = np.cumsum(np.concatenate((np.full(rows, values[0]), values)))
    return np.asarray((summed[rows:] - summed[:-rows]) / rows, dtype=np.float64)


def copied(source: str, onto: Sequence[str]) -> Edit:
    """One channel written into others as well."""
    return lambda run, log: log.having(**dict.fromkeys(onto, log.columns[source]))


def slipping(at_row: int, share: float) -> Edit:
    """A counter that gains (below 0: loses) a share of the length from a row on."""

    def edit(run: MadeRun, log: Log) -> Log:
        counter = log.columns["counter_m"]
        after = np.arange(counter.size) >= at_row
        return log.having(counter_m=counter + share * (counter - counter[at_row]) * after)

    return edit


def pasted(from_row: int, rows: int, *, but: Collection[str] = ("counter_m", "spark_counts")) -> Edit:
    """So many rows overwritten by those before them; time, and the channels `but`, go on."""

    def edit(run: MadeRun, log: Log) -> Log:
        changed = {}
        for name, column in log.columns.items():
            if name in but:
                continue
            values = column.copy()
            to = min(from_row + rows, values.size)
            values[from_row:to] = column[2 * from_row - to : from_row]
            changed[name] = values
        return log.having(**changed)

    return edit


def auto_zeroed(channels: Sequence[str], every: int, by: float, seed: int) -> Edit:
    """A gauge that sets its zero anew each so many rows, each time a little elsewhere, and reads nothing meanwhile."""

    def edit(run: MadeRun, log: Log) -> Log:
        n = log.seconds.size
        part = np.arange(n) // every
        bias = by * np.random.default_rng(seed).standard_normal(int(part[-1]) + 1)[part]
        blank = np.where((np.arange(n) % every < 3) & (part > 0), np.nan, 0.0)
        return log.having(**{name: log.columns[name] + bias + blank for name in channels})

    return edit


def scanned(sensors: Sequence[str], dwell: int, between: str) -> Edit:
    """One sensor that goes round the wire, so many rows an angle, logged in a column an angle.

    Args:
        sensors: the columns, in order of angle.
        dwell: rows a stay.
        between: what stands in the other columns meanwhile: ``empty``, ``held`` (their last figure), or ``alike``
            (the one reading there is, in every column).
    """

    def edit(run: MadeRun, log: Log) -> Log:
        n = log.seconds.size
        turn = np.arange(n) // dwell % len(sensors)
        every = np.stack([log.columns[name] for name in sensors])
        if between == "alike":
            return log.having(**dict.fromkeys(sensors, every[turn, np.arange(n)]))
        changed = {}
        for number, name in enumerate(sensors):
            new = turn == number
            if between == "empty":
                changed[name] = np.where(new, every[number], np.nan)
            else:
                last = np.maximum.accumulate(np.where(new, np.arange(n), 0))
                changed[name] = every[number][last]
        return log.having(**changed)

    return edit


def from_then_on(channels: Sequence[str], at_row: int, by: float) -> Edit:
    """Channels logged in another unit from a row on."""
    return lambda run, log: log.having(
        **{
            name: log.columns[name] * np.where(np.arange(log.seconds.size) < at_row, 1.0, by)
            for name in channels
        }
    )


def within_deadband(channels: Sequence[str], by: float) -> Edit:
    """Figures written only where they moved more than a deadband [their unit] since the last that was written."""

    def edit(run: MadeRun, log: Log) -> Log:
        changed = {}
        for name in channels:
            values, last = log.columns[name].copy(), float("inf")
            for row, one in enumerate(values.tolist()):
                if abs(one - last) > by or last == float("inf"):
                    last = one
                else:
                    values[row] = np.nan
            changed[name] = values
        return log.having(**changed)

    return edit


def rows_on_change(channels: Sequence[str], by: float) -> Edit:
    """Rows written only where one of the channels moved more than a deadband [their unit], and each hundredth."""

    def edit(run: MadeRun, log: Log) -> Log:
        every = np.stack([log.columns[name] for name in channels])
        kept, last = np.zeros(log.seconds.size, dtype=bool), every[:, 0]
        for row in range(log.seconds.size):
            if row % 100 == 0 or bool((np.abs(every[:, row] - last) > by).any()):
                kept[row], last = True, every[:, row]
        return log.rows(kept)

    return edit
