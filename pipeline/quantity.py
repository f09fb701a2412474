"""Which quantities the program answers for: one name a meaning, by which answers are stored, selected and compared."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Protocol

from pipeline.messages import Code, Measure, Slot, slots_of


class Quantity(Code):
    """What one answer is an answer about; `Asked.about` says of which limit, channel, element or place."""

    # Against a limit; about: the limit's id.
    PERFORMANCE_INDEX = "performance index"
    TWO_SIDED_PERFORMANCE_INDEX = "two-sided performance index"
    WITHIN_REEL_INDEX = "index within reels"
    QUANTILE_INDEX = "performance index by quantiles"
    REDRAWN_INDEX = "performance index by redrawing"
    REEL_TOLERANCE_LIMIT = "tolerance limit of reels"
    SHARE_OF_BAD_REELS = "share of reels below the limit"
    REEL_MINIMUM_RISK = "risk of a reel below the limit"
    NORMAL_REEL_MINIMUM_RISK = "risk of a reel below the limit, normal"
    BLOCK_REEL_MINIMUM_RISK = "risk of a reel below the limit, from reels"
    SPECIMEN_MARGIN = "margin of a specimen"
    # The lower tail of the wall; about: the limit's id or how often a level is passed.
    EXTREMAL_INDEX = "extremal index"
    RETURN_LEVEL = "return level"
    # Along the wire; about: the channel.
    PERIOD = "period"
    PERIOD_THROUGH_GAPS = "period through gaps"
    CHANGE_POINT = "change point"
    ANNOUNCED_CHANGE = "announced change"
    DRIFT = "drift"
    # Spark faults.
    FAULT_RATE = "fault rate"
    FAULT_RATE_UNMERGED = "fault rate with hidden faults"
    FAULT_DISPERSION = "dispersion of faults"
    FAULT_CLUSTERING = "clustering of faults"
    CLOSE_PAIRS = "close pairs of faults"
    FAULT_TREND = "trend of faults along a reel"
    FAULT_PRECURSORS = "faults beside a precursor"
    FAULT_REPEAT = "repeat of faults with an element"
    FAULT_REPEAT_ANY = "repeat of faults at any length"
    FAULT_RATE_RATIO = "ratio of fault rates"
    FAULT_RATE_RATIO_ADJUSTED = "ratio of fault rates, adjusted"
    FAULT_RATE_BASE = "fault rate of the base"
    FAULT_RATE_CHANGE = "change of the fault rate"
    SPARK_EXPOSURE = "spark exposure"
    # The line and its instruments; about: the instrument or pair of instruments.
    STATION_DISTANCE = "distance between stations"
    CLOCK_OFFSET = "clock offset"
    GAUGE_NOISE = "repeatability of a gauge"
    GAUGE_STUDY = "gauge study"
    GAUGE_BIAS = "bias of a gauge"
    METHOD_LINE = "line between two methods"
    HOT_TO_COLD = "hot-to-cold ratio"
    USUAL_HOT_TO_COLD = "usual hot-to-cold ratio"
    PRINTED_LENGTH = "printed length"
    # Material.
    INSULATION_MASS = "insulation mass"
    INSULATION_EXCESS_MASS = "insulation mass above the minimum"
    SCRAP_LENGTH = "scrap length"
    SCRAP_MASS = "scrap mass"
    INSULATION_MINIMUM = "minimum insulation under a covering"
    COVERING_MINIMUM = "minimum covering"
    WALL_MINIMUM = "minimum wall"
    # Over the reels of a line; about: what is charted, or where the spread lies.
    VARIANCE_COMPONENT = "variance component"
    CONTROL_CHART = "control chart"
    AUTOREGRESSION = "autoregression"
    # Tuning.
    TARGET_WALL = "target wall"
    MEAN_WALL = "mean wall"
    EXCESS_WALL = "excess wall"
    REQUIRED_MEAN_WALL = "mean wall a requirement asks for"
    TARGET_LOSS = "loss at the target"
    CENTRE_OFFSET = "offset of the conductor"
    BOLT_RESPONSE = "response to the bolts"
    SETTING_RESPONSE = "response to a setting"
    GOOD_STARTS = "short starts"
    BEFORE_AFTER = "change from before to after"
    SPECIFIC_OUTPUT = "specific output"
    ORDER_LOCK = "lock of a swing"
    # Asked by an earlier version of this program and by none since; about: its sentence.
    EARLIER = "as an earlier version asked"
    # Within other answers.
    CORRELATION_LENGTH = "correlation length"
    SERIES_DELAY = "delay between two series"


# The argument that holds the symbol of an index: Ppk, PpkL, ...
SYMBOL = "symbol"


@dataclass(frozen=True, slots=True)
class Asked:
    """What an answer answers.

    Args:
        quantity: the quantity.
        about: which one of its kind: the id of a limit, a channel, an element, a place; "" where there is but one.
        slots: arguments of its heading.
        whose: whose it is, where answers of several stand together; "" where the page says it.
    """

    quantity: Quantity
    about: str = ""
    slots: tuple[tuple[str, Slot], ...] = ()
    whose: str = ""

    @property
    def arguments(self) -> dict[str, Slot]:
        """The arguments by name."""
        return dict(self.slots)

    @property
    def key(self) -> tuple[Quantity, str]:
        """What tells it from every other answer about the same subject."""
        return self.quantity, self.about

    def with_symbol_of(self, other: Asked) -> Asked:
        """The same, with the symbol of an index where the other has one."""
        symbols = tuple((name, value) for name, value in other.slots if name == SYMBOL)
        return replace(self, slots=(*self.slots, *symbols))

    def of(self, whose: str) -> Asked:
        """The same, shown with whose it is."""
        return replace(self, whose=whose)


def asks(quantity: Quantity, about: str = "", /, **arguments: Any) -> Asked:
    """What an answer answers.

    Args:
        quantity: the quantity.
        about: which one of its kind.
        **arguments: arguments of its heading.
    """
    return Asked(quantity, about, slots_of(arguments))


def asked_of(quantity: str, about: str, arguments: Mapping[str, Slot]) -> Asked:
    """What an answer on file answers, from its columns."""
    return Asked(Quantity(quantity), about, tuple(arguments.items()))


class OfLimit(Protocol):
    """A limit, as far as what is asked of it names it."""

    @property
    def limit_id(self) -> str:
        """Its id."""

    @property
    def requirement(self) -> str:
        """What is limited."""

    @property
    def sense(self) -> str:
        """``at least`` or ``at most``."""

    @property
    def value(self) -> float:
        """The limit, in `unit`."""

    @property
    def unit(self) -> str:
        """Its unit."""


def asks_of(limit: OfLimit, quantity: Quantity, /, **arguments: Any) -> Asked:
    """What an answer about a limit answers.

    Args:
        limit: the limit.
        quantity: the quantity.
        **arguments: further arguments of its heading.
    """
    bound = Measure(limit.value, limit.unit)
    return asks(
        quantity, limit.limit_id, requirement=limit.requirement, sense=limit.sense, limit=bound, **arguments
    )
