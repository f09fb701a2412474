"""Records of the process values of a run: what the line logged besides the wall, and what was changed in the run."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from dashboards.decimation import Floats


@dataclass(frozen=True, slots=True)
class ProcessChannel:
    """One logged channel, lowest and highest reading of each stretch of the run, in the order of time.

    Args:
        name: column of the data dictionary, for example ``melt_pressure_bar``.
        title: what a reader calls it.
        unit: unit of `values`.
        at_m: wire at the die, or before the gauge that reads the channel, at each reading [m].
        at_s: time of each reading from the start of the run [s].
        values: readings in `unit`; NaN where readings are missing or not to be used, so that a line breaks there.
    """

    name: str
    title: str
    unit: str
    at_m: Floats
    at_s: Floats
    values: Floats


@dataclass(frozen=True, slots=True)
class RunChange:
    """Something that was changed within the run.

    Args:
        what: what was changed, for example ``bolt L2-B1 0.5 turn out``.
        at_m: wire at the die then [m].
        at_s: time from the start of the run [s].
        unit: unit of `before` and `after`, "" for a change that has none.
        before: setting before, None for a change without.
        after: setting after.
    """

    what: str
    at_m: float
    at_s: float
    unit: str = ""
    before: float | None = None
    after: float | None = None


@dataclass(frozen=True, slots=True)
class ProcessValues:
    """The process values of a run.

    Args:
        start: instant from which times are counted, that of the first reading.
        channels: those that the run has, the first to be shown first.
        changes: from the run sheet, the line's stops and the log's settings, in the order of time.
    """

    start: datetime
    channels: tuple[ProcessChannel, ...]
    changes: tuple[RunChange, ...] = ()
