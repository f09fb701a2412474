"""What pages tell of their own accord, beside what is on file; words in `pipeline.wording`, ``english/pages.json``."""

from __future__ import annotations

from pipeline.messages import Code


class PageNote(Code):
    """A sentence that only a page says."""

    ALL_SEEN = "page/all seen"
    NOT_ALL_SEEN = "page/not all seen"
    WITHIN_A_READING = "page/within a reading"
    ALL_STEADY = "page/all steady"
    UNSTEADY = "page/unsteady"
    IN_PHASE = "page/in phase"
    NO_WIRE = "page/no wire"
    NO_WALL_ON_REELS = "page/no wall on reels"
    NO_DIAMETER_ON_REELS = "page/no diameter on reels"
    NO_SPARK_ON_REELS = "page/no spark test on reels"
    LINES_ASIDE = "page/lines set aside"
    FINDING_ON_REEL = "page/finding on reel"
    LONGEST_UNSEEN = "page/longest unseen"
    FURTHEST_OFF = "page/furthest off"
    MOST_SCRAP = "page/most scrap"
    IT_STANDS_AT = "page/it stands at"
    RULE = "page/rule"
    NO_UNCERTAINTY = "page/no uncertainty"
    PROBABILITY = "page/probability"
    AVERAGED = "page/averaged"
    NOISE = "page/noise"
    REPAIR = "page/repair"
