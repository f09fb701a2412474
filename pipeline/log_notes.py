"""What a reader of a run must be told of its logs; the words stand in `pipeline.wording`, ``english/logs.json``."""

from __future__ import annotations

from pipeline.messages import Code


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
