"""Whether an unknown log is a long table, one value a line: which column names the value and which holds it."""

from __future__ import annotations

import re
from dataclasses import dataclass

import polars as pl

from pipeline.logs.file_look import NUMBER, FileLook

_VALUE_NAME = re.compile(r"value|wert|reading|^val$|^y$|valeur", re.IGNORECASE)
_QUALITY_NAME = re.compile(r"quality|status|qual|güte|state", re.IGNORECASE)
_MOST_TAGS = 500


@dataclass(frozen=True, slots=True)
class LongGuess:
    """The columns of a long table, by place from 0; ``quality`` is None where there is none."""

    tag: int
    value: int
    quality: int | None


def guess_long(look: FileLook, clock: set[int | None]) -> LongGuess | None:
    """The columns of a long table; None if the log does not look like one.

    Args:
        look: the log.
        clock: places of the columns of time.
    """
    places = [place for place in range(len(look.names)) if place not in clock]
    value = next((place for place in places if _VALUE_NAME.search(look.names[place])), None)
    quality = next((place for place in places if _QUALITY_NAME.search(look.names[place])), None)
    if value is None or len(places) > 6:
        return None
    tags = [
        place for place in places if place not in {value, quality} and _names_things(look.cells[f"c{place}"])
    ]
    if not tags:
        return None
    return LongGuess(tags[0], value, quality)


def _names_things(cells: pl.Series) -> bool:
    """True for a column of a few texts that stand again and again and are no numbers."""
    distinct = cells.unique().to_list()
    words = [text for text in distinct if text and not NUMBER.fullmatch(text)]
    return (
        2 <= len(words) <= _MOST_TAGS and len(words) >= 0.9 * len(distinct) and cells.len() >= 2 * len(words)
    )
