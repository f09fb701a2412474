"""What is said of a requirement on a reel, what its evidence lacks, and what to do about it first."""

from __future__ import annotations

from collections.abc import Mapping

from pipeline.why import First, Lack, Why

_ENDS = " at {at:place} from the outer end ({from_core:place} from the core end)"
_MISSING = "Not judged: no limit on file for {requirement} of {product}"
_GATHER = "Enter the missing limit or gather the missing evidence, then assess the run again."
REELS: Mapping[str, tuple[str, ...]] = {
    Why.WORST: ("{value:<limit}" + _ENDS,),
    Why.WORST_BOUND: ("{value:<limit} (worse bound)" + _ENDS,),
    Why.SIMPLE_ACCEPTANCE: ("simple acceptance: the value itself is compared with the limit",),
    Why.GUARD_BAND: ("guard band: conformity must be shown with {confidence:share}",),
    Why.CONFORMS: ("Worst {worst}; {rule}.",),
    Why.DOES_NOT_CONFORM: ("Worst {worst}, {sense} {limit:.4} is required.",),
    Why.MEAN_FAILS: (
        (
            "The mean wall by the diameter is {worst}, and the wall at any point is no thicker; {sense} {limit:.4} is "
            "required."
        ),
    ),
    Why.STATED_COVERING_FAILS: (
        (
            "The run sheet states a covering of {stated:<limit} on average, and its thinnest point is no thicker; "
            "{sense} {limit:.4} is required."
        ),
    ),
    Why.INSTRUMENTS_DISAGREE: (
        "The instruments disagree over {length} of this reel, so nothing is concluded from them there.",
    ),
    Why.TOO_NEAR: ("Worst {worst} is too near the limit for the instrument's uncertainty.",),
    Why.TOO_NEAR_UNDER_COVERING: ("Worst {worst} is too near the limit for what is known of the covering.",),
    Why.NO_FULL_EVIDENCE: ("Worst {worst}, but no wire of this reel has full evidence behind it.",),
    Why.NOT_ALL_READ: (
        "Worst of what was read is {worst}, but {unread:place} of {length:place} were not read.",
    ),
    Why.NO_READING: ("No usable reading of {requirement} lies on this reel.",),
    Why.NO_INSTRUMENT: (
        "No instrument of this line reads what '{requirement}' needs; judge it on cut samples.",
    ),
    Why.COVERING_NOT_SEEN: (
        "No instrument of this line sees the covering by itself. Judge the covering on cut samples.",
    ),
    Why.CENTRING_NOT_SEEN: (
        (
            "The line has no wall gauge. A diameter does not show how well the conductor is centered; judge it on cut "
            "samples."
        ),
    ),
    Why.NO_LIMIT: (
        _MISSING + " to {requirement_set} as type {types} on {day}.",
        _MISSING + " to {requirement_set} as type {types}.",
        _MISSING + " to {requirement_set} on {day}.",
        _MISSING + " to {requirement_set}.",
        _MISSING + " as type {types} on {day}.",
        _MISSING + " as type {types}.",
        _MISSING + " on {day}.",
        _MISSING + ".",
    ),
    Why.NO_AVERAGE: (
        (
            "Not judged: limit '{limit_id}' is a percentage of the minimum average wall of {requirement_set}, and no "
            "such average of {product} is on file."
        ),
    ),
    Why.ENTER_LIMIT: ("Enter it in the plant sheet under [[limits]] with document, revision and dates.",),
    Why.ENTER_AVERAGE: ("Enter the average under [[limits]], or give the limit in mil or mm.",),
    Why.IMPLIED_CONCENTRICITY: (
        (
            "At a mean wall of {mean:wall.4} the minimum at any point of {point:.4} ({requirement_set}) is met down to "
            "a concentricity (thinnest / thickest wall) of {least}."
        ),
    ),
    Why.NO_CENTRING_MEETS: (
        (
            "The mean wall of {mean:wall.4} is below the minimum at any point of {point:.4} ({requirement_set}): no "
            "centering can meet it."
        ),
    ),
    Why.OLDER_THAN_DOCUMENT: (
        (
            "Start of validity not known: the limit was read in {document} of {edition}, and the run is of "
            "{year}."
        ),
    ),
    Lack.SPARK_FAULTS: (
        "{faults} spark faults lie on this reel; the plant holds a reel with more than {most}.",
    ),
    Lack.WALL_NOT_SHOWN: (
        "No {requirement} to {requirement_set} as type {type} was judged and met on this reel.",
    ),
    Lack.NO_AVERAGE_ASKED: ("No requirement set that applies to {construction} gives an average wall.",),
    Lack.NO_POINT_ASKED: ("No requirement set that applies to {construction} gives a wall at a point.",),
    Lack.NOT_CONCLUDED: ("{where}: {found}. {remedy}.",),
    Lack.OTHER_SIZE: (
        (
            "The conductor reads {read:diameter.4} in mid run, and {product} has {nominal:diameter.4}: this is not the "
            "wire the run sheet names. Correct [run.product], or look at the conductor gauge."
        ),
    ),
    First.GATHER: (_GATHER,),
    First.GATHER_OR_SAMPLE: (
        _GATHER + " What laboratory samples show is named under [samples] in the plant sheet.",
    ),
    First.MEND_DATA: ("Mend what the reason names, load the run again and assess it.",),
}
