"""Which column of a log holds which channel: the mapping of the run sheet laid over the file's header."""

from __future__ import annotations

import csv
import difflib
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from zoneinfo import ZoneInfo

from pipeline.columns import CHANNEL_BY_NAME
from pipeline.errors import Complaint, LogError, ReelproofError
from pipeline.logs.instants import EPOCH_FORMATS, patterns
from pipeline.logs.local_time import find_zone
from pipeline.sheets.run_sheet import LogFile, LongTable
from pipeline.units import scale_and_offset

_NAMES_SHOWN = 24


@dataclass(frozen=True, slots=True)
class NumberColumn:
    """A column of numbers: stored = figure * factor + offset.

    Args:
        channel: our name of it.
        name: the log's name of it, or its tag in a long table.
        index: its place in the line, from 0; -1 in a long table.
        factor: factor to the unit of the store.
        offset: offset to the unit of the store.
    """

    channel: str
    name: str
    index: int
    factor: float
    offset: float


@dataclass(frozen=True, slots=True)
class TextColumn:
    """A column of text: its name in the log and its place in the line, from 0."""

    name: str
    index: int


@dataclass(frozen=True, slots=True)
class LogPlan:
    """How to read the lines of one file.

    Args:
        path: the file.
        is_events: True for a list of events.
        delimiter: column separator.
        decimal: decimal mark.
        width: number of columns.
        time: the column of time.
        date: the column of the date, where the time is only that of the day.
        time_format: how time is written.
        zone: zone of times without an offset.
        numbers: the mapped columns of numbers.
        classes: an event list's class column.
        tag, value, quality: the columns of a long table.
        long: how a long table names its values.
        missing: texts that stand for no value.
    """

    path: Path
    is_events: bool
    delimiter: str
    decimal: str
    width: int
    time: TextColumn | None
    date: TextColumn | None
    time_format: str
    zone: ZoneInfo
    numbers: tuple[NumberColumn, ...]
    classes: TextColumn | None
    tag: TextColumn | None
    value: TextColumn | None
    quality: TextColumn | None
    long: LongTable | None
    missing: tuple[str, ...]

    @property
    def may_lack_time(self) -> bool:
        """True for a list of events that gives lengths: an event without a time still has its place."""
        return self.is_events and any(one.channel == "counter_m" for one in self.numbers)


def header_cells(text: bytes, path: Path, log: LogFile) -> tuple[list[str], int, int]:
    """The column names of a log, the bytes they and all above take, and the number of lines above the data.

    Args:
        text: the beginning of the log.
        path: the file, for complaints.
        log: the mapping.

    Raises:
        LogError: there is no header.
    """
    lines = text.split(b"\n", log.header_line + 64)
    above = lines[: log.header_line - 1]
    # The header may itself stand below blank lines, and a quoted name may run over several lines.
    number = len(above)
    while number < len(lines) and not lines[number].strip():
        number += 1
    if number >= len(lines):
        raise LogError(
            Complaint(str(path), "the file is empty", "Name the right file, or take it out of the run sheet")
        )
    try:
        decoded = [line.decode("utf-8") for line in lines[number : number + 32]]
    except UnicodeDecodeError:
        raise LogError(
            Complaint(
                f"{path}:{number + 1}",
                f"the header is not {log.encoding} text",
                'Set the encoding in its mapping, for example encoding = "latin-1" or "cp1252"',
            )
        ) from None
    try:
        reader = csv.reader((line + "\n" for line in decoded), delimiter=log.delimiter)
        cells = next(reader)
        used = reader.line_num
    except csv.Error:
        cells, used = decoded[0].split(log.delimiter), 1
    taken = sum(len(line) + 1 for line in lines[: number + used])
    return [cell.strip() for cell in cells], min(taken, len(text)), number + used


def plan_columns(cells: list[str], where: str, path: Path, log: LogFile, zone: str) -> LogPlan:
    """The plan for a log with the column names `cells`.

    Args:
        cells: column names, from left to right.
        where: the place they stand at, for complaints.
        path: the file.
        log: the mapping.
        zone: the plant's zone, for a log that names none.

    Raises:
        LogError: with every column that is not there, stands twice, or has a wrong unit.
    """
    finder = _Finder(cells, where, log.delimiter)
    time = finder.column(log.time.column) if log.time else None
    numbers: list[NumberColumn] = []
    for channel, name, unit in mapped(log):
        index = -1 if log.long else finder.column(name).index
        if log.time is not None and name == log.time.column and not log.long:
            finder.complaints.append(
                Complaint(
                    where,
                    f"column '{name}' is mapped as the time and as {channel}",
                    "Name the column that holds the channel",
                )
            )
        try:
            factor, offset = scale_and_offset(
                unit, CHANNEL_BY_NAME[channel].unit, f"{path}: column '{name}' ({channel})"
            )
        except ReelproofError as fault:
            finder.complaints.extend(fault.complaints)
            continue
        numbers.append(NumberColumn(channel, name, index, factor, offset))
    if log.time is not None and log.time.format not in EPOCH_FORMATS:
        try:
            patterns(log.time.format)
        except ValueError as fault:
            finder.complaints.append(
                Complaint(f"{path}: time.format", str(fault), "Correct it in the mapping")
            )
    long = log.long
    plan = LogPlan(
        path=path,
        is_events=log.kind != "readings",
        delimiter=log.delimiter,
        decimal=log.decimal,
        width=len(cells),
        time=time,
        date=finder.column(log.time.date) if log.time and log.time.date else None,
        time_format=log.time.format if log.time else "",
        zone=find_zone((log.time.zone if log.time else None) or zone, f"{path}: time.zone"),
        numbers=tuple(numbers),
        classes=finder.column(log.classes) if log.classes else None,
        tag=finder.column(long.tag) if long else None,
        value=finder.column(long.value) if long else None,
        quality=finder.column(long.quality) if long and long.quality else None,
        long=long,
        missing=tuple(dict.fromkeys(("", *log.missing))),
    )
    if finder.complaints:
        raise LogError(finder.complaints)
    return plan


def mapped(log: LogFile) -> list[tuple[str, str, str]]:
    """Every mapped column of numbers as (channel, the log's name, unit), in our order of channels."""
    found = [(channel, one.column, one.unit) for channel, one in log.channels.items()]
    if log.walls is not None:
        found += [
            (f"wall_{number}_mm", name, log.walls.unit) for number, name in enumerate(log.walls.columns, 1)
        ]
    if log.at is not None and "counter_m" not in log.channels:
        found.append(("counter_m", log.at.column, log.at.unit))
    order = {name: place for place, name in enumerate(CHANNEL_BY_NAME)}
    return sorted(found, key=lambda one: order[one[0]])


class _Finder:
    """Looks up column names and collects what is not there."""

    def __init__(self, cells: list[str], where: str, delimiter: str) -> None:
        self.complaints: list[Complaint] = []
        self._cells = cells
        self._where = where
        self._delimiter = delimiter

    def column(self, name: str) -> TextColumn:
        count = self._cells.count(name)
        if count == 1:
            return TextColumn(name, self._cells.index(name))
        if count > 1:
            self.complaints.append(
                Complaint(
                    self._where,
                    f"{count} columns are named '{name}'",
                    "Give each its own name in the header, so that it is plain which is meant",
                )
            )
        elif len(self._cells) == 1:
            # Once: the other names are missing for the same reason.
            self.complaints = self.complaints or [
                Complaint(
                    self._where,
                    f"there is no column '{name}': cut at '{_shown(self._delimiter)}' the header is one "
                    f"column, '{self._cells[0][:80]}'",
                    "Set delimiter in the log's mapping, or header_line where the names stand further down; "
                    "'reelproof map' proposes both",
                )
            ]
        else:
            near = difflib.get_close_matches(name.lower(), [cell.lower() for cell in self._cells], 1, 0.5)
            nearest = next((cell for cell in self._cells if near and cell.lower() == near[0]), None)
            names = ", ".join(islice((f"'{cell}'" for cell in self._cells), _NAMES_SHOWN))
            more = f" and {len(self._cells) - _NAMES_SHOWN} more" if len(self._cells) > _NAMES_SHOWN else ""
            self.complaints.append(
                Complaint(
                    self._where,
                    f"there is no column '{name}'",
                    f"The nearest is '{nearest}'; correct the mapping if that is meant"
                    if nearest
                    else f"The columns are {names}{more}; correct the mapping",
                )
            )
        return TextColumn(name, 0)


def _shown(delimiter: str) -> str:
    return {"\t": "tab", " ": "space"}.get(delimiter, delimiter)
