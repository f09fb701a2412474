"""Records that the API answers with where no record of a page is all of the answer."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from dashboards.records import FindingRow, LotHistory, ReelRow
from pipeline.lots.journal import Entry
from pipeline.messages import Message
from pipeline.nonconformance.disposition import Act, State
from pipeline.nonconformance.hold import Hold
from pipeline.record.standing import Code, LengthStanding, Standing


@dataclass(frozen=True, slots=True)
class ReelAnswer:
    """A reel: how it stands, what was judged of it, its findings, and what an act on it must have seen.

    Args:
        reel: the reel as its page has it; places on the wire of its run.
        standing: how it stands now, with everything that speaks against letting it go.
        findings: its findings.
        seen: digest of what an act on it must have seen.
        entry_no: newest entry of the journal when this was read.
    """

    reel: ReelRow
    standing: Standing
    findings: tuple[FindingRow, ...]
    seen: str
    entry_no: int


@dataclass(frozen=True, slots=True)
class LengthAnswer:
    """A cut length: how it stands, and what an act on it must have seen.

    Args:
        length: how it stands now; places from the outer end of its reel.
        run_id: run its wire was made in.
        seen: digest of what an act on it must have seen.
        entry_no: newest entry of the journal when this was read.
    """

    length: LengthStanding
    run_id: str
    seen: str
    entry_no: int


@dataclass(frozen=True, slots=True)
class FindingAnswer:
    """A finding: what was found, what was decided about it, and what an act on it must have seen.

    Args:
        finding: the finding as its page has it; None where the newest judgement of its run does not see it any more.
        told: what is said of it.
        run_id: its run.
        reel_id: its reel.
        state: what the acts on it amount to now.
        acts: every act on it, in order.
        proposal: what the program suggests; a person decides.
        seen: digest of what an act on it must have seen.
        entry_no: newest entry of the journal when this was read.
    """

    finding: FindingRow | None
    told: Message | str
    run_id: str
    reel_id: str
    state: State
    acts: tuple[Act, ...]
    proposal: str
    seen: str
    entry_no: int


@dataclass(frozen=True, slots=True)
class LotAnswer:
    """A material lot: its history, the holds on it, and what an act on it must have seen.

    Args:
        lot: everything that its page shows.
        holds: holds in force on the lot as a whole.
        seen: digest of what an act on it must have seen.
        entry_no: newest entry of the journal when this was read.
    """

    lot: LotHistory
    holds: tuple[Hold, ...]
    seen: str
    entry_no: int


@dataclass(frozen=True, slots=True)
class MayLeave:
    """A reel or cut length that may leave the plant now.

    Args:
        item: its number.
        reel_id: the reel it is, or was cut from.
        run_id: run it was made in.
        product: what it is.
        length_m: wire in it [m].
        standing: how it stands.
    """

    item: str
    reel_id: str
    run_id: str
    product: str
    length_m: float
    standing: Code


@dataclass(frozen=True, slots=True)
class EntryAnswer:
    """An entry of the journal, and what happened in words."""

    entry: Entry
    told: Message


@dataclass(frozen=True, slots=True)
class Part:
    """A part of a list: what is in it, and what to ask after for the next part; "" where this is the last."""

    items: tuple[Any, ...]
    next: str
