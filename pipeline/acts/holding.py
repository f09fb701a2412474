"""Put a hold on a reel, a lot or a stretch of a reel, and lift one: acts of persons, kept in the journal for good."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from pipeline.errors import Complaint
from pipeline.found import Found, Remedy
from pipeline.length.reel_places import Unit, length_told
from pipeline.messages import message, said_json
from pipeline.nonconformance.disposition import DispositionRefused, Person, Power, check_power
from pipeline.nonconformance.hold import HeldKind, Hold, in_force
from pipeline.record.holds_on_file import HOLD, LIFT, holds_on_file
from pipeline.record.journal_on_file import note
from pipeline.record.not_found import not_on_file, reel_not_on_file
from pipeline.record.plant_sheet_on_file import plant_sheet_of, unit_of_run

if TYPE_CHECKING:
    from pipeline.store.database import Store


@dataclass(frozen=True, slots=True)
class HoldsOn:
    """The holds on one reel or lot.

    Args:
        subject: the reel or lot.
        about: which of the two.
        run_id: the run whose plant sheet says who may hold: the reel's, or the newest that used the lot.
        zone: zone of that plant's clocks.
        length_m: wire on the reel [m]; None for a lot.
        holds: every hold put on it, oldest first.
        in_force: those that nobody lifted.
    """

    subject: str
    about: str
    run_id: str
    zone: str
    length_m: float | None
    holds: tuple[Hold, ...]
    in_force: tuple[Hold, ...]


_ACT: dict[Power, str] = {"hold": "put a hold", "lift hold": "lift a hold"}


def holds_on(store: Store, subject: str) -> HoldsOn:
    """The holds on a reel or material lot.

    Raises:
        NotFoundError: there is neither of that number; the nearest are named.
    """
    reel = store.ask("questions/reel", reel_id=subject)
    found = reel or store.ask("questions/loads_of_lot", lot=subject)
    if found:
        run_id, length_m = found[-1]["run_id"], reel[0]["length_m"] if reel else None
        zone = plant_sheet_of(store, run_id)[0].zone
        put, lifted = holds_on_file(store)
        own = tuple(replace(one, zone=zone) for one in put if one.subject == subject)
        about = "reel" if reel else "lot"
        return HoldsOn(subject, about, run_id, zone, length_m, own, in_force(own, lifted))
    if store.ask("questions/reels_no_longer_judged", reels=[subject]):
        raise reel_not_on_file(store, subject)
    known = [row["reel_id"] for row in store.ask("questions/reel_ids")]
    raise not_on_file(
        "reel or lot", subject, [*known, *(row["lot"] for row in store.ask("questions/lot_ids"))]
    )


def put_hold(
    store: Store,
    subject: str,
    by: Person,
    reason: str,
    span_m: tuple[float, float] | None = None,
) -> int:
    """Put a hold on file; its number, by which it is lifted.

    Args:
        store: the store, open to write.
        subject: a reel or a material lot.
        by: who.
        reason: why, in their words.
        span_m: the stretch of the reel from its outer end [m]; None for the whole.

    Raises:
        NotFoundError: there is no such reel or lot.
        DispositionRefused: the plant's sheet does not let the role hold, or the stretch is none.
    """
    with store.transaction():
        held = holds_on(store, subject)
        _check(store, held, "hold", by, reason)
        _check_span(held, span_m, unit_of_run(store, held.run_id))
        start, end = span_m or (None, None)
        for one in held.in_force:
            if (one.from_outer_m, one.to_outer_m, one.by, one.reason) == (start, end, by, reason):
                return one.number  # the command was killed after it had put it, and given again
        about: HeldKind = "reel" if held.length_m is not None else "lot"
        hold = Hold(0, about, subject, start, end, by, reason, datetime.now(UTC), held.zone)
        record: dict[str, Any] = {
            "said": said_json(hold.as_put),
            "about": held.about,
            "from_outer_m": "" if span_m is None else repr(span_m[0]),
            "to_outer_m": "" if span_m is None else repr(span_m[1]),
            **_by(by, reason),
        }
        return note(store, HOLD, subject, record)


def lift_hold(store: Store, subject: str, number: int, by: Person, reason: str) -> int:
    """Lift a hold; the journal entry that keeps it.

    Args:
        store: the store, open to write.
        subject: the reel or lot it is on.
        number: its number.
        by: who.
        reason: why, in their words.

    Raises:
        NotFoundError: there is no such reel or lot.
        DispositionRefused: the plant's sheet does not let the role lift a hold, or none of that number is in force.
    """
    with store.transaction():
        held = holds_on(store, subject)
        _check(store, held, "lift hold", by, reason)
        (one,) = [hold for hold in held.in_force if hold.number == number] or (None,)
        if one is None:
            others = ", ".join(str(hold.number) for hold in held.in_force) or "none"
            raise DispositionRefused(
                Complaint(subject, f"no hold {number} is in force on it", f"In force: {others}")
            )
        said = message(Found.HOLD_LIFTED, by=str(by), reason=reason.rstrip("."), hold=one.told)
        return note(store, LIFT, subject, {"said": said_json(said), "lifts": number, **_by(by, reason)})


def _by(by: Person, reason: str) -> dict[str, str]:
    return {"role": by.role, "person": by.person, "reason": reason}


def _check(store: Store, held: HoldsOn, power: Power, by: Person, reason: str) -> None:
    if not by.role.strip() or not reason.strip():
        raise DispositionRefused(
            Complaint(held.subject, "the role or the reason is missing", message(Remedy.GIVE_REASON))
        )
    plant, _ = plant_sheet_of(store, held.run_id)
    check_power(held.subject, power, by, plant.may_decide.get(power, ()), _ACT[power])


def _check_span(held: HoldsOn, span_m: tuple[float, float] | None, unit: Unit) -> None:
    if span_m is None:
        return
    start, end = span_m
    if held.length_m is None:
        raise DispositionRefused(
            Complaint(
                held.subject, "a stretch was given and this is a lot", "Hold the lot, or a stretch of a reel"
            )
        )
    if not 0.0 <= start < end or start >= held.length_m:
        raise DispositionRefused(
            Complaint(
                held.subject,
                f"{length_told(start, unit)} to {length_told(end, unit)} from the outer end is no stretch of its "
                f"{length_told(held.length_m, unit)}",
                "Places count from the end that comes off first; give the start before the end",
            )
        )
