"""What a reader of a run must be told of its logs; the words stand in `pipeline.wording`, ``english/logs.json``."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.messages import Code, Message, message


class LogNote(Code):
    """What is told of a log that was read."""

    TIMES_SHARED = "log/times shared"
    TIME_TWICE = "log/time twice"
    WRITTEN_AGAIN = "log/written again"
    CLOCK_BACK = "log/clock back"
    CLOCK_FORWARD = "log/clock forward"
    MORE_CLOCK_STEPS = "log/more clock steps"
    LATE_ROWS = "log/late rows"
    IN_FILE = "log/in file"
    REPEATED_HOUR = "log/repeated hour"
    SEEN_FALLING = "log/clock seen falling"
    NO_HINT = "log/no hint of pass"
    TAKEN_AS_FIRST = "log/taken as first pass"
    TAKEN_AS_SECOND = "log/taken as second pass"
    OPEN_END = "log/open end"
    TAGS_PASSED_OVER = "log/tags passed over"
    TAG_LINES = "log/tag and lines"
    TAGS_LATE = "log/tags late"
    IN_EARLIER_FILE = "log/in earlier file"
    EVENTS_OUTSIDE = "log/events outside"
    GREW = "log/grew"
    GREW_READ_WHOLE = "log/grew, read whole"
    NEW_VERSION = "log/new version"
    NEW_FILE = "log/new file"
    HELD_BACK = "log/held back"


class SetAside(Code):
    """Why a line of a log is no row; several reasons of one line stand in one message."""

    NO_NUMBER = "aside/no number"
    NO_DECIMAL_COMMA = "aside/no decimal comma"
    NO_TIME = "aside/no time"
    TIME_EMPTY = "aside/time empty"
    TIME_OF_NO_LOG = "aside/time of no log"
    TIME_NEVER_SHOWN = "aside/time never shown"
    NO_PLACE = "aside/no place"
    TAG_EMPTY = "aside/tag empty"
    NOT_GOOD = "aside/not good"
    OPEN_QUOTE = "aside/open quote"
    WRONG_WIDTH = "aside/wrong width"
    CUT_SHORT = "aside/cut short"
    DOUBLED = "aside/doubled"
    SEVERAL = "aside/several"
    ALL_OF_THEM = "aside/all of them"
    MOST_OF_THEM = "aside/most of them"


class Unlikely(Code):
    """What of a column does not fit its unit or the wire named, and what to do; in the log's own units."""

    MIDDLE = "unlikely/middle"
    MIDDLE_CONVERTED = "unlikely/middle converted"
    RIGHT_IN = "unlikely/right in"
    CHECK_COLUMN = "unlikely/check column"


def together_aside(reasons: Sequence[Message]) -> Message:
    """The reasons why one line is no row, as one message."""
    return reasons[0] if len(reasons) == 1 else message(SetAside.SEVERAL, told=reasons)
