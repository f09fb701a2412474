"""One run as data: line, product, lots, reels, and the log files with the mapping of their columns."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import ConfigDict, Field, field_validator, model_validator

from pipeline.columns import CHANNEL_BY_NAME, MAX_WALL_SENSORS
from pipeline.products.conductors import METALS_SPELLED
from pipeline.sheets.toml_file import Sheet, read_sheet
from pipeline.units import m_from_foot

NotNegative = Annotated[float, Field(ge=0)]
# Ids become file names and page addresses, so they keep to letters, digits, dot, dash and underscore.
Identifier = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]*$", max_length=80)]
# Two counts of one wire that differ by more than this are a mistake of unit or figure (chosen here).
MARKS_APART = 0.05
LogKind = Literal["readings", "spark faults", "surface flaws"]


class ProductNamed(Sheet):
    """Which product was made.

    Args:
        construction: ``THHN/THWN-2`` or ``XHHW-2``.
        size: for example ``14 AWG``, ``1/0 AWG`` or ``500 kcmil``.
        conductor: how the conductor is made.
        metal: of which metal.
        colour: colour of the insulation.
    """

    construction: str
    size: str
    conductor: Literal["solid", "concentric", "compressed", "compact"]
    metal: Literal["copper", "aluminum"] = "copper"
    colour: str = ""

    @field_validator("metal", mode="before")
    @classmethod
    def _spelled(cls, given: Any) -> Any:
        return METALS_SPELLED.get(given, given) if isinstance(given, str) else given


class Covering(Sheet):
    """What is known of a covering that the wall gauge reads together with the insulation.

    Args:
        mean_mm: mean wall of the covering [mm], a stated assumption.
        uncertainty_mm: its standard uncertainty [mm].
        offset_mm: largest offset of the covering's own centre seen in cut samples [mm]; left out, it may be as great
            as the covering's mean wall, since a covering may be bare on one side.
        basis: where these figures come from.
    """

    mean_mm: Annotated[float, Field(gt=0)]
    uncertainty_mm: NotNegative
    offset_mm: NotNegative
    basis: str

    @model_validator(mode="before")
    @classmethod
    def _offset_not_seen(cls, given: Any) -> Any:
        if isinstance(given, dict) and "offset_mm" not in given and "mean_mm" in given:
            return {**given, "offset_mm": given["mean_mm"]}
        return given


class Lot(Sheet):
    """A material lot used in the run, over a stretch of the counter where it did not serve the whole run.

    Args:
        material: what it is.
        lot: its number.
        from_m: counter where it began [m]; from the start of the run where left out.
        to_m: counter where it ended [m]; to the end of the run where left out.
    """

    material: Literal["conductor", "insulation compound", "covering compound", "colour"]
    lot: str
    from_m: NotNegative | None = None
    to_m: NotNegative | None = None


class Reel(Sheet):
    """A take-up reel: its start and end [m], or in feet as ``from_ft`` and ``to_ft``.

    They are readings of the run's length counter at the take-up's changes, counted through any reset, unless the run
    sheet says ``reel_ends = "wire"``: then they are metres of wire from the first made.

    Args:
        id: the reel's number.
        from_m: where its wire begins [m], or ``from_ft`` in feet.
        to_m: where its wire ends [m], or ``to_ft`` in feet.
    """

    id: Identifier
    from_m: NotNegative
    to_m: NotNegative

    @model_validator(mode="before")
    @classmethod
    def _feet(cls, given: Any) -> Any:
        if not isinstance(given, dict) or not {"from_ft", "to_ft"} & set(given):
            return given
        both = [one for name in ("from_ft", "to_ft") if isinstance(one := given.get(name), int | float)]
        if {"from_m", "to_m"} & set(given) or len(both) < 2:
            raise ValueError("give a reel's ends as 'from_m' and 'to_m', or as 'from_ft' and 'to_ft'")
        kept = {name: value for name, value in given.items() if name not in ("from_ft", "to_ft")}
        return {**kept, "from_m": m_from_foot(both[0]), "to_m": m_from_foot(both[1])}

    @model_validator(mode="after")
    def _forward(self) -> Reel:
        if self.to_m <= self.from_m:
            raise ValueError(f"reel {self.id} ends at {self.to_m:g} m, not after its start {self.from_m:g} m")
        return self


class Mark(Sheet):
    """A footage mark that was read off the wire beside the take-up, or surveyed later.

    Args:
        counter_m: the run's length counter at the take-up when the mark was there [m], counted through any reset.
        printed: the length printed.
        unit: unit the printer counts in.
    """

    counter_m: NotNegative
    printed: NotNegative
    unit: Literal["m", "ft"] = "m"

    @property
    def printed_m(self) -> float:
        """The length printed [m]."""
        return self.printed if self.unit == "m" else m_from_foot(self.printed)


class BoltsTurned(Sheet):
    """One turn of centring bolts, as it was logged.

    Args:
        at_m: the run's length counter when it was done [m], counted through any reset.
        turns: turns of each bolt by its id on the line sheet; turning in is positive.
    """

    at_m: NotNegative
    turns: Annotated[dict[str, float], Field(min_length=1)]


class TimeColumn(Sheet):
    """How a log gives time.

    Args:
        column: name of the column.
        date: name of the column with the date, where `column` holds only the time of day.
        format: ``ISO 8601``, ``epoch s``, ``epoch ms``, ``epoch us`` or a strptime pattern; with `date`, of the date,
            a space and the time of day.
        zone: IANA zone of local times without an offset; the plant's zone where it is left out.
    """

    column: str
    date: str | None = None
    format: str = "ISO 8601"
    zone: str | None = None


class MappedColumn(Sheet):
    """A log column that holds one of our channels.

    Args:
        column: name of the column in the log.
        unit: unit the log gives it in; any unit that converts to the channel's.
    """

    column: str
    unit: str = ""


class MappedWalls(Sheet):
    """The log columns of the wall sensors, in order of angle, with their one unit.

    Args:
        columns: heads of the sensors' columns in the log, in order of angle.
        unit: the one unit of them all.
    """

    columns: tuple[str, ...]
    unit: str


class LongTable(Sheet):
    """How a long table gives readings: one value a line, named by a tag.

    The ``column`` of a mapped channel, and the wall ``columns``, are then tags.

    Args:
        tag: name of the column that holds the tag.
        value: name of the column that holds the value.
        quality: name of the column that says how good the value is.
        good: texts of that column that stand for a good value.
        slot_s: lines whose times fall into the same slot of this many seconds form one reading; 0 where the
            lines of one reading carry exactly the same time.
    """

    tag: str
    value: str
    quality: str | None = None
    good: tuple[str, ...] = ("Good", "good", "GOOD", "192", "0")
    slot_s: NotNegative = 0.0


class LogFile(Sheet):
    """One log of the run: one file, or several in sequence that continue each other.

    Args:
        kind: readings, or a list of events.
        files: paths relative to the run sheet.
        delimiter: column separator.
        decimal: decimal mark.
        encoding: text encoding; a byte order mark at the start of the file goes before it.
        header_line: number of the line that names the columns; lines above it are passed over.
        time: the time column; may be left out of an event list that gives lengths.
        at: an event list's length column.
        walls: wall sensors.
        channels: our channel name -> log column.
        classes: an event list's class column.
        long: for a log with one value a line, how it names them.
        missing: texts that stand for no value.
    """

    # A tab is a delimiter, so white space is kept here.
    model_config = ConfigDict(str_strip_whitespace=False)

    kind: LogKind
    files: Annotated[tuple[str, ...], Field(min_length=1)]
    delimiter: Annotated[str, Field(min_length=1, max_length=1)] = ","
    decimal: Literal[".", ","] = "."
    encoding: str = "utf-8"
    header_line: Annotated[int, Field(ge=1)] = 1
    time: TimeColumn | None = None
    at: MappedColumn | None = None
    walls: MappedWalls | None = None
    channels: dict[str, MappedColumn] = Field(default_factory=dict)
    classes: str | None = None
    long: LongTable | None = None
    missing: tuple[str, ...] = ("", "NaN", "nan", "NA", "N/A", "null", "---")

    @model_validator(mode="after")
    def _whole(self) -> LogFile:
        unknown = sorted(set(self.channels) - set(CHANNEL_BY_NAME))
        if unknown:
            raise ValueError(
                f"'{unknown[0]}' is not a channel; it may be {', '.join(n for n in CHANNEL_BY_NAME)}"
            )
        if self.kind == "readings" and self.time is None:
            raise ValueError("a log of readings needs a 'time' column")
        if self.kind != "readings" and self.time is None and self.at is None:
            raise ValueError("a list of events needs a 'time' column or an 'at' column")
        if self.kind == "readings" and not self.channels and self.walls is None:
            raise ValueError("no column of this log is mapped: give [logs.channels] or 'walls'")
        if self.delimiter == self.decimal or self.delimiter in '"\n\r':
            raise ValueError(f"the delimiter cannot be {self.delimiter!r}, it has another meaning here")
        if self.long is not None and self.kind != "readings":
            raise ValueError("a list of events cannot be a long table; take 'long' out")
        if self.walls is not None and len(self.walls.columns) > MAX_WALL_SENSORS:
            raise ValueError(f"'walls' may name {MAX_WALL_SENSORS} columns at most")
        doubled = sorted({f"wall_{n}_mm" for n in range(1, self.wall_sensors + 1)} & set(self.channels))
        if doubled:
            raise ValueError(f"'{doubled[0]}' is mapped twice, in 'walls' and in [logs.channels]")
        return self

    @property
    def wall_sensors(self) -> int:
        """Number of wall sensors mapped together by ``walls``."""
        return 0 if self.walls is None else len(self.walls.columns)


class RunSheet(Sheet):
    """A run as its sheet describes it.

    For tuning only, and may be left out: bolts turned, whether a control moved the settings by the wall, and whether
    the run was a trial of settings, which teaches responses but is not how the line usually runs.

    Args:
        id: the run's number.
        plant: the plant.
        plant_sheet: path of the plant's sheet, from this one.
        line: the line's number.
        line_sheet: path of the line's sheet, from this one.
        shift: day and name of the shift, as ``2026-03-03 evening``.
        operator_role: role of who ran it; no person's name.
        product: what was made.
        covering: what the nylon is, where a gauge sees insulation and nylon together.
        lots: material lots that went in.
        reels: reels taken up, each with its ends.
        reel_ends: what counts the reels' ends: the line's ``counter``, or metres of ``wire`` from the first made.
        logs: the log files, each with its mapping.
        marks: printed footage marks read at a counter's reading.
        bolts_turned: centring bolts turned in the run.
        wall_control: whether a control moved the settings by the wall.
        trial: whether the run was a trial of settings.
        note: what else a reader should know.
    """

    id: Identifier
    plant: str
    plant_sheet: str
    line: str
    line_sheet: str
    shift: str
    operator_role: str
    product: ProductNamed
    covering: Covering | None = None
    lots: tuple[Lot, ...] = ()
    reels: tuple[Reel, ...]
    reel_ends: Literal["counter", "wire"] = "counter"
    logs: Annotated[tuple[LogFile, ...], Field(min_length=1)]
    marks: tuple[Mark, ...] = ()
    bolts_turned: tuple[BoltsTurned, ...] = ()
    wall_control: Literal["on", "off"] | None = None
    trial: bool = False
    note: str = ""

    @model_validator(mode="after")
    def _marks_rise(self) -> RunSheet:
        if not self.marks:
            return self
        if len(self.marks) < 2:
            raise ValueError("one footage mark relates nothing: give two of 'marks' or more, or none")
        for before, after in pairwise(self.marks):
            counted, printed = after.counter_m - before.counter_m, after.printed_m - before.printed_m
            if counted <= 0 or printed <= 0:
                raise ValueError(
                    f"the footage marks do not rise from counter {before.counter_m:g} m to {after.counter_m:g} m; "
                    "give them in the order they were made"
                )
            if abs(printed / counted - 1.0) > MARKS_APART:
                raise ValueError(
                    f"from counter {before.counter_m:g} m to {after.counter_m:g} m the footage marks count "
                    f"{printed:g} m where the counter counts {counted:g} m; check 'unit' of the marks, and the figures"
                )
        return self

    @model_validator(mode="after")
    def _whole(self) -> RunSheet:
        names = [reel.id for reel in self.reels]
        alike = [name.lower() for name in names]
        twice = sorted({name for name in names if alike.count(name.lower()) > 1})
        if twice:
            raise ValueError(f"reel {', '.join(twice)} stands more than once")
        ordered = sorted(self.reels, key=lambda reel: reel.from_m)
        for before, after in pairwise(ordered):
            if after.from_m < before.to_m:
                raise ValueError(
                    f"reels {before.id} and {after.id} overlap: {before.id} ends at {before.to_m:g} m, "
                    f"{after.id} starts at {after.from_m:g} m"
                )
        if not any(log.kind == "readings" for log in self.logs):
            raise ValueError("a run needs at least one log of kind 'readings'")
        return self


class _RunFile(Sheet):
    run: RunSheet


def read_run_sheet(path: Path) -> RunSheet:
    """The run sheet in the TOML file `path`.

    Raises:
        SheetError: the sheet cannot be read or is not whole.
    """
    return read_sheet(path, _RunFile).run
