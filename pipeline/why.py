"""What is said of a requirement on a reel and of a reel: what its evidence lacks, how it stands, how it is cut.

The words stand in ``english/reels.json``.
"""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.messages import Code, Message


class Why(Code):
    """Why a requirement on a reel has the verdict it has, and parts of that."""

    WORST = "requirement/worst"
    WORST_BOUND = "requirement/worst bound"
    SIMPLE_ACCEPTANCE = "requirement/simple acceptance"
    GUARD_BAND = "requirement/guard band"
    CONFORMS = "requirement/conforms"
    DOES_NOT_CONFORM = "requirement/does not conform"
    MEAN_FAILS = "requirement/mean fails"
    STATED_COVERING_FAILS = "requirement/stated covering fails"
    INSTRUMENTS_DISAGREE = "requirement/instruments disagree"
    TOO_NEAR = "requirement/too near"
    TOO_NEAR_UNDER_COVERING = "requirement/too near under covering"
    NO_FULL_EVIDENCE = "requirement/no full evidence"
    NOT_ALL_READ = "requirement/not all read"
    NO_READING = "requirement/no reading"
    NO_INSTRUMENT = "requirement/no instrument"
    COVERING_NOT_SEEN = "requirement/covering not seen"
    CENTRING_NOT_SEEN = "requirement/centring not seen"
    NO_LIMIT = "requirement/no limit"
    NO_AVERAGE = "requirement/no average"
    ENTER_LIMIT = "requirement/enter limit"
    ENTER_AVERAGE = "requirement/enter average"
    IMPLIED_CONCENTRICITY = "requirement/implied concentricity"
    NO_CENTRING_MEETS = "requirement/no centring meets"
    OLDER_THAN_DOCUMENT = "requirement/older than document"


class Lack(Code):
    """What the evidence of a reel lacks, besides requirements that are not shown to be met."""

    SPARK_FAULTS = "reel/spark faults"
    WALL_NOT_SHOWN = "reel/wall not shown"
    NO_AVERAGE_ASKED = "reel/no average asked"
    NO_POINT_ASKED = "reel/no point asked"
    NOT_CONCLUDED = "reel/not concluded"
    OTHER_SIZE = "reel/other size"


class Unplaced(Code):
    """Why a run, its events or its reels have no place on the wire, and what to do."""

    NO_READING = "unplaced/no reading"
    SEE_SET_ASIDE = "unplaced/see set aside"
    NO_LENGTH = "unplaced/no length"
    MAP_LENGTH = "unplaced/map length"
    COUNTER_AGAINST_SPEED = "unplaced/counter against speed"
    COUNTER_LEAPS = "unplaced/counter leaps"
    GAUGES_IN_UNIT = "unplaced/gauges in unit"
    CORRECT_UNITS_OF_LENGTH = "unplaced/correct units of length"
    COUNTER_AS_FEET = "unplaced/counter as feet"
    CORRECT_UNIT = "unplaced/correct unit"
    NO_INSTRUMENT = "unplaced/no instrument"
    ADD_INSTRUMENT = "unplaced/add instrument"
    NO_REEL_REACHED = "unplaced/no reel reached"
    CORRECT_STATION = "unplaced/correct station"
    REELS_OVERLAP = "unplaced/reels overlap"
    ONE_WIRE = "unplaced/one wire"
    STARTS_AFTER = "unplaced/starts after"
    ENDS_AFTER = "unplaced/ends after"
    STARTS_BEFORE = "unplaced/starts before"
    COUNTER_GOES = "unplaced/counter goes"
    ENDS_ARE_WIRE = "unplaced/ends are wire"
    WRITE_REEL_ENDS = "unplaced/write reel ends"
    ENDS_SHIFTED = "unplaced/ends shifted"
    AS_COUNTER_SHOWED = "unplaced/as counter showed"
    ENDS_SCALED = "unplaced/ends scaled"
    CHECK_UNITS = "unplaced/check units"


class Stands(Code):
    """How wire stands now: who decided what and when, where it went, what speaks against it."""

    RELEASABLE = "standing/releasable"
    CUT = "standing/cut"
    HELD = "standing/held"
    NO_CONCLUSION = "standing/no conclusion"
    DONE = "standing/done"
    REGRADED = "standing/regraded"
    NOT_DONE = "standing/not done"
    WAITS = "standing/waits"
    SHIPPED = "standing/shipped"
    ALL_SHIPPED = "standing/all shipped"
    HELD_SINCE = "standing/held since"
    LEFT_UNRELEASED = "standing/left unreleased"
    LEFT_HELD = "standing/left held"
    WITH_CUTS = "standing/with cuts"
    NOT_RELEASED = "standing/not released"
    FINDING = "standing/finding"
    STILL_ON_IT = "standing/still on it"
    LENGTH_DECIDED = "standing/length decided"
    NOW_AND_EVIDENCE = "standing/now and evidence"
    REEL_UNKNOWN_NOW = "standing/reel unknown now"
    LOADED_ANEW = "standing/loaded anew"
    IN_TWO_RUNS = "standing/in two runs"
    REEL_AND_LENGTH = "standing/reel and length"
    AT_ONE_TIME = "standing/at one time"
    ONE_LOG = "standing/one log"
    OTHER_PRODUCT = "standing/other product"
    OTHER_WIRE = "standing/other wire"
    BEYOND_REEL = "standing/beyond reel"
    EARLIER_DECIDED = "standing/earlier decided"
    EARLIER_HELD = "standing/earlier held"
    EARLIER_CUT = "standing/earlier cut"
    LEFT_OUT = "standing/left out"
    LOG_REPLACED = "standing/log replaced"


class SampleSays(Code):
    """What laboratory samples say of a reel."""

    SAMPLE = "sample"
    BELOW = "sample/below"
    WITHOUT_UNCERTAINTY = "sample/without uncertainty"
    TOO_NEAR = "sample/too near"
    DOUBT_OF_RUN = "sample/doubt of run"
    DOUBT_OF_LOT = "sample/doubt of lot"
    ASKED_FOR = "sample/asked for"
    MISSING = "sample/missing"
    NOT_SHOWN = "sample/not shown"
    AGAINST_LINE = "sample/against line"
    MEAN_AGAINST_LINE = "sample/mean against line"
    WITHDRAWN = "sample/withdrawn"
    HANDED_IN = "sample/handed in"


class Goes(Code):
    """Why wire goes that no finding, gap or sample speaks of."""

    SCRAP = "goes/scrap"
    NEVER_JUDGED = "goes/never judged"
    NOTHING_CONCLUDED = "goes/nothing concluded"
    REPEATS = "goes/repeats"


class Ends(Code):
    """A place or stretch of a reel from both its ends."""

    PLACE = "place from both ends"


class AtMark(Code):
    """What is on record of the wire at a mark."""

    LIES = "mark/lies"
    READING = "mark/reading"
    SURVEYED = "mark/surveyed"
    ACCUMULATOR = "mark/accumulator"
    NO_FINDING = "mark/no finding"
    EVENTS = "mark/events"
    NOT_SEEN = "mark/not seen"
    RECORD = "mark/record"
    LENGTH = "mark/length"
    TURNED_LENGTH = "mark/turned length"


class Cuts(Code):
    """What is said of a cutting plan, and of lengths that were cut."""

    GRID = "cuts/grid"
    BEGUN = "cuts/begun"
    SPLICE = "cuts/splice"
    SPLICES = "cuts/splices"
    GOES = "cuts/goes"
    HOLDS = "cuts/holds"
    HOLDS_FINDING = "cuts/holds finding"


class First(Code):
    """What to do first about a reel that no finding holds."""

    GATHER = "first/gather"
    GATHER_OR_SAMPLE = "first/gather or sample"
    MEND_DATA = "first/mend data"


@dataclass(frozen=True, slots=True)
class Lacking:
    """One thing that the evidence of a reel lacks (table judged.lack).

    Args:
        code: what is lacking.
        about: of what: the requirement (`about_requirement`), a type, a file or a channel; "" where there is but one.
        told: what is said of it.
    """

    code: str
    about: str
    told: Message

    @property
    def key(self) -> tuple[str, str]:
        """What stays the same while its figures change from one judgement to the next."""
        return self.code, self.about


def about_requirement(requirement: str, requirement_set: str, limit_id: str) -> str:
    """What a requirement on a reel is known by among those of the reel: its limit, else its set and name."""
    return limit_id or f"{requirement_set}: {requirement}"
