"""A reel's standing in one sentence: who decided what and when, where it went, what speaks against it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import UTC
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from pipeline.messages import Message, Slot, message
from pipeline.nonconformance.disposition import Act, State
from pipeline.record.decided import LETS_GO
from pipeline.why import Stands
from pipeline.wording.say import plain

if TYPE_CHECKING:
    from pipeline.record.left_on_file import Left
    from pipeline.record.standing import LengthStanding, Standing
    from pipeline.wording.kinds import System

SETTLED = {"releasable": Stands.RELEASABLE, "cut": Stands.CUT}
OF_LEFT = {
    "held since it left": Stands.HELD_SINCE,
    "left unreleased": Stands.LEFT_UNRELEASED,
    "left while held": Stands.LEFT_HELD,
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
    gone = _gone(left, zone)
    return f"shipped in {gone['shipment']} to {gone['place']}{gone['on']}"


def _gone(left: Left, zone: str) -> dict[str, str]:
    """The item that left, its shipment, where it went, and when if that is known."""
    on = ""
    if left.at_utc is not None:
        on = f" on {left.at_utc.replace(tzinfo=UTC).astimezone(ZoneInfo(zone)):%Y-%m-%d}"
    return {"item": left.item, "shipment": left.shipment, "place": left.to_place, "on": on}


def left_headline(code: str, left: Left, let_go: str, zone: str) -> Message:
    """What is said of wire that left.

    Args:
        code: how it stands.
        left: how it left.
        let_go: who let it go (`let_go_by`), "" for nobody.
        zone: zone of the plant's clocks.
    """
    gone = _gone(left, zone)
    if left.override is not None:
        gone |= {"role": left.override.role.capitalize(), "reason": left.override.reason.rstrip(".")}
    if code == "shipped":
        return message(Stands.SHIPPED, by=let_go, **gone)
    return message(OF_LEFT[code], **gone)


def headline(
    code: str,
    reasons: Sequence[Message],
    state: State | None = None,
    acts: Sequence[Act] = (),
    zone: str = "UTC",
) -> Message:
    """What is said of wire that is at the plant.

    Args:
        code: how it stands.
        reasons: what speaks against letting it go.
        state: what the acts amount to.
        acts: every act on the reel or length.
        zone: zone of the plant's clocks.
    """
    if code in SETTLED:
        return message(SETTLED[code])
    if code in ("released", "released by concession"):
        return let_go_headline(code, done_by(acts, ("decide", "confirm"), zone))
    if code == "scrapped":
        by = done_by(acts, ("decide", "complete"), zone)
        return message(Stands.DONE, done="Scrapped", **({"by": by} if by else {}))
    if code == "regraded":
        return message(Stands.REGRADED, by=done_by(acts, ("decide", "confirm"), zone))
    if code in ("awaiting a second person", "decided") and state is not None:
        waits = Stands.NOT_DONE if code == "decided" else Stands.WAITS
        by = done_by(acts, ("decide",), zone)
        return message(waits, disposition=str(state.disposition).capitalize(), by=by)
    told: dict[str, Slot] = {"first": reasons[0]} if reasons else {}
    if len(reasons) > 1:
        told["more"] = len(reasons) - 1
    return message(Stands.NO_CONCLUSION if code == "no conclusion" else Stands.HELD, **told)


def let_go_headline(code: str, by: str) -> Message:
    """What is said of wire that was let go and is at the plant.

    Args:
        code: how it stands.
        by: who let it go and when (`let_go_by`).
    """
    return message(Stands.DONE, done=code.capitalize(), by=by)


def told_once(reasons: Iterable[Message], system: System = "si") -> list[str]:
    """Reasons as sentences in one unit system, each told once."""
    return list(dict.fromkeys(plain(one, system) for one in reasons))


def standing_record(one: Standing) -> dict[str, Any]:
    """A reel's standing as commands print it; what is said of it stays in codes for whoever tells it."""
    return {
        "code": one.code,
        "headline": one.headline,
        "evidence": one.evidence,
        "reasons": told_once(one.reasons),
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
        "headline": plain(one.headline),
        "reasons": told_once(one.reasons),
        "may_leave": one.may_leave,
        "shipment": one.left.shipment if one.left else None,
    }
