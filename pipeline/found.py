"""What is found on the wire, why, and what to do first: one code a meaning; words stand in ``english/findings.json``.

What a rule finds, what to do about it first and what the rule is called are known by the rule's own id.
"""

from __future__ import annotations

from pipeline.messages import Code, Message, message


class Found(Code):
    """Parts of what is said of a finding."""

    SEVERAL = "said/several"
    BOUNDED = "finding/bounded"
    CITED = "limit/cited"
    ALSO_SEEN = "finding/also seen"
    UNCONFIRMED = "finding/unconfirmed"
    NOT_SEEN_NOW = "finding/not seen now"
    EITHER_REEL = "finding/either reel"
    MORE_REASONS = "reasons/more"
    REELS_ALIKE = "reasons/reels alike"
    REELS_ALIKE_AND_MORE = "reasons/reels alike and more"
    CHANGED_AT = "finding/changed at"
    LEVEL_CHANGED = "unstable/level changed"
    ENTRY = "journal/entry"
    HOLD = "hold"
    HOLD_LIFTED = "hold/lifted"
    HOLD_PUT = "hold/put"
    LACKING = "unmonitored/lacking"
    NONE_ALLOWED = "unmonitored/none allowed"
    ALLOWED = "unmonitored/allowed"


class Remedy(Code):
    """What to do about an act that is refused, as a command; the review site has words of its own for its forms."""

    GIVE_REASON = "remedy/give reason"
    GIVE_BOTH = "remedy/give both"
    ENTER_ROLES = "remedy/enter roles"
    REOPEN = "remedy/reopen"
    CONFIRM_OR_REOPEN = "remedy/confirm or reopen"
    REOPEN_ONE = "remedy/reopen one"
    REOPEN_THAT = "remedy/reopen that"
    LIFT = "remedy/lift"
    NAME_EVIDENCE = "remedy/name evidence"
    WITHDRAW = "remedy/withdraw"
    OVERRIDE = "remedy/override"
    OVERRIDE_REASON = "remedy/override reason"


class Noted(Code):
    """What an entry of the journal says of itself."""

    CLOCK_WENT_BACK = "noted/clock went back"
    THINNED = "noted/thinned"
    LOSS_ACCEPTED = "noted/loss accepted"
    ASKED_WHAT_IT_TOUCHES = "noted/asked what it touches"
    HANDED_OVER = "noted/handed over"
    DECLARED = "noted/declared"
    ROOT_SIGNED = "noted/root signed"
    DECIDED = "noted/decided"
    CUT = "noted/cut"
    CUT_LENGTH = "noted/cut length"
    SHIPPED = "noted/shipped"
    REWOUND = "noted/rewound"
    JUDGED = "noted/judged"
    ACCESS_SEALED = "noted/access sealed"
    COMMENTED = "noted/commented"
    ASSIGNED = "noted/assigned"
    PLAN_ACCEPTED = "noted/plan accepted"
    ATTACHED = "noted/attached"
    TAG_PRINTED = "noted/tag printed"


class Suspected(Code):
    """The wire or lot that a containment asks about."""

    PARTS = "suspected"
    NAME = "suspected/name"
    OF_REEL = "suspected/of reel"
    OF_RUN = "suspected/of run"
    SINCE = "suspected/since"
    UNTIL = "suspected/until"


class Because(Code):
    """Likely causes of a finding."""

    NOT_KNOWN = "cause/not known"
    CONTRADICTED = "cause/contradicted"
    REPEATS = "cause/repeats"
    LONE_READING = "cause/lone reading"
    UNSTEADY = "cause/unsteady"
    MATERIAL_CHANGED = "cause/material changed"
    DRIFT = "cause/drift"


class Drifted(Code):
    """What a gauge's drift comes to for reels judged by it."""

    ANEW = "drifted/anew"
    SCOPE = "drifted/scope"
    EVENLY = "drifted/evenly"
    CONCENTRICITY = "drifted/concentricity"
    UNREAD = "drifted/unread"


class TouchedNote(Code):
    """What a reader must know of the wire that a suspect touches."""

    IN_HOUSE_MEANS = "touched/in house means"
    NOTHING_TOLD = "touched/nothing told"
    BY_EARLIER_SHEET = "touched/by earlier sheet"
    RESIDENCE = "touched/residence"
    TO_THE_RUN = "touched/to the run"


class Happened(Code):
    """What happened to a lot, where no entry of the journal tells it."""

    CALIBRATED = "happened/calibrated"
    LIMIT_IN_FORCE = "happened/limit in force"
    ACT = "happened/act"
    RUN_STARTED = "happened/run started"
    RUN_ENDED = "happened/run ended"
    ON_REEL = "happened/on reel"


class SheetNote(Code):
    """What is told of plant sheets that are not those the runs are judged by."""

    OTHER = "sheet/other"
    OTHER_OF_ONE = "sheet/other of one"


class Doubt(Code):
    """What is said of a value against a limit, where it is more than conforms or not."""

    CONTRADICTED = "verdict/contradicted"


def found_by(rule_id: str) -> str:
    """The code of what a rule finds."""
    return f"finding/{rule_id}"


def advice_of(rule_id: str) -> str:
    """The code of what to do first about what a rule finds."""
    return f"advice/{rule_id}"


def name_of(rule_id: str) -> str:
    """The code of a rule's name."""
    return f"rule/{rule_id}"


def verdict_code(verdict: str) -> str:
    """The code of a verdict against a limit."""
    return f"verdict/{verdict}"


def together(*told: Message) -> Message:
    """Several things said one after the other; one alone as itself."""
    return told[0] if len(told) == 1 else message(Found.SEVERAL, told=told)


def code_of(told: Message) -> str:
    """The code of what is said; of several things, that of the first."""
    several = told.arguments["told"] if told.code == Found.SEVERAL else ()
    first = several[0] if isinstance(several, tuple) and several else None
    return code_of(first) if isinstance(first, Message) else told.code
