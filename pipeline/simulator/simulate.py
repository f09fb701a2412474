"""Run a scenario: write its logs, sheets and truth to a folder.

The laboratory sample of a simulated run with a covering, which no instrument of the line sees by itself.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl

from pipeline.simulator.instruments import Instruments, Readings
from pipeline.simulator.logs_out import LOGGERS, LogWriter, flaw_frame, log_frame, spark_frame
from pipeline.simulator.randomness import stream
from pipeline.simulator.scenario import RunScenario
from pipeline.simulator.sensor_events import Event, Passings, counts_so_far
from pipeline.simulator.sheets_out import (
    line_sheet_text,
    log_files,
    plant_sheet_text,
    run_sheet_text,
    write_text,
)
from pipeline.simulator.speed import LineDrive, Motion
from pipeline.simulator.target_folder import check_seed, refuse_foreign_run, written_to
from pipeline.simulator.true_wire import MadeWire, TrueWire
from pipeline.simulator.truth import Truth, TruthKeeper, write_truth
from pipeline.trust.sampled import SAMPLE_TABLE
from pipeline.units import MM_PER_MIL, foot_from_m

# Invented: how far from the outer end of the run's first reel it is cut [m], and the laboratory's uncertainty [mm].
_FROM_OUTER_M = 3.048
_SD_MM = 0.00254


class CoveringSample:
    """The thinnest covering of one section near the outer end of the run's first reel, as a laboratory found it.

    Args:
        scenario: the run.
        seed: seed of the run.
    """

    def __init__(self, scenario: RunScenario, seed: int) -> None:
        self._scenario = scenario
        self._reel = scenario.reels[0] if scenario.reels and scenario.wire.covering else None
        end_m = self._reel.to_m if self._reel else 0.0
        self._at_m = end_m - scenario.line.take_up_station_m - _FROM_OUTER_M
        self._error_mm = _SD_MM * float(stream(seed, scenario.run_id, "samples").standard_normal())
        self._found_mm: float | None = None

    def see(self, made: MadeWire) -> None:
        """Look for the section on a piece of wire."""
        if self._reel is not None and made.s_m.size and made.s_m[0] <= self._at_m <= made.s_m[-1]:
            self._found_mm = float(np.interp(self._at_m, made.s_m, made.thinnest_covering_mm))

    @property
    def text(self) -> str:
        """The table of samples as CSV, "" where there is none."""
        if self._reel is None or self._found_mm is None:
            return ""
        value = self._found_mm + self._error_mm
        imperial = self._scenario.style == "us local"
        place = f"{foot_from_m(_FROM_OUTER_M):.0f}" if imperial else f"{_FROM_OUTER_M:g}"
        figures = (
            f"{value / MM_PER_MIL:.2f},{_SD_MM / MM_PER_MIL:g}" if imperial else f"{value:.4f},{_SD_MM:g}"
        )
        head = "at_ft,quantity,value_mil,sd_mil" if imperial else "at_m,quantity,value_mm,sd_mm"
        return (
            f"reel,{head},measured_by,instrument\n"
            f"{self._reel.id},{place},covering_mm,{figures},laboratory technician,measuring microscope\n"
        )


PLANT_NAME = "Demo plant"
ROWS_AT_ONCE = 20_000
OnProgress = Callable[[str, int], None]


@dataclass(frozen=True, slots=True)
class MadeReadings:
    """Some successive readings, metric, with the wire made and the events that happened meanwhile."""

    motion: Motion
    readings: Readings
    made: MadeWire
    events: list[Event]


def made_readings(
    scenario: RunScenario, seed: int, keeper: TruthKeeper, stops_m: list[float], rows_at_once: int
) -> Iterator[MadeReadings]:
    """Run the line piece by piece; what is remembered between pieces does not grow with the run."""
    drive = LineDrive(scenario.speed, scenario.interval_s, scenario.encoder_scale, seed, scenario.run_id)
    wire = TrueWire(scenario, seed)
    instruments = Instruments(scenario, seed)
    passings = Passings(scenario, seed)
    counts = 0
    for first in range(0, drive.rows, rows_at_once):
        motion = drive.take(min(rows_at_once, drive.rows - first))
        made = wire.make(motion)
        events = passings.during(motion)
        readings = instruments.read(motion, wire)
        if "spark_kv" in readings:
            readings["spark_counts"] = counts_so_far(events, motion.t_s, counts)
            counts += sum(one.kind == "spark fault" for one in events)
        keeper.see(motion, made, events)
        stops_m[:] = wire.stops_m
        yield MadeReadings(motion, readings, made, events)


def simulate_run(
    scenario: RunScenario,
    folder: Path,
    seed: int,
    on_progress: OnProgress | None = None,
    *,
    plant_folder: Path | None = None,
    level: int = 9,
) -> Truth:
    """Simulate one run and write `run.toml`, its logs, its laboratory sample and `truth.json` to `folder`.

    Args:
        scenario: the run.
        folder: folder of the run; made if it is not there.
        seed: seed; the same seed and scenario give the same bytes.
        on_progress: called with the run's id and how many more rows are written.
        plant_folder: folder with `plant.toml` and `lines/`, which the run sheet then names; without it both
            sheets are written beside the run sheet.
        level: gzip level of the logs.

    Returns:
        What is where on the wire.

    Raises:
        ReelproofError: the folder cannot be written, or holds a run that was not simulated.
    """
    check_seed(seed)
    refuse_foreign_run(folder)
    with written_to(folder):
        sample = CoveringSample(scenario, seed)
        truth, channels = _write_logs(scenario, folder, seed, on_progress, level, sample)
        if sample.text:
            write_text(folder / SAMPLE_TABLE, sample.text)
        # The truth first: a run sheet without it is taken for a real run and never written over.
        write_truth(truth, folder / "truth.json")
        _write_sheets(scenario, folder, plant_folder, channels)
    return truth


def _write_logs(
    scenario: RunScenario,
    folder: Path,
    seed: int,
    on_progress: OnProgress | None,
    level: int,
    sample: CoveringSample,
) -> tuple[Truth, tuple[str, ...]]:
    """Write the readings as they are made, then the event lists; the truth, and the channels logged."""
    keeper = TruthKeeper(scenario, seed)
    stops_m: list[float] = []
    rows = LineDrive(scenario.speed, scenario.interval_s, 1.0, seed, scenario.run_id).rows
    names = log_files(scenario)
    delimiter = LOGGERS[scenario.style].delimiter
    share = -(-rows // len(names["readings"]))
    events: list[Event] = []
    channels: tuple[str, ...] = ()
    with ExitStack() as files:
        writers = [
            files.enter_context(closing(LogWriter(folder / name, delimiter, level)))
            for name in names["readings"]
        ]
        for piece in made_readings(scenario, seed, keeper, stops_m, min(ROWS_AT_ONCE, share)):
            frame = log_frame(piece.readings, piece.motion.t_s, scenario)
            _share_out(frame, piece.motion.first_row, share, writers)
            events += piece.events
            sample.see(piece.made)
            channels = tuple(piece.readings)
            if on_progress:
                on_progress(scenario.run_id, piece.motion.t_s.size)
    written = {name: writer.rows for name, writer in zip(names["readings"], writers, strict=True)}
    written |= _write_events(scenario, folder, events, level)
    return keeper.truth(tuple(stops_m), written), channels


def _share_out(frame: pl.DataFrame, first_row: int, share: int, writers: list[LogWriter]) -> None:
    """Write the rows of `frame`, which begin at `first_row`, to the files of `share` rows each."""
    while frame.height:
        number = first_row // share
        room = share * (number + 1) - first_row
        writers[number].write(frame.head(room))
        frame, first_row = frame.slice(room), first_row + room


def _write_events(scenario: RunScenario, folder: Path, events: list[Event], level: int) -> dict[str, int]:
    """Write the event lists; a list without a line says that nothing was found."""
    names = log_files(scenario)
    frames = {names["spark faults"][0]: spark_frame(events, scenario)}
    if scenario.line.instrument("surface vision"):
        frames[names["surface flaws"][0]] = flaw_frame(events, scenario)
    for name, frame in frames.items():
        with closing(LogWriter(folder / name, LOGGERS[scenario.style].delimiter, level)) as writer:
            writer.write(frame)
    return {name: frame.height for name, frame in frames.items()}


def _write_sheets(
    scenario: RunScenario, folder: Path, plant_folder: Path | None, channels: tuple[str, ...]
) -> None:
    units = "imperial" if scenario.style == "us local" else "metric"
    if plant_folder is None:
        plant, line = "plant.toml", "line.toml"
        write_text(folder / plant, plant_sheet_text(PLANT_NAME, scenario.zone, units))
        write_text(folder / line, line_sheet_text(scenario.line))
    else:
        plant = Path(os.path.relpath(plant_folder / "plant.toml", folder)).as_posix()
        line = Path(os.path.relpath(plant_folder / "lines" / f"{scenario.line.id}.toml", folder)).as_posix()
    write_text(folder / "run.toml", run_sheet_text(scenario, PLANT_NAME, plant, line, channels))
