"""Step one: a run sheet and its logs become typed readings, kept as logged.

Nothing is judged here. Every line of every log is either a kept row or a line set aside with its reason.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from pipeline.errors import Complaint, LogError, ReelproofError, SheetError
from pipeline.logs.log_rows import NOTHING_BEFORE, FilesBefore
from pipeline.logs.run_logs import LoadedRun, read_logs
from pipeline.products.covering import covering_complaints
from pipeline.products.product import Product, find_product
from pipeline.regular_file import text_of_file
from pipeline.sheets.line_sheet import LineSheet, read_line_sheet
from pipeline.sheets.log_files import with_files_found
from pipeline.sheets.plant_sheet import PlantSheet, read_plant_sheet
from pipeline.sheets.run_sheet import LogFile, RunSheet, read_run_sheet
from pipeline.words import counted

# A night shift belongs to the day before or after; a shift further from its log is a slip of one or the other.
SHIFT_BEFORE = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class SheetText:
    """A sheet as it stood: its hash, kind, file name and text."""

    sha256: str
    kind: str
    name: str
    text: str


@dataclass(frozen=True, slots=True)
class RunSheets:
    """The three sheets a run stands on, checked.

    Args:
        folder: folder of the run sheet; log files are named relative to it.
        run: the run sheet, with the files that its patterns found.
        line: the line sheet it names.
        plant: the plant sheet it names.
        product: the product made.
        texts: the sheets' texts, in the order run, line, plant.
    """

    folder: Path
    run: RunSheet
    line: LineSheet
    plant: PlantSheet
    product: Product
    texts: tuple[SheetText, SheetText, SheetText]

    @property
    def files(self) -> tuple[tuple[LogFile, Path], ...]:
        """Every log file in the order of its number, with its mapping."""
        return tuple((log, self.folder / name) for log in self.run.logs for name in log.files)

    @property
    def plant_path(self) -> Path:
        """Where the plant sheet stands, without steps back."""
        return Path(os.path.normpath(self.folder / self.run.plant_sheet))

    def content_sha256(self, file_hashes: Iterable[str]) -> str:
        """The identity of a load: hash over what the logs are read by, and the hashes of what is read of them.

        The plant sheet is not in it: a new limit is a new judgement, not a new load. Its zone reads the times.
        """
        names = [*(text.sha256 for text in self.texts[:2]), self.plant.plant.zone]
        return hashlib.sha256("".join([*names, *file_hashes]).encode()).hexdigest()


def find_run_sheets(paths: tuple[Path, ...], unread: list[Complaint] | None = None) -> tuple[Path, ...]:
    """Every run sheet named by `paths`: a sheet itself, or a folder with ``run.toml`` files below it.

    Args:
        paths: sheets and folders.
        unread: gets a complaint for each folder below that may not be read, so that the others go on.

    Raises:
        SheetError: a path is not there, or a folder holds no run sheet.
    """
    found: list[Path] = []
    complaints: list[Complaint] = []
    for path in paths:
        if path.is_file():
            found.append(path)
        elif path.is_dir():
            below, not_read = run_sheets_below(path)
            found.extend(below)
            (complaints if unread is None else unread).extend(not_read)
            if not below and not not_read:
                complaints.append(
                    Complaint(
                        str(path),
                        "no run.toml is in this folder or below it",
                        "Name a run sheet, or a folder that holds run folders",
                    )
                )
        else:
            pipe, nothing = "this is a pipe or a device, not a file", "there is no such file or folder"
            complaints.append(
                Complaint(str(path), pipe if path.exists() else nothing, "Check the path and try again")
            )
    if complaints:
        raise SheetError(complaints)
    return tuple(dict.fromkeys(found))


def run_sheets_below(folder: Path) -> tuple[list[Path], list[Complaint]]:
    """The run sheets in a folder and below it, in order, and a complaint for each folder that may not be read."""
    found: list[Path] = []
    unread: list[Complaint] = []

    def not_read(fault: OSError) -> None:
        unread.append(
            Complaint(
                str(fault.filename or folder),
                f"this folder cannot be read ({fault.strerror})",
                "Ask for read permission: a run in it would be passed over",
            )
        )

    for top, folders, names in os.walk(folder, onerror=not_read):
        folders.sort()
        if "run.toml" in names:
            found.append(Path(top) / "run.toml")
    return sorted(found), unread


def text_sha256(text: str) -> str:
    """Hash of a sheet's text as UTF-8, without a byte order mark, hexadecimal."""
    return hashlib.sha256(text.encode()).hexdigest()


def text_of(path: Path, kind: str) -> SheetText:
    """The text of the sheet in `path`, with its hash."""
    try:
        text = text_of_file(path)
    except (OSError, UnicodeDecodeError) as fault:
        # It was read a moment ago.
        raise SheetError(
            Complaint(str(path), f"it changed while it was read ({fault})", "Run the same command again")
        ) from None
    return SheetText(text_sha256(text), kind, path.name, text)


def read_run_sheets(path: Path) -> RunSheets:
    """The run sheet `path` with the line and plant sheets it names, checked as a whole.

    Raises:
        SheetError: with every complaint about the three sheets and the files they name.
    """
    folder = path.parent
    run, complaints = with_files_found(read_run_sheet(path), path)
    line: LineSheet | None = None
    plant: PlantSheet | None = None
    product: Product | None = None
    try:
        line = read_line_sheet(folder / run.line_sheet)
    except ReelproofError as fault:
        complaints.extend(fault.complaints)
    try:
        plant = read_plant_sheet(folder / run.plant_sheet)
    except ReelproofError as fault:
        complaints.extend(fault.complaints)
    try:
        wanted = run.product
        product = find_product(wanted.construction, wanted.size, wanted.conductor, wanted.metal)
    except ReelproofError as fault:
        complaints.extend(
            Complaint(f"{path}: run.product", one.found, one.remedy) for one in fault.complaints
        )
    if line is not None:
        complaints.extend(_disagreements(path, run, line))
    if product is not None and run.covering is not None:
        complaints.extend(covering_complaints(product, run.covering.mean_mm, f"{path}: run.covering.mean_mm"))
    if plant is not None and plant.plant.name != run.plant:
        complaints.append(
            Complaint(
                f"{path}: run.plant",
                f"the run is of plant '{run.plant}' and its plant sheet is of '{plant.plant.name}'",
                "Correct 'plant' or 'plant_sheet': limits and clocks are that plant's",
            )
        )
    if complaints or line is None or plant is None or product is None:
        raise SheetError(complaints)
    texts = (
        text_of(path, "run"),
        text_of(folder / run.line_sheet, "line"),
        text_of(folder / run.plant_sheet, "plant"),
    )
    return RunSheets(folder, run, line, plant, product, texts)


def _disagreements(path: Path, run: RunSheet, line: LineSheet) -> list[Complaint]:
    complaints = []
    if line.id != run.line:
        complaints.append(
            Complaint(
                f"{path}: run.line",
                f"the run names line '{run.line}' but its line sheet is of line '{line.id}'",
                "Correct 'line' or 'line_sheet'",
            )
        )
    gauge = line.instrument("wall gauge")
    mapped = {len(log.walls.columns) for log in run.logs if log.walls is not None}
    if gauge is not None and gauge.sensors is not None and mapped - {gauge.sensors}:
        complaints.append(
            Complaint(
                f"{path}: run.logs.walls",
                f"{max(mapped)} wall columns are mapped but gauge '{gauge.id}' has {counted(gauge.sensors, 'sensor')}",
                "Map one column a sensor, in order of angle",
            )
        )
    if gauge is not None and gauge.sees == "insulation and covering" and run.covering is None:
        complaints.append(
            Complaint(
                f"{path}: run.covering",
                f"gauge '{gauge.id}' sees insulation and covering together, and nothing is said of the covering",
                "Add [run.covering] with mean_mm, uncertainty_mm, offset_mm and basis",
            )
        )
    return complaints


@dataclass(frozen=True, slots=True)
class Loaded:
    """A run as logged.

    Args:
        sheets: what it stands on.
        logs: readings, events, flags, lines set aside and files.
        started: first instant logged (UTC, no zone).
        ended: last instant logged (UTC, no zone).
        shift_date: the day the shift belongs to.
        shift: the shift's name without its day.
    """

    sheets: RunSheets
    logs: LoadedRun
    started: datetime
    ended: datetime
    shift_date: date
    shift: str


def load_run(
    sheets: RunSheets,
    on_rows: Callable[[int], None] | None = None,
    scratch: Path | None = None,
    before: FilesBefore = NOTHING_BEFORE,
) -> Loaded:
    """Read every log of the run `sheets` describes.

    Args:
        sheets: the run's sheets, checked.
        on_rows: told how many more rows were read, for a progress bar.
        scratch: a folder with room for the logs unpacked, where they may not fit into memory.
        before: what is known of the files before they are read.

    Raises:
        LogError: a log cannot be read as its mapping says, holds no reading at all, or is of other days than the shift.
    """
    zone = sheets.plant.plant.zone
    logs = read_logs(sheets.run, sheets.line, sheets.folder, zone, on_rows, scratch, before)
    if logs.readings.height == 0:
        raise LogError(
            Complaint(
                ", ".join(file.name for file in logs.files if file.kind == "readings"),
                "these logs hold no reading",
                "Check that the right files are named, and that the line was logging",
            )
        )
    times = logs.readings["time_utc"]
    started, ended = times.min(), times.max()
    assert isinstance(started, datetime)  # noqa: S101 - tells the type checker what the data dictionary says
    assert isinstance(ended, datetime)  # noqa: S101
    days = [one.astimezone(ZoneInfo(zone)).date() for one in (started, ended)]
    shift_date, shift = shift_of(sheets.run.shift, days[0])
    if not days[0] - SHIFT_BEFORE <= shift_date <= days[1] + SHIFT_BEFORE:
        raise LogError(
            Complaint(
                f"run {sheets.run.id}: run.shift",
                f"the shift is of {shift_date} and the logs run from {days[0]} to {days[1]}",
                "Correct the shift's day, or 'format' and 'zone' of the time column; the limits are those of that day",
            )
        )
    return Loaded(sheets, logs, started.replace(tzinfo=None), ended.replace(tzinfo=None), shift_date, shift)


def shift_of(written: str, first_day: date) -> tuple[date, str]:
    """Day and name of a shift as a run sheet writes it: ``2026-03-03 night``, or the name alone.

    A run of a night shift may start after midnight; then only the sheet knows the shift's day, and it is
    written first. Where it is left out the day the run started is taken.
    """
    head, _, name = written.partition(" ")
    try:
        return date.fromisoformat(head), name.strip() or head
    except ValueError:
        return first_day, written
