"""What the line logged in a run besides the wall, and what was changed in it, as the run page shows it."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import polars as pl

from dashboards.decimation import extremes_kept
from dashboards.fillers.run_book import aware
from dashboards.records import ProcessChannel, ProcessValues, RunChange
from pipeline.columns import CHANNEL_BY_NAME
from pipeline.length.log_gaps import GAP_READINGS, rows_missing
from pipeline.length.steady_state import PHASE_NAMES, SETTLE, SPEED_CHANGE, STEADY, STOP
from pipeline.record.genealogy_of_store import sheets_of
from pipeline.store.readings import read_frame
from pipeline.tuning.setting_steps import HOLD_S, LEAST_STEP, STANDING, levels_held

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from dashboards.decimation import Floats
    from dashboards.fillers.run_book import RunBook
    from pipeline.sheets.line_sheet import LineSheet

# Logged channel -> title, and the instrument whose station it is read at; "" at the die. The first are shown first.
PROCESS: dict[str, tuple[str, str]] = {
    "melt_temperature_c": ("Melt temperature", ""),
    "melt_pressure_bar": ("Melt pressure", ""),
    "screw_speed_rpm": ("Screw speed", ""),
    "covering_screw_speed_rpm": ("Nylon screw speed", ""),
    "line_speed_m_s": ("Line speed", ""),
    "hot_diameter_mm": ("Hot diameter", "hot diameter gauge"),
    "diameter_x_mm": ("Cold diameter, X", "cold diameter gauge"),
    "diameter_y_mm": ("Cold diameter, Y", "cold diameter gauge"),
    "conductor_mm": ("Conductor diameter", "conductor gauge"),
    "spark_kv": ("Spark voltage", "spark tester"),
}
SETTINGS = ("screw_speed_rpm", "covering_screw_speed_rpm", "line_speed_m_s")
# Stretches of equally many rows, and gaps drawn of a channel at the most, the longest (chosen here: small pages).
STRETCHES, MOST_GAPS = 1_000, 500


@dataclass(frozen=True, slots=True)
class _Log:
    """The readings of a run in the order of time.

    Args:
        frame: the process channels; null where a reading is missing or flagged.
        at_s: time of each row from the first [s].
        front_m: length made at the die at each row [m].
        gaps: gaps between rows of the log before each row.
        is_running: whether the line neither stood, started nor ended then.
    """

    frame: pl.DataFrame
    at_s: Floats
    front_m: Floats
    gaps: Floats
    is_running: NDArray[np.bool_]

    def values(self, name: str) -> Floats:
        """The readings of a channel; NaN where there is none."""
        return np.asarray(self.frame[name].cast(pl.Float64).to_numpy(), dtype=np.float64)

    def time_of(self, at_m: float) -> float:
        """When the line had made that much wire [s]."""
        row = int(np.searchsorted(np.maximum.accumulate(self.front_m), at_m))
        return float(self.at_s[min(row, self.at_s.size - 1)])


def without_flagged(frame: pl.DataFrame, flagged: pl.DataFrame) -> pl.DataFrame:
    """The readings with null where one is flagged.

    Args:
        frame: readings as logged, with their `row`, by channel.
        flagged: reasons not to use readings (pipeline.columns.FLAGGED).
    """
    for name in PROCESS.keys() & set(frame.columns):
        rows = flagged.filter(pl.col("channel") == name)["row"].unique()
        frame = frame.with_columns(
            pl.when(~pl.col("row").is_in(rows.implode())).then(pl.col(name)).alias(name)
        )
    return frame


def _log(book: RunBook) -> _Log:
    folder = book.head["load_folder"]
    logged = read_frame(book.store, folder, "logged", or_thinned=True, only={"row", "time_utc", *PROCESS})
    flagged = read_frame(book.store, folder, "flagged", or_thinned=True)
    placed = read_frame(
        book.store,
        book.head["assessment_folder"],
        "placed",
        or_thinned=True,
        only={"row", "front_m", "phase"},
    )
    frame = logged.join(placed, on="row", how="inner", maintain_order="left").drop_nulls("time_utc")
    frame = without_flagged(frame, flagged)
    micros = frame["time_utc"].dt.epoch("us").to_numpy()
    at_s = (micros - micros[:1]) / 1e6
    # Rows that a thinned run no longer has are not missing from its log.
    missing = rows_missing(at_s) & (np.diff(frame["row"].to_numpy().astype(np.int64)) == 1)
    gaps = np.concatenate([[0.0], np.cumsum(missing)]) if frame.height else np.zeros(0)
    is_running = frame["phase"].is_in([SETTLE, STEADY, SPEED_CHANGE]).to_numpy()
    return _Log(frame, at_s, frame["front_m"].to_numpy(), gaps, is_running)


def readings_drawn(values: Floats, at_s: Floats, gaps: Floats) -> tuple[Floats, Floats]:
    """Which readings to draw, as numbers of rows, and their values with a NaN in each gap.

    A gap lies where the log misses rows, or where a channel has no reading in more rows than it usually takes to the
    next one: a channel logged every tenth row has no gaps by that.

    Args:
        values: readings by row; NaN where there is none.
        at_s: time of each row [s].
        gaps: gaps between rows of the log before each row.
    """
    known = np.flatnonzero(np.isfinite(values))
    steps = np.diff(known)
    usual = float(np.median(steps)) if steps.size else 1.0
    broken = np.flatnonzero((steps > GAP_READINGS * usual) | (np.diff(gaps[known]) > 0))
    if broken.size > MOST_GAPS:
        longest = np.argsort(at_s[known[broken + 1]] - at_s[known[broken]], kind="stable")[-MOST_GAPS:]
        broken = np.sort(broken[longest])
    drawn = extremes_kept(known.astype(np.float64), values[known], STRETCHES)
    drawn = np.union1d(drawn, np.concatenate([broken, broken + 1]))
    rows, after = known[drawn], np.searchsorted(drawn, broken) + 1
    return np.insert(rows, after, rows[after - 1]), np.insert(values[rows], after, np.nan)


def _channel(log: _Log, name: str, line: LineSheet) -> ProcessChannel | None:
    values = log.values(name)
    if not np.isfinite(values).any():
        return None
    title, kind = PROCESS[name]
    gauge = line.instrument(kind) if kind else None
    rows, drawn = readings_drawn(values, log.at_s, log.gaps)
    at_m = log.front_m[rows] - (gauge.station_m if gauge is not None else 0.0)
    return ProcessChannel(name, title, CHANNEL_BY_NAME[name].unit, at_m, log.at_s[rows], drawn)


def _moves(at_s: Floats, values: Floats) -> bool:
    """Whether a setting can have a step at all, told in a hundredth of the time that looking for its place takes.

    A level that was held fills one of the blocks of half its least time.
    """
    known = np.isfinite(values)
    block = (at_s[known] / (0.5 * HOLD_S)).astype(np.int64)
    count = np.bincount(block)
    means = np.bincount(block, values[known])[count > 0] / count[count > 0]
    return means.size > 1 and float(np.ptp(means)) >= LEAST_STEP * float(np.abs(means).max())


def _setting_changes(log: _Log, name: str) -> list[RunChange]:
    """Steps of a setting from one held level to another; a start or a stop is none."""
    values = np.where(log.is_running, log.values(name), np.nan)
    if not _moves(log.at_s, values):
        return []
    held = levels_held(log.at_s, values)
    title, unit = PROCESS[name][0], CHANNEL_BY_NAME[name].unit
    return [
        RunChange(
            title, float(np.interp(to_s, log.at_s, log.front_m)), to_s, unit, before=before, after=after
        )
        for (_, _, before), (to_s, _, after) in pairwise(held)
        if min(before, after) > STANDING * max(before, after)
    ]


def _bolt_turned(bolt: str, turns: float) -> str:
    """A turn of a bolt in words; turning in is positive."""
    return f"bolt {bolt} {abs(turns):g} turn {'in' if turns > 0 else 'out'}"


def _changes(book: RunBook, log: _Log) -> tuple[RunChange, ...]:
    """What was changed by the run sheet, where the line stopped or changed its speed, and settings by the log."""
    run, _ = sheets_of(book.store, book.head)
    told = [(f"{one.material} lot {one.lot}", one.from_m) for one in run.lots if one.from_m]
    told += [
        (", ".join(_bolt_turned(bolt, turns) for bolt, turns in one.turns.items()), one.at_m)
        for one in run.bolts_turned
    ]
    # The run begins and ends standing: that is no change within it.
    within = book.phases[1:-1]
    told += [("stop", row["from_m"]) for row in within if row["phase"] == PHASE_NAMES[STOP]]
    found = [RunChange(what, at_m, log.time_of(at_m)) for what, at_m in told]
    settings = [one for name in SETTINGS if name in log.frame.columns for one in _setting_changes(log, name)]
    speeds = [one.at_s for one in settings if one.what == PROCESS["line_speed_m_s"][0]]
    for row in within:
        # One that was held is told with both speeds; one that was not is told at its place.
        at_s = log.time_of(row["from_m"])
        is_told = any(abs(at_s - other) < HOLD_S for other in speeds)
        if row["phase"] == PHASE_NAMES[SPEED_CHANGE] and not is_told:
            found.append(RunChange("change of speed", row["from_m"], at_s))
    found += settings
    return tuple(sorted(found, key=lambda one: one.at_s))


def process_values(book: RunBook) -> ProcessValues | None:
    """The process values of a run that was placed on the wire; None where it logged none."""
    log = _log(book)
    line = sheets_of(book.store, book.head)[1]
    found = (_channel(log, name, line) for name in PROCESS if name in log.frame.columns)
    channels = tuple(one for one in found if one is not None)
    if not channels:
        return None
    return ProcessValues(aware(log.frame["time_utc"][0].replace(tzinfo=None)), channels, _changes(book, log))
