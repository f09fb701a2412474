"""What must be told of data that contradict themselves, beside what the wall sensors say of each other."""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.contradictions import Contradiction
from pipeline.messages import Measure, Message, message
from pipeline.sheets.line_sheet import LineSheet
from pipeline.steps.exchanged import melt_exchanged
from pipeline.steps.place import Placed
from pipeline.trust.lone_axis import LoneAxis


def contradictions_told(
    readings: pl.DataFrame, placed: Placed, alone: tuple[LoneAxis, ...], line: LineSheet
) -> tuple[Message, ...]:
    """Events of a gauge alone, columns of the melt exchanged, and steps of the clock.

    Args:
        readings: readings as logged (columns.LOGGED).
        placed: the run on the wire.
        alone: readings of one diameter axis that stand alone.
        line: the line sheet.
    """
    melt = (message(Contradiction.MELT_EXCHANGED),) if melt_exchanged(readings) else ()
    return (*_lone_axes_told(alone, line), *melt, *_clock_told(placed))


def _clock_told(placed: Placed) -> tuple[Message, ...]:
    """Steps of the logger's clock."""
    clock = placed.placement.clock
    if clock is None or clock.rows.size == 0:
        return ()
    largest = float(clock.by_s[np.abs(clock.by_s).argmax()])
    events = len({one.event for one in placed.elsewhere})
    return (message(Contradiction.CLOCK_SET, steps=int(clock.rows.size), seconds=largest, events=events),)


def _lone_axes_told(found: tuple[LoneAxis, ...], line: LineSheet) -> tuple[Message, ...]:
    """The events of a diameter gauge alone, counted."""
    cold, denied = line.instrument("cold diameter gauge"), [one.size_mm for one in found if one.denied]
    if cold is None or not denied:
        return ()
    size = Measure(max(denied, key=abs), "mm")
    return (message(Contradiction.LONE_AXIS, instrument=cold.id, rows=len(denied), size=size),)
