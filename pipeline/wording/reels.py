"""What is said of a requirement on a reel and of a reel: what its evidence lacks, how it stands, how it is cut."""

from __future__ import annotations

from collections.abc import Mapping

from pipeline.why import AtMark, Cuts, Ends, First, Lack, Stands, Why

_ENDS = " at {at:place} from the outer end ({from_core:place} from the core end)"
_MISSING = "Not judged: no limit on file for {requirement} of {product}"
_GATHER = "Enter the missing limit or gather the missing evidence, then assess the run again."
_REASONS = (" {first} And {more:#more reason}.", " {first}", "")
_TO = "in {shipment} to {place}{on}"
_ALTHOUGH = " {role} sent it all the same: {reason}."
_STAYS = (
    "may stay in what is sold: by the plant's sheet it holds no release. Whether a length may hold one is for the "
    "adopted standard and the order too."
)
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
    Stands.RELEASABLE: ("Releasable on the evidence. Nobody has released it.",),
    Stands.CUT: ("All of it was cut or rewound.",),
    Stands.HELD: tuple(f"Held, may not leave.{why}" for why in _REASONS),
    Stands.NO_CONCLUSION: tuple(f"No conclusion, may not leave.{why}" for why in _REASONS),
    Stands.DONE: ("{done} {by}.", "{done}."),
    Stands.REGRADED: ("Regraded {by}: it may not leave as what it was made as.",),
    Stands.NOT_DONE: ("{disposition} decided {by}. It is not done yet.",),
    Stands.WAITS: ("{disposition} decided {by}. It waits for a second person.",),
    Stands.SHIPPED: (f"Shipped {_TO}. Released {{by}}.{_ALTHOUGH}", f"Shipped {_TO}. Released {{by}}."),
    Stands.ALL_SHIPPED: ("All of it left: {shipments}.",),
    Stands.HELD_SINCE: (f"{{item}} left and is held since: shipped {_TO}.",),
    Stands.LEFT_UNRELEASED: tuple(
        f"{{item}} left and nobody had released it: shipped {_TO}.{more}" for more in (_ALTHOUGH, "")
    ),
    Stands.LEFT_HELD: tuple(f"{{item}} left while held: shipped {_TO}.{more}" for more in (_ALTHOUGH, "")),
    Stands.WITH_CUTS: ("{told} {lengths:#length} cut from it left.",),
    Stands.NOT_RELEASED: ("Every finding on it is closed and nobody has released it.",),
    Stands.FINDING: ("Finding {finding} is {standing} ({disposition}).",),
    Stands.LENGTH_DECIDED: ("Length {length} was decided for {disposition}.",),
    Ends.PLACE: ("{outer} ({core})",),
    AtMark.LIES: (
        (
            "The mark lies {place} of reel {reel}; it is {wire:place} of the run, known to {unsure:place} ({why}); "
            "what lies within that counts as at the mark."
        ),
    ),
    AtMark.READING: ("{unsure:place} for reading the mark and placing the wire, which this program assumes",),
    AtMark.SURVEYED: ("{unsure:place} for the surveyed marks, two standard uncertainties",),
    AtMark.ACCUMULATOR: (
        "and {unsure:place} because what the accumulator held at the reel change is not known",
    ),
    AtMark.NO_FINDING: ("No finding is on file for this wire.",),
    AtMark.EVENTS: ("{events} spark faults or surface flaws are on file within {reach:place} of it.",),
    AtMark.NOT_SEEN: ("{unseen:place} of the {asked:place} around it were not seen by the wall gauge.",),
    AtMark.RECORD: (
        (
            "The record shows what the line's instruments saw while the wire was made. It cannot show that the plant "
            "had no part in a failure, nor what happened to the wire since it left."
        ),
    ),
    AtMark.TURNED_LENGTH: (
        (
            "Length {length} lies the other way round than it was made, by rewinding; its outer end is {outer:place} "
            "from the outer end of reel {reel}.{marks}"
        ),
    ),
    AtMark.LENGTH: (
        "Length {length}: its outer end is {outer:place} from the outer end of reel {reel}.{marks}",
    ),
    Cuts.GRID: (
        (
            "Best on a grid of a tenth of a {step} ({method}). {clearance:place} of sound wire goes with each side of "
            "what must go."
        ),
    ),
    Cuts.BEGUN: ("{begun:place} was cut from the outer end already and is not planned.",),
    Cuts.SPLICE: (f"A splice at {{places}} {_STAYS}",),
    Cuts.SPLICES: (f"Splices at {{places}} {_STAYS}",),
    Cuts.GOES: ("{outer} ({core}), {kind}: {why}",),
    Cuts.HOLDS: (
        "Length {length} ({use}) holds wire that may not be kept ({kind}), {along} along it: {why}",
    ),
    Cuts.HOLDS_FINDING: (
        "Length {length} ({use}) holds wire of finding {finding}, which is {state}: {along} along it.",
    ),
    First.GATHER: (_GATHER,),
    First.GATHER_OR_SAMPLE: (
        _GATHER + " What laboratory samples show is named under [samples] in the plant sheet.",
    ),
    First.MEND_DATA: ("Mend what the reason names, load the run again and assess it.",),
}
