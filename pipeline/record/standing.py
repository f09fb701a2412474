"""How does a reel stand now: what the evidence says, what persons decided, and where its wire is?

`judged.reel` keeps what the in-line evidence supports and nothing else. Every page, command, print and pack takes a
reel's standing from here: the evidence, samples, persons' acts and holds, cuts, rewindings and shipments, folded once.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from pipeline.messages import Message
from pipeline.nonconformance.disposition import State
from pipeline.nonconformance.hold import Hold
from pipeline.record.left_on_file import Left
from pipeline.record.not_found import reel_not_on_file
from pipeline.record.sample_say import SampleSay

if TYPE_CHECKING:
    from pipeline.record.run_facts import Facts
    from pipeline.store.database import Store

# What a reel or cut length is called now; pages and commands tell all apart by these and by nothing else.
Code = Literal[
    "left while held",
    "held since it left",
    "left unreleased",
    "held",
    "no conclusion",
    "releasable",
    "awaiting a second person",
    "decided",
    "regraded",
    "released",
    "released by concession",
    "scrapped",
    "cut",
    "shipped",
]
Where = Literal["in plant", "cut", "partly shipped", "shipped", "scrapped"]
ALARMS: tuple[Code, ...] = ("left while held", "held since it left", "left unreleased")


@dataclass(frozen=True, slots=True)
class Against:
    """One thing that speaks against letting a reel go now.

    Args:
        told: what is said of it; places count from the reel's outer end.
        finding_id: the finding it is, "" for anything else.
    """

    told: Message
    finding_id: str = ""


@dataclass(frozen=True, slots=True)
class LengthStanding:
    """How a length cut or rewound from a reel stands, judged by its own stretch.

    Args:
        length_id: the length.
        reel_id: its reel.
        from_outer_m: start from the reel's outer end [m].
        to_outer_m: its end [m].
        use: package, stock, scrap, or rewound where nothing of it is left.
        code: how it stands.
        headline: what is said of it first.
        reasons: what speaks against letting it go.
        lacking: those of the reasons that evidence named by a person may stand for.
        open_findings: findings in it that are not closed, or closed by scrap or regrade while their wire is in it.
        decided: what persons' acts on the length itself amount to.
        left: how it left, None while it has not.
        may_leave: whether it may be shipped now.
    """

    length_id: str
    reel_id: str
    from_outer_m: float
    to_outer_m: float
    use: str
    code: Code
    headline: Message
    reasons: tuple[Message, ...]
    lacking: tuple[Message, ...]
    open_findings: tuple[str, ...]
    decided: State
    left: Left | None
    may_leave: bool


@dataclass(frozen=True, slots=True)
class Standing:
    """How one reel stands now.

    Args:
        reel_id: the reel.
        run_id: its run.
        code: how it stands; of a reel that was cut, how the rest of it stands.
        headline: what is said of it first.
        evidence: what the in-line evidence supports.
        lacking: those of the `reasons` that evidence named by a person may stand for.
        decided: what persons' acts on it amount to.
        holds: persons' holds in force on it.
        samples: what samples say of it.
        where: where its wire is.
        left: what of it left the plant.
        lengths: lengths cut or rewound from it.
        may_leave: whether it may be shipped now, whole.
        left_while_held: whether wire of it is out that was held or unreleased, or is held since, and nobody has let
            it go.
        against: what speaks against letting it go now.
        not_known_which: why it is not known which wire the number means (`which_wire`); none as a rule.
    """

    reel_id: str
    run_id: str
    code: Code
    headline: Message
    evidence: str
    lacking: tuple[Message, ...]
    decided: State
    holds: tuple[Hold, ...]
    samples: SampleSay
    where: Where
    left: tuple[Left, ...]
    lengths: tuple[LengthStanding, ...]
    may_leave: bool
    left_while_held: bool
    against: tuple[Against, ...] = ()
    not_known_which: tuple[Message, ...] = ()

    @property
    def reasons(self) -> tuple[Message, ...]:
        """What speaks against letting it go now, each thing once."""
        return tuple(dict.fromkeys(one.told for one in self.against))

    @property
    def alarms(self) -> tuple[Message, ...]:
        """What must be told first: the reel's own alarm and those of its lengths."""
        own = [self.headline] if self.code in ALARMS else []
        lengths = (one.headline for one in self.lengths if one.code in ALARMS)
        return tuple(dict.fromkeys([*own, *lengths]))


def standing_of(store: Store, reel_id: str) -> Standing:
    """How one reel stands now.

    Raises:
        NotFoundError: there is no such reel; the nearest numbers are named.
    """
    found = store.ask("questions/reel", reel_id=reel_id)
    if not found:
        raise reel_not_on_file(store, reel_id)
    return standings_of_run(store, found[0]["run_id"])[reel_id]


def standings_of_run(store: Store, run_id: str) -> dict[str, Standing]:
    """How every reel of a run's newest judgement stands now, by reel; none for a run that was not judged."""
    return standings_of_runs(store, (run_id,)).get(run_id, {})


def standings_of_runs(store: Store, runs: Iterable[str]) -> dict[str, dict[str, Standing]]:
    """How every reel of some runs' newest judgements stands now, by run and reel; runs not judged are left out.

    What all runs share is asked once, and of the runs only these are asked about, many at a time.
    """
    from pipeline.record.run_facts import facts_of_runs

    return {facts.run_id: standings_of(facts) for facts in facts_of_runs(store, runs)}


def standings_of(book: Facts) -> dict[str, Standing]:
    """How every reel of a run's newest judgement stands now, by reel."""
    from pipeline.record.standing_fold import ReelFold

    return {row["reel_id"]: ReelFold(book, row).standing() for row in book.reels}
