"""How one value stands on a construction sheet: with unit, range, source and how sure it is."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from pipeline.products.source_standing import BLANK, SourceStanding
from pipeline.products.table_rows import Figure, Source, source_named, where_seen

# Figures from memory name no document; each says so in its standing.
_NO_DOCUMENT = "MEM"
_SHORT_NAME = re.compile(r"\bS\d+[a-z]?\b")


@dataclass(frozen=True, slots=True)
class SheetLine:
    """One line of a construction sheet.

    Args:
        section: heading it stands under.
        name: what the value is.
        value: the value in `unit`; None where none is on file, and `note` says why.
        low: low end of its range; None with `value`.
        high: high end of its range; None with `value`.
        unit: unit of this program.
        record: the value as its document prints it, "" for a worked-out value.
        document: document, edition and table; "" where none was seen.
        sources: short names of the sources.
        standing: how sure it is.
        note: formula, assumption or caution.
        where: the kind of copy it was seen in, "" for a figure that was not seen.
    """

    section: str
    name: str
    value: float | None
    low: float | None
    high: float | None
    unit: str
    record: str
    document: str
    sources: tuple[str, ...]
    standing: SourceStanding
    note: str
    where: str = ""


def line_of(section: str, figure: Figure) -> SheetLine:
    """A figure as a line under `section`."""
    return SheetLine(
        section=section,
        name=figure.name,
        value=figure.value,
        low=figure.low,
        high=figure.high,
        unit=figure.unit,
        record=figure.record,
        document=figure.document,
        sources=figure.sources,
        standing=figure.standing,
        note=figure.note,
        where=where_seen(figure.sources),
    )


def absent_line(section: str, name: str, unit: str, why: str) -> SheetLine:
    """A line for a value no source on file gives, with the reason `why`."""
    return SheetLine(
        section, name, None, None, None, unit, "", "", (), SourceStanding.NOT_SEEN, f"{why}; {BLANK}"
    )


def computed_line(
    section: str,
    name: str,
    unit: str,
    values: tuple[float, float, float],
    stands_on: tuple[Figure, ...],
    note: str,
) -> SheetLine:
    """A worked-out value.

    Args:
        section: heading it stands under.
        name: what it is.
        unit: its unit.
        values: low, typical and high value.
        stands_on: the figures it is worked out from; it is from memory if one of them is.
        note: formula and assumptions.
    """
    # Where nothing varies the corners may differ from the typical value in the last bit.
    low, typical, high = min(values), values[1], max(values)
    sources = dict.fromkeys(source for figure in stands_on for source in figure.sources)
    memory = [figure.name for figure in stands_on if figure.standing is SourceStanding.MEMORY]
    told = f"{note}; {' and '.join(memory)} from memory" if memory else note
    return SheetLine(
        section, name, typical, low, high, unit, "", "", tuple(sources),
        SourceStanding.MEMORY if memory else SourceStanding.COMPUTED, told, where_seen(sources),
    )  # fmt: skip


def value_told(line: SheetLine | None) -> str:
    """The value of a line as it is printed: with its unit, its range, and as its document has it."""
    if line is None:
        return "-"
    if line.value is None:
        return BLANK
    shown = f"{line.value:.4g} {line.unit}".strip()
    if line.low is not None and line.high is not None:
        low, high = f"{line.low:.4g}", f"{line.high:.4g}"
        shown += f" ({low} to {high})" if low != high else ""
    # A computed figure's record is of the value it was computed from, so it is not printed as if equal to it.
    as_printed = line.record if line.standing != "computed" and not _is_value(line.record, line.value) else ""
    return shown + (f" = {as_printed}" if as_printed else "")


def _is_value(record: str, value: float) -> bool:
    """Whether a printed record is the value again, as "4.0" is 4, rather than the same in another unit."""
    try:
        return float(record) == value
    except ValueError:
        return record.split(" ")[0] == f"{value:g}"


@dataclass
class References:
    """Sources as a reader meets them: numbered from 1 in the order in which they are first cited."""

    _numbers: dict[str, int] = field(default_factory=dict)

    def cited(self, names: Iterable[str]) -> str:
        """What a worked-out value stands on: ``computed from [1], [2]``; "" where no document is named."""
        marks = [self._mark(name) for name in names if name != _NO_DOCUMENT]
        return f"computed from {', '.join(marks)}" if marks else ""

    def in_text(self, text: str) -> str:
        """The text with its sources' short names as numbers."""
        return _SHORT_NAME.sub(lambda found: self._mark(found[0]), text)

    def listed(self) -> Iterator[tuple[str, Source]]:
        """Every source cited, with its mark."""
        for name, number in self._numbers.items():
            yield f"[{number}]", source_named(name)

    def _mark(self, name: str) -> str:
        return f"[{self._numbers.setdefault(name, len(self._numbers) + 1)}]"
