"""Why a reading must not be used: every reason by name, code and sentence.

A flag never changes a reading: the reading stays as logged. ``masks_conformity`` says whether the reading is
also unfit to judge the wire; a spike may be a real thin spot and so stays in the judgement of the wire until
another instrument contradicts it.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Flag:
    """A named reason.

    Args:
        code: stored code, never reused.
        name: short name, as shown.
        sentence: what it means for a reader.
        masks_conformity: True if the reading may not be used to judge the wire either.
    """

    code: int
    name: str
    sentence: str
    masks_conformity: bool


MISSING = Flag(1, "missing", "The log holds no value where the instrument should have given one.", True)
OUT_OF_RANGE = Flag(2, "out of range", "The value is outside what the instrument can plausibly read.", True)
STUCK = Flag(3, "stuck", "The value repeated exactly for longer than a live instrument's noise allows.", True)
SPIKE = Flag(
    4,
    "spike",
    "The value stands far from its neighbors; it is kept for the judgment unless contradicted.",
    False,
)
STEP = Flag(5, "step", "The level jumped at once by more than the process can move.", False)
TIME_BACKWARDS = Flag(6, "time backwards", "The clock of this row is earlier than the row before it.", False)
COUNTER_RESET = Flag(7, "counter reset", "The length counter fell back and started again.", False)
STOPPED = Flag(8, "line stopped", "The wire stood still: the reading repeats a spot already read.", False)
CONTRADICTED = Flag(
    9, "contradicted spike", "A spike that the other instruments on the same wire do not show.", True
)
NOT_CALIBRATED = Flag(
    10, "calibration out of date", "The instrument's calibration had lapsed when this was read.", False
)
DUPLICATE = Flag(11, "duplicate", "The same instant was logged twice with the same values.", True)
CLOCK_STEP = Flag(12, "clock step", "The logger's clock jumped; times after it may be offset.", False)
DENIED = Flag(
    13,
    "denied by others",
    "The other instruments on the same wire show that this reading is not of the wire.",
    True,
)
REPEATED = Flag(
    14,
    "repeats earlier readings",
    "A block of earlier readings stands here once more, to the last figure: it is not of this wire.",
    True,
)
NOT_TOGETHER = Flag(
    15,
    "not read together",
    "The wall sensors take turns, or one figure stands for all: they do not read one place of the wire.",
    True,
)
FILLED = Flag(
    16,
    "filled in",
    "The figure was made from readings before and after it, or from the sensors beside it, and was not read.",
    True,
)

ALL: tuple[Flag, ...] = (
    MISSING,
    OUT_OF_RANGE,
    STUCK,
    SPIKE,
    STEP,
    TIME_BACKWARDS,
    COUNTER_RESET,
    STOPPED,
    CONTRADICTED,
    NOT_CALIBRATED,
    DUPLICATE,
    CLOCK_STEP,
    DENIED,
    REPEATED,
    NOT_TOGETHER,
    FILLED,
)
BY_CODE: dict[int, Flag] = {flag.code: flag for flag in ALL}
