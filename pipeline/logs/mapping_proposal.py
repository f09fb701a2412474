"""A mapping proposed for an unknown log: what a person confirms or corrects before the log is used."""

from __future__ import annotations

import json
import re
import tomllib
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from pipeline.columns import CHANNEL_BY_NAME
from pipeline.errors import LogError
from pipeline.logs.column_guess import (
    US_UNITS,
    ColumnGuess,
    LongGuess,
    guess_channel,
    guess_long,
    guess_unit,
    guess_walls,
    unit_by_name,
)
from pipeline.logs.file_look import FileLook, look_at
from pipeline.logs.log_rows import log_source
from pipeline.logs.parse_block import AWARE, TIME_US
from pipeline.logs.time_guess import TimeGuess, guess_time
from pipeline.logs.unit_products import fitted_units
from pipeline.sheets.run_sheet import LogFile

PREVIEW_ROWS = 8
_EVENT_NAMES = (
    ("surface flaws", r"flaw|defect|lump|neck|vision|surface"),
    ("spark faults", r"spark|fault|hv|holiday"),
)


@dataclass(frozen=True, slots=True)
class MappingProposal:
    """A mapping to look at.

    Args:
        look: what the file looks like.
        kind: readings, or which events.
        time: the column of time; None if there is none.
        columns: every other column, with channel and unit where they could be guessed.
        toml: the mapping as a part of a run sheet, with the doubts as comments.
        preview: the first rows as they would be read, in the units of the store; empty if they cannot be read.
        doubts: what a person should look at.
    """

    look: FileLook
    kind: str
    time: TimeGuess | None
    columns: tuple[ColumnGuess, ...]
    toml: str
    preview: pl.DataFrame
    doubts: tuple[str, ...]


def propose_mapping(path: Path, zone: str = "UTC") -> MappingProposal:
    """A mapping for the log `path`, by looking at it.

    Args:
        path: the log.
        zone: the plant's zone, for the preview of local times.

    Raises:
        LogError: the file cannot be opened, is no text, or holds no table.
    """
    look = look_at(path)
    time = guess_time(look)
    long = guess_long(look, set() if time is None else {time.place, time.date_place})
    columns = _guess_columns(_figures(look, time, long), look.cells.height > 0)
    kind = "readings" if long else _kind_of(look, columns, has_time=time is not None)
    doubts = [*look.doubts]
    if time is None:
        doubts.append(
            "No column reads as time; name it under 'time'."
            if kind == "readings"
            else "No column reads as time; the events are placed by their length."
        )
    elif time.doubt:
        doubts.append(f"Column '{look.names[time.place]}': {time.doubt}")
    first_wall = next((one for one in columns if one.channel and one.channel.startswith("wall_")), None)
    doubts += [
        f"Column '{one.name}': {one.doubt}"
        for one in columns
        if one.doubt and (one is first_wall or not (one.channel or "").startswith("wall_"))
    ]
    toml = _toml(look, kind, time, long, columns)
    rows = _first_rows(path, toml, zone)
    fitted, told = fitted_units(rows, columns)
    if fitted != columns:
        changed = {one.name for one, was in zip(fitted, columns, strict=True) if one != was}
        doubts = [one for one in doubts if not any(one.startswith(f"Column '{name}':") for name in changed)]
        columns, toml = fitted, _toml(look, kind, time, long, fitted)
        rows = _first_rows(path, toml, zone)
    return MappingProposal(look, kind, time, columns, toml, rows.head(PREVIEW_ROWS), (*doubts, *told))


def _figures(look: FileLook, time: TimeGuess | None, long: LongGuess | None) -> dict[str, float | None]:
    """Middle figure of every column by its name, or of every tag of a long table."""
    if long is None:
        skip = set() if time is None else {time.place, time.date_place}
        return {
            name: _middle(look.cells[f"c{place}"], look.decimal)
            for place, name in enumerate(look.names)
            if place not in skip
        }
    tags = look.cells.select(tag=f"c{long.tag}", value=f"c{long.value}").filter(pl.col("tag") != "")
    return {
        part["tag"][0]: _middle(part["value"], look.decimal)
        for part in tags.partition_by("tag", maintain_order=True)
    }


def _guess_columns(figures: dict[str, float | None], has_rows: bool) -> tuple[ColumnGuess, ...]:
    names = tuple(figures)
    walls = guess_walls(names)
    named = [unit_by_name(name) for name in names]
    us = sum(unit in US_UNITS for unit in named)
    prefers_us = us > sum(unit is not None for unit in named) - us
    taken: set[str] = set()
    guesses = []
    for name, middle in figures.items():
        channel = f"wall_{walls.index(name) + 1}_mm" if name in walls else guess_channel(name)
        if channel is None or channel in taken or (middle is None and has_rows):
            guesses.append(ColumnGuess(name, None, "", middle, ""))
            continue
        taken.add(channel)
        unit, doubt = guess_unit(channel, name, middle, prefers_us)
        guesses.append(ColumnGuess(name, channel, unit, middle, doubt))
    return tuple(guesses)


def _middle(cells: pl.Series, decimal: str) -> float | None:
    texts = cells.filter(cells != "")
    if decimal == ",":
        texts = texts.str.replace(",", ".", literal=True)
    figures = texts.cast(pl.Float64, strict=False).drop_nulls().drop_nans()
    if figures.len() == 0 or figures.len() < 0.8 * texts.len():
        return None
    middle = figures.median()
    return float(middle) if isinstance(middle, int | float) else None


def _kind_of(look: FileLook, columns: tuple[ColumnGuess, ...], *, has_time: bool) -> str:
    channels = {one.channel for one in columns if one.channel}
    gauges = {name for name in channels if name.startswith(("wall_", "diameter_", "hot_", "melt_", "line_"))}
    if gauges:
        return "readings"
    words = " ".join((look.path.name, *look.names)).lower()
    for kind, pattern in _EVENT_NAMES:
        if re.search(pattern, words):
            return kind
    # Readings carry times; lengths with voltages and no times are a spark tester's list.
    return "spark faults" if not has_time and {"counter_m", "spark_kv"} <= channels else "readings"


def _quoted(text: str) -> str:
    """`text` as a basic string of TOML, whose escapes are those of JSON but for DEL."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007F")


def _remark(text: str) -> str:
    """`text` as the rest of a comment of TOML, which holds no control characters."""
    return "# " + re.sub(r"[\x00-\x08\x0a-\x1f\x7f]", "?", text)


def _toml(
    look: FileLook,
    kind: str,
    time: TimeGuess | None,
    long: LongGuess | None,
    columns: tuple[ColumnGuess, ...],
) -> str:
    lines = [*_file_lines(look, kind), *_time_lines(look, time)]
    if long is not None:
        quality = "" if long.quality is None else f", quality = {_quoted(look.names[long.quality])}"
        names = f"tag = {_quoted(look.names[long.tag])}, value = {_quoted(look.names[long.value])}{quality}"
        lines.append(f"long = {{ {names} }}  # The columns below are its tags.")
    at = next((one for one in columns if one.channel == "counter_m"), None) if kind != "readings" else None
    if at is not None:
        lines += _with_doubt(f"at = {{ column = {_quoted(at.name)}, unit = {_quoted(at.unit)} }}", at.doubt)
    classes = next((one for one in columns if re.search(r"class|klasse|type|kind", one.name.lower())), None)
    if kind == "readings":
        classes = None
    elif classes is not None:
        lines.append(f"classes = {_quoted(classes.name)}")
    walls = sorted((one for one in columns if (one.channel or "").startswith("wall_")), key=_number)
    if walls:
        names = ", ".join(_quoted(one.name) for one in walls)
        lines += _with_doubt(
            f"walls = {{ columns = [{names}], unit = {_quoted(walls[0].unit)} }}",
            walls[0].doubt or "In order of angle from the first sensor.",
        )
    others = [one for one in columns if one not in walls and one not in (at, classes)]
    return "\n".join([*lines, "", "[run.logs.channels]", *_channel_lines(others)]) + "\n"


def _channel_lines(columns: list[ColumnGuess]) -> list[str]:
    lines = []
    for one in columns:
        if one.channel is None:
            if not one.name:
                continue
            shown = "" if one.middle is None else f", {one.middle:.4g} in the middle"
            lines.append(_remark(f"not mapped: {one.name}{shown}"))
        else:
            text = f"{one.channel} = {{ column = {_quoted(one.name)}, unit = {_quoted(one.unit)} }}"
            lines += _with_doubt(text, one.doubt)
    return lines


def _file_lines(look: FileLook, kind: str) -> list[str]:
    lines = [
        "# Proposed from the file; check every line against what the instruments really give.",
        "[[run.logs]]",
        f"kind = {_quoted(kind)}",
        f"files = [{_quoted(look.path.name)}]",
    ]
    if look.delimiter != ",":
        lines.append(f"delimiter = {_quoted(look.delimiter)}")
    if look.decimal != ".":
        lines.append(f"decimal = {_quoted(look.decimal)}")
    if look.encoding not in {"", "utf-8"}:
        lines.append(f"encoding = {_quoted(look.encoding)}")
    if look.header_line != 1:
        lines.append(f"header_line = {look.header_line}")
    return lines


def _time_lines(look: FileLook, time: TimeGuess | None) -> list[str]:
    if time is None:
        return ['# time = { column = "?", format = "ISO 8601" }  # No column reads as time.']
    date = "" if time.date_place is None else f"date = {_quoted(look.names[time.date_place])}, "
    text = (
        f"time = {{ column = {_quoted(look.names[time.place])}, {date}format = {_quoted(time.time_format)} }}"
    )
    if not time.aware and re.search(r"utc|gmt", look.names[time.place].lower()):
        return _with_doubt(f'{text[:-2]}, zone = "UTC" }}', time.doubt)
    if not time.aware:
        return _with_doubt(
            text, f'{time.doubt} Add zone = "..." if the clock is not in the plant\'s zone.'.strip()
        )
    return [text]


def _with_doubt(text: str, doubt: str) -> list[str]:
    return [text if not doubt else f"{text}  {_remark(doubt)}"]


def _number(one: ColumnGuess) -> int:
    return int(re.sub(r"\D", "", one.channel or "") or 0)


def _first_rows(path: Path, toml: str, zone: str) -> pl.DataFrame:
    """The first rows as the proposed mapping reads them."""
    try:
        log = LogFile.model_validate(tomllib.loads(toml)["run"]["logs"][0])
    except ValueError:
        # Nothing is mapped, or there is no time: there is nothing to show yet.
        return pl.DataFrame()
    source = log_source(path, log, zone)
    blocks = source.blocks()
    try:
        rows = next(blocks, None)
    except LogError:
        return pl.DataFrame()
    finally:
        blocks.close()
    if rows is None:
        return pl.DataFrame()
    head = rows.rows
    if TIME_US in head.columns:
        head = head.with_columns(pl.col(TIME_US).cast(pl.Datetime("us"))).rename({TIME_US: "time"})
    ordered = [name for name in CHANNEL_BY_NAME if name in head.columns]
    others = [name for name in head.columns if name not in CHANNEL_BY_NAME and name != AWARE]
    return head.select(*others, *ordered)
