"""Commands that keep wire back: hold."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from pipeline.cli.plant_units import InUnits
from pipeline.cli.showing import JSON, STORE, print_alarms, print_json, tell_of_wait
from pipeline.cli.typed import metres_of, told_or_refused
from pipeline.errors import Complaint, ReelproofError

if TYPE_CHECKING:
    from pipeline.acts.holding import HoldsOn


def add_to(app: typer.Typer) -> None:
    """Add these commands to `app`."""
    app.command()(hold)


def hold(
    subject: str = typer.Argument(
        metavar="SUBJECT", help="A reel, or a material lot with every reel made of it."
    ),
    start: str | None = typer.Option(
        None, "--from", help="Hold a stretch of the reel only: from here, as 1,200ft from the outer end."
    ),
    end: str | None = typer.Option(None, "--to", help="Up to here, from the outer end."),
    from_core: bool = typer.Option(False, "--from-core", help="Both count from the core end instead."),
    lift: int | None = typer.Option(None, "--lift", min=1, help="Lift the hold of this number."),
    role: str = typer.Option("", "--role", help="Your role in the plant."),
    reason: str = typer.Option("", "--reason", help="Why, in your words."),
    person: str = typer.Option("", "--person", help="Your mark, where the plant keeps one."),
    store: Path = STORE,
    as_json: bool = JSON,
) -> int:
    """Hold a reel, a lot or a stretch of a reel, or lift a hold. Held wire is not released, cut for sale or shipped.

    Without --role and --reason the holds on it are shown. Who may put and lift one stands in the plant's sheet.

    Example: reelproof hold L1-0411-01 --from 1,200ft --to 1,260ft --role "quality engineer" --reason "scuffed"

    Example: reelproof hold PVC-7741 --lift 214 --role "quality engineer" --reason "the supplier's test conforms"
    """
    from pipeline.acts.holding import holds_on, lift_hold, put_hold
    from pipeline.nonconformance.disposition import Person
    from pipeline.record.alarms import alarms_of_runs, runs_of_lots
    from pipeline.record.from_core import span_from_core
    from pipeline.record.plant_sheet_on_file import unit_of_plant
    from pipeline.store.database import open_to_read, open_to_write

    span = _span(start, end)
    if from_core and span is None:
        raise ReelproofError(
            Complaint("--from-core", "no stretch was given", "Give --from and --to, or leave it out")
        )
    if not role and not reason and lift is None and span is None:
        with open_to_read(store) as opened:
            held = holds_on(opened, subject)
            units = InUnits(unit_of_plant(opened))
        print_json(_as_json(held)) if as_json else _print(held, units)
        return 0
    told_or_refused(f"hold {subject}", role, reason)
    if lift is not None and span is not None:
        raise ReelproofError(Complaint("--lift", "a stretch was given too", "A hold is lifted as a whole"))
    by = Person(role, person)
    with open_to_write(store, on_wait=tell_of_wait, must_exist=True) as opened:
        if span is not None and from_core:
            span = span_from_core(opened, subject, span)
        if lift is None:
            number = put_hold(opened, subject, by, reason, span)
        else:
            number = lift_hold(opened, subject, lift, by, reason)
        held = holds_on(opened, subject)
        runs = [held.run_id] if held.about == "reel" else runs_of_lots(opened, [subject])
        alarms = alarms_of_runs(opened, runs)
        units = InUnits(unit_of_plant(opened))
    if as_json:
        print_json({"journal_entry": number, **_as_json(held), "alarms": list(alarms)})
    else:
        print_alarms(alarms, units.unit)
        print(
            f"Hold {number} is put on {subject}." if lift is None else f"Hold {lift} on {subject} is lifted."
        )
        _print(held, units)
    return 0


def _span(start: str | None, end: str | None) -> tuple[float, float] | None:
    if start is None and end is None:
        return None
    if start is None or end is None:
        missing = "--from" if start is None else "--to"
        raise ReelproofError(Complaint(missing, "it is missing", "Give both ends of the stretch, or neither"))
    return metres_of(start, "--from"), metres_of(end, "--to")


def _as_json(held: HoldsOn) -> dict[str, object]:
    lifted = {one.number for one in held.holds} - {one.number for one in held.in_force}
    return {
        "subject": held.subject,
        "about": held.about,
        "holds": [
            {
                "number": one.number,
                "from_outer_m": one.from_outer_m,
                "to_outer_m": one.to_outer_m,
                "role": one.by.role,
                "person": one.by.person,
                "reason": one.reason,
                "at_utc": one.at_utc.replace(tzinfo=None),
                "in_force": one.number not in lifted,
            }
            for one in held.holds
        ],
    }


def _print(held: HoldsOn, units: InUnits) -> None:
    if not held.in_force:
        print(f"No hold is in force on {held.about} {held.subject}.")
    for one in held.in_force:
        print(f"In force: {units.sentence(one.told)}")
    for one in held.holds:
        if one not in held.in_force:
            print(f"Lifted: {units.sentence(one.told)}")
