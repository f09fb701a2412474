"""A reel's standing in one sentence: who decided what and when, where it went, what speaks against it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from pipeline.nonconformance.disposition import Act, State
from pipeline.record.decided import LETS_GO
from pipeline.wording.say import plain
from pipeline.words import counted

if TYPE_CHECKING:
    from pipeline.record.left_on_file import Left
    from pipeline.record.standing import LengthStanding, Standing

SETTLED = {
    "releasable": "Releasable on the evidence. Nobody has released it.",
    "cut": "All of it was cut or rewound.",
}


def let_go_by(state: State, acts: Sequence[Act], zone: str) -> str:
    """Who let wire go and when: ``by quality engineer and quality manager on 2026-03-05``; "" for nobody.

    Args:
        state: what the acts amount to.
        acts: every act on the reel or length.
        zone: zone of the plant's clocks.
    """
    return done_by(acts, ("decide", "confirm"), zone) if state.disposition in LETS_GO else ""


def done_by(acts: Sequence[Act], kinds: tuple[str, ...], zone: str) -> str:
    """Who did the acts of some kinds since the last decision, and on which day at the plant; "" for nobody."""
    last = max((act.version for act in acts if act.kind == "decide"), default=0)
    done = [act for act in acts if act.version >= last and act.kind in kinds]
    if not done:
        return ""
    who = " and ".join(dict.fromkeys(act.by.role for act in done))
    return f"by {who} on {done[-1].at_utc.astimezone(ZoneInfo(zone)):%Y-%m-%d}"


def told_left(left: Left, zone: str) -> str:
    """Where an item went and when."""
    when = ""
    if left.at_utc is not None:
        when = f" on {left.at_utc.replace(tzinfo=UTC).astimezone(ZoneInfo(zone)):%Y-%m-%d}"
    return f"shipped in {left.shipment} to {left.to_place}{when}"


def left_headline(code: str, left: Left, let_go: str, zone: str) -> str:
    """What is said of wire that left.

    Args:
        code: how it stands.
        left: how it left.
        let_go: who let it go (`let_go_by`), "" for nobody.
        zone: zone of the plant's clocks.
    """
    gone = told_left(left, zone)
    although = ""
    if left.override is not None:
        by, why = left.override.role.capitalize(), left.override.reason.rstrip(".")
        although = f" {by} sent it all the same: {why}."
    if code == "shipped":
        return f"{gone[:1].upper()}{gone[1:]}. Released {let_go}.{although}"
    if code == "held since it left":
        return f"{left.item} left and is held since: {gone}."
    if code == "left unreleased":
        return f"{left.item} left and nobody had released it: {gone}.{although}"
    return f"{left.item} left while held: {gone}.{although}"


def headline(
    code: str, reasons: Sequence[str], state: State | None = None, acts: Sequence[Act] = (), zone: str = "UTC"
) -> str:
    """What is said of wire that is at the plant.

    Args:
        code: how it stands.
        reasons: what speaks against letting it go.
        state: what the acts amount to.
        acts: every act on the reel or length.
        zone: zone of the plant's clocks.
    """
    if code in SETTLED:
        return SETTLED[code]
    if code in ("released", "released by concession"):
        return f"{code.capitalize()} {done_by(acts, ('decide', 'confirm'), zone)}."
    if code == "scrapped":
        return f"{' '.join(('Scrapped', done_by(acts, ('decide', 'complete'), zone))).strip()}."
    if code == "regraded":
        by = done_by(acts, ("decide", "confirm"), zone)
        return f"Regraded {by}: it may not leave as what it was made as."
    if code in ("awaiting a second person", "decided") and state is not None:
        wait = "It is not done yet." if code == "decided" else "It waits for a second person."
        return f"{str(state.disposition).capitalize()} decided {done_by(acts, ('decide',), zone)}. {wait}"
    first = reasons[0] if reasons else ""
    more = f" And {counted(len(reasons) - 1, 'more reason')}." if len(reasons) > 1 else ""
    name = "No conclusion" if code == "no conclusion" else "Held"
    return f"{name}, may not leave. {first}{more}".strip()


def standing_record(one: Standing) -> dict[str, Any]:
    """A reel's standing as commands and packs print it for machines."""
    return {
        "code": one.code,
        "headline": one.headline,
        "evidence": one.evidence,
        "reasons": list(one.reasons),
        "holds": [plain(hold.told) for hold in one.holds],
        "where": one.where,
        "may_leave": one.may_leave,
        "left_while_held": one.left_while_held,
        "alarms": list(one.alarms),
        "lengths": [_length_record(length) for length in one.lengths],
    }


def _length_record(one: LengthStanding) -> dict[str, Any]:
    return {
        "length_id": one.length_id,
        "code": one.code,
        "headline": one.headline,
        "reasons": list(one.reasons),
        "may_leave": one.may_leave,
        "shipment": one.left.shipment if one.left else None,
    }
