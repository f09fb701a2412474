"""One run as data: line, product, lots, reels, and the log files with the mapping of their columns."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, model_validator

from pipeline.columns import CHANNEL_BY_NAME
from pipeline.sheets.toml_file import Sheet, read_sheet

NotNegative = Annotated[float, Field(ge=0)]
# Ids become file names and page addresses, so they keep to letters, digits, dot, dash and underscore.
Identifier = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]*$", max_length=80)]
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
    metal: Literal["copper", "aluminium"] = "copper"
    colour: str = ""


class Covering(Sheet):
    """What is known of a covering that the wall gauge reads together with the insulation.

    Args:
        mean_mm: mean wall of the covering [mm], a stated assumption.
        uncertainty_mm: its standard uncertainty [mm].
        offset_mm: largest offset of the covering's own centre seen in cut samples [mm].
        basis: where these figures come from.
    """

    mean_mm: Annotated[float, Field(gt=0)]
    uncertainty_mm: NotNegative
    offset_mm: NotNegative = 0.0
    basis: str


class Lot(Sheet):
    """A material lot used in the run, over a stretch of the counter where it did not serve the whole run."""

    material: Literal["conductor", "insulation compound", "covering compound", "colour"]
    lot: str
    from_m: NotNegative | None = None
    to_m: NotNegative | None = None


class Reel(Sheet):
    """A take-up reel: start and end on the run's length counter [m], counted through any reset."""

    id: Identifier
    from_m: NotNegative
    to_m: NotNegative

    @model_validator(mode="after")
    def _forward(self) -> Reel:
        if self.to_m <= self.from_m:
            raise ValueError(f"reel {self.id} ends at {self.to_m:g} m, not after its start {self.from_m:g} m")
        return self


class TimeColumn(Sheet):
    """How a log gives time.

    Args:
        column: name of the column.
        format: ``ISO 8601``, ``epoch s``, ``epoch ms``, ``epoch us`` or a strptime pattern.
        zone: IANA zone of local times without an offset; the plant's zone where it is left out.
    """

    column: str
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
    """The log columns of the wall sensors, in order of angle, with their one unit."""

    columns: tuple[str, ...]
    unit: str


class LogFile(Sheet):
    """One log of the run: one file, or several in sequence that continue each other.

    Args:
        kind: readings, or a list of events.
        files: paths relative to the run sheet.
        delimiter: column separator.
        decimal: decimal mark.
        encoding: text encoding.
        time: the time column; may be left out of an event list that gives lengths.
        at: an event list's length column.
        walls: wall sensors.
        channels: our channel name -> log column.
        classes: an event list's class column.
        missing: texts that stand for no value.
    """

    kind: LogKind
    files: Annotated[tuple[str, ...], Field(min_length=1)]
    delimiter: Annotated[str, Field(min_length=1, max_length=1)] = ","
    decimal: Literal[".", ","] = "."
    encoding: str = "utf-8"
    time: TimeColumn | None = None
    at: MappedColumn | None = None
    walls: MappedWalls | None = None
    channels: dict[str, MappedColumn] = Field(default_factory=dict)
    classes: str | None = None
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
        return self


class RunSheet(Sheet):
    """A run as its sheet describes it."""

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
    logs: Annotated[tuple[LogFile, ...], Field(min_length=1)]
    note: str = ""

    @model_validator(mode="after")
    def _whole(self) -> RunSheet:
        names = [reel.id for reel in self.reels]
        twice = sorted({name for name in names if names.count(name) > 1})
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
