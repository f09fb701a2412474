"""Commands on what becomes of wire: disposition, cut, ship; contain and declare are in their own file."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from pipeline.cli import answering
from pipeline.cli.plant_units import InUnits
from pipeline.cli.showing import JSON, STORE, print_alarms, print_json, print_table, tell_of_wait
from pipeline.cli.typed import told_or_refused, unused_or_refused
from pipeline.words import counted

if TYPE_CHECKING:
    from pipeline.acts.deciding import Acted, Subject
    from pipeline.nonconformance.disposition import Act, State
    from pipeline.record.cutting_on_file import ReelPlan


class Deed(StrEnum):
    """What a person does about a finding or reel."""

    DECIDE = "decide"
    CONFIRM = "confirm"
    DECLINE = "decline"
    COMPLETE = "complete"
    REOPEN = "reopen"


class Chosen(StrEnum):
    """What is decided, in the terms of ISO 9000."""

    REWORK = "rework"
    REPAIR = "repair"
    REGRADE = "regrade"
    SCRAP = "scrap"
    CONCESSION = "concession"
    RELEASE = "release"


def add_to(app: typer.Typer) -> None:
    """Add these commands to `app`."""
    app.command()(disposition)
    app.command()(cut)
    app.command()(ship)
    answering.add_to(app)


def disposition(
    subject: str = typer.Argument(metavar="SUBJECT", help="A finding, a reel or a cut length."),
    act: Deed | None = typer.Argument(
        None, metavar="ACT", help="decide, confirm, decline, complete or reopen."
    ),
    chosen: Chosen | None = typer.Argument(
        None, metavar="DISPOSITION", help="rework, repair, regrade, scrap, concession or release."
    ),
    role: str = typer.Option("", "--role", help="Your role in the plant."),
    reason: str = typer.Option("", "--reason", help="Why, in your words."),
    person: str = typer.Option("", "--person", help="Your mark, where the plant keeps one."),
    evidence: str = typer.Option("", "--evidence", help="Test report, sample or cut record you saw."),
    seen: int | None = typer.Option(
        None, "--seen", min=0, help="How many acts you had seen; those on file at the start by default."
    ),
    store: Path = STORE,
    as_json: bool = JSON,
) -> int:
    """Show what was decided about wire, or decide. It takes a finding, a reel or a cut length. A person's act goes on
    file; nothing is overwritten.

    Example: reelproof disposition R-0412-F01 decide scrap --role "quality engineer" --reason "thin on a slice"
    """
    from pipeline.acts.deciding import act_on, subject_on_file
    from pipeline.record.plant_sheet_on_file import unit_of_run
    from pipeline.store.database import open_to_read, open_to_write

    if act is None:
        unused_or_refused(
            f"disposition {subject}", "the act", role=role, reason=reason, person=person, evidence=evidence
        )
    with open_to_read(store) as opened:
        shown = subject_on_file(opened, subject)
        units = InUnits(unit_of_run(opened, shown.run_id))
    if act is None:
        print_json(_subject_as_json(shown)) if as_json else _print_subject(shown, units)
        return 0
    told_or_refused(f"disposition {subject}", role, reason)
    from pipeline.nonconformance.disposition import Person
    from pipeline.record.alarms import alarms_of_runs

    with open_to_write(store, on_wait=tell_of_wait, must_exist=True) as opened:
        done = act_on(
            opened,
            subject,
            act.value,
            Person(role, person),
            reason,
            chosen.value if chosen else None,
            evidence=evidence,
            seen=shown.state.version if seen is None else seen,
        )
        alarms = alarms_of_runs(opened, [shown.run_id])
    if as_json:
        print_json({**_acted_as_json(done), "alarms": list(alarms)})
    else:
        print_alarms(alarms, units.unit)
        _print_acted(done)
    return 0


def _standing(state: State) -> str:
    return f"{state.standing} ({state.disposition})" if state.disposition else state.standing


def _print_subject(shown: Subject, units: InUnits) -> None:
    sentence = units.sentence(shown.sentence)
    print(f"{shown.about.capitalize()} {shown.name}: {_standing(shown.state)}. {sentence}")
    for reason in dict.fromkeys(units.sentences(shown.reasons)):
        print(f"  - {reason}")
    for name, state in sorted(shown.holding.items()):
        print(f"  Finding {name}: {_standing(state)}")
    for act in shown.acts:
        print(f"  {act.version}. {act}" + (f" [{act.evidence}]" if act.evidence else ""))
    if shown.proposal and shown.state.standing == "open":
        print(f"  Proposed, for a person to take or leave: {shown.proposal}")
    print(f"  Acts so far: {shown.state.version} (give --seen {shown.state.version} when you act on this).")


def _act_as_json(act: Act) -> dict[str, object]:
    return {
        "version": act.version,
        "kind": act.kind,
        "disposition": act.disposition,
        "role": act.by.role,
        "person": act.by.person,
        "reason": act.reason,
        "evidence": act.evidence,
        "at_utc": act.at_utc.replace(tzinfo=None),
        "waits_for_a_second_person": act.waits,
    }


def _state_as_json(state: State) -> dict[str, object]:
    return {"standing": state.standing, "disposition": state.disposition, "version": state.version}


def _subject_as_json(shown: Subject) -> dict[str, object]:
    from pipeline.record.standing_told import told_once
    from pipeline.wording.say import plain

    return {
        "subject": shown.name,
        "about": shown.about,
        "run_id": shown.run_id,
        "reel_id": shown.reel_id,
        "assessment_id": shown.assessment_id,
        "sentence": plain(shown.sentence),
        "standing": shown.code,
        "state": _state_as_json(shown.state),
        "reasons": told_once(shown.reasons),
        "holding": {name: _state_as_json(state) for name, state in sorted(shown.holding.items())},
        "acts": [_act_as_json(act) for act in shown.acts],
        "proposal": shown.proposal,
    }


def _acted_as_json(done: Acted) -> dict[str, object]:
    return {
        "subject": done.act.subject,
        "act": _act_as_json(done.act),
        "state": _state_as_json(done.state),
        "journal_entry": done.entry_no,
    }


def _print_acted(done: Acted) -> None:
    print(
        f"{done.act.subject}: {done.act}. It is now {_standing(done.state)}. Journal entry {done.entry_no}."
    )
    if done.state.standing == "awaiting a second person":
        print("The plant's rule asks for a second person: let another confirm or decline it.")
    elif done.state.standing == "decided":
        print("Complete it with --evidence once it is done and checked.")


def cut(
    reel: str = typer.Argument(metavar="REEL", help="Number of the reel."),
    accept: bool = typer.Option(False, "--accept", help="Accept the plan; it is kept with who and why."),
    role: str = typer.Option("", "--role", help="Your role in the plant."),
    reason: str = typer.Option("", "--reason", help="Why, in your words."),
    person: str = typer.Option("", "--person", help="Your mark, where the plant keeps one."),
    store: Path = STORE,
    as_json: bool = JSON,
) -> int:
    """Print or accept a reel's cutting plan of greatest value. Lengths and clearance are the plant sheet's.

    Example: reelproof cut L1-0412-02 --store store
    """
    from pipeline.record.cutting_on_file import plan_for_reel
    from pipeline.store.database import open_to_read, open_to_write

    if not accept:
        unused_or_refused(f"cut {reel}", "--accept", role=role, reason=reason, person=person)
    else:
        from pipeline.acts.following_up import accept_plan
        from pipeline.nonconformance.disposition import Person

        told_or_refused(f"cut {reel}", role, reason)
        with open_to_write(store, on_wait=tell_of_wait, must_exist=True) as opened:
            entry = accept_plan(opened, reel, Person(role, person), reason)
        if not as_json:
            print(f"The cutting plan of {reel} is accepted. Journal {entry}.")
    with open_to_read(store) as opened:
        planned = plan_for_reel(opened, reel)
    print_json(_plan_as_json(planned)) if as_json else _print_plan(planned)
    return 0


def _plan_as_json(planned: ReelPlan) -> dict[str, object]:
    from pipeline.wording.say import plain

    return {
        "reel_id": planned.reel_id,
        "length_m": planned.length_m,
        "begun_m": planned.begun_m,
        "must_go": [
            {
                "kind": one.kind,
                "finding_id": one.finding_id,
                "from_m": one.from_m,
                "to_m": one.to_m,
                "sentence": plain(one.told),
            }
            for one in planned.bad
        ],
        "closed_otherwise": list(planned.kept),
        "pieces": [
            {
                "kind": one.kind,
                "from_m": one.from_m,
                "to_m": one.to_m,
                "sold_m": one.sold_m,
                "value": one.value,
            }
            for one in planned.plan.pieces
        ],
        "steps": [one.sentence for one in planned.steps],
        "unit": planned.plan.unit,
        "value": planned.plan.value,
        "value_longest_first": planned.naive.value,
        "currency": planned.currency,
        "method": planned.plan.method,
    }


def _print_plan(planned: ReelPlan) -> None:
    from pipeline.nonconformance.cut_instructions import CAUTION, counter_start

    unit = planned.plan.unit
    shown = InUnits(unit)
    print(f"Reel {planned.reel_id}. {' '.join(shown.sentences(planned.told))}")
    for one in planned.gone:
        print(f"  Must go, {shown.sentence(one)}")
    for finding in planned.kept:
        print(f"  Stays by the plant's sheet and a decision with evidence: {finding}")
    print()
    print(counter_start(planned.begun_m, unit))
    print_table(
        ("Step", f"From {unit}", f"To {unit}", "Do"),
        [
            (str(one.number), f"{one.counter_from:,.1f}", f"{one.counter_to:,.1f}", one.sentence)
            for one in planned.steps
        ],
    )
    more = planned.plan.value - planned.naive.value
    print(
        f"\nValue {planned.plan.value:,.2f} {planned.currency}".rstrip()
        + (
            f", which is {more:,.2f} more than cutting longest lengths first ({planned.naive.value:,.2f})."
            if more > 0.005
            else ", the same as cutting longest lengths first."
        )
    )
    print(f"Caution: {CAUTION}")


def ship(
    file: Path = typer.Argument(
        help="Cuts, rewindings and shipments, as TOML ([[cuts]], [[rewinds]], [[shipments]]); or CSV."
    ),
    role: str = typer.Option(..., "--role", help="Your role in the plant."),
    person: str = typer.Option("", "--person", help="Your mark, where the plant keeps one."),
    override_role: str = typer.Option(
        "", "--override-role", help="Role of whoever sends wire that is held or unreleased all the same."
    ),
    override_reason: str = typer.Option("", "--override-reason", help="Why they send it, in their words."),
    override_person: str = typer.Option(
        "", "--override-person", help="Their mark, where the plant keeps one."
    ),
    store: Path = STORE,
    as_json: bool = JSON,
) -> int:
    """Put on file what was cut, rewound and shipped. Each is told once.

    Wire that may not leave is refused with the whole list. A role that the plant's sheet lists for it may send it all
    the same; that is kept, and every page that concerns the wire says so first.

    Places count from the reel's outer end, which comes off first, or with counted_from = "core end" from there. A TOML
    file holds [[cuts]] with reel, length, from_ft and to_ft (or from_m and to_m), use (package, stock or scrap) and at,
    and [[shipments]] with id, to, contents and at; a CSV holds one length a line, with reel, length, from_ft, to_ft,
    use, cut_at, shipment, to and shipped_at.

    A length wound onto another package lies the other way round there. TOML tells it as [[rewinds]], in the order
    done, with source, onto, take_ft or take_m (all of it where left out), use and at, and where they are known
    outer_mark_ft or outer_mark_m and marks: rising or falling from the new outer end to the core.

    Example: reelproof ship shipped.toml --role "shipping clerk" --store store
    """
    from pipeline.acts.shipping import put_shipping_on_file
    from pipeline.record.left_on_file import Override
    from pipeline.record.plant_sheet_on_file import unit_of_plant
    from pipeline.record.shipping_list import read_shipping_list
    from pipeline.store.database import open_to_write

    told = read_shipping_list(file)
    override = None
    if override_role or override_reason or override_person:
        override = Override(override_role, override_person, override_reason)
    with open_to_write(store, on_wait=tell_of_wait, must_exist=True) as opened:
        done = put_shipping_on_file(opened, told, role, override, person)
        units = InUnits(unit_of_plant(opened))
    if as_json:
        from pipeline.wording.say import plain

        print_json(
            {
                "cut": list(done.cuts),
                "rewound": list(done.rewound),
                "shipped": list(done.items),
                "on_file_already": list(done.known),
                "told": [plain(one) for one in done.told],
            }
        )
    else:
        already = (
            f" {counted(done.known, 'was on file already', 'were on file already')}." if done.known else ""
        )
        rewound = f", {counted(done.rewound, 'rewound length')}" if done.rewound else ""
        put = f"{counted(done.cuts, 'cut length')}{rewound} and {counted(done.items, 'shipped item')}"
        print(f"{put} put on file.{already}")
        for sentence in done.told:
            print(f"{'ALARM' if sentence in done.alarms else 'Look at this'}: {units.sentence(sentence)}")
    return 1 if done.told else 0
