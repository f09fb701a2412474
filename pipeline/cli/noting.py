"""Command that follows wire up without deciding: note."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from pipeline.cli.showing import JSON, STORE, print_json, tell_of_wait
from pipeline.cli.typed import moment_of, told_or_refused
from pipeline.errors import Complaint, ReelproofError

if TYPE_CHECKING:
    from pipeline.lots.journal import Entry


def add_to(app: typer.Typer) -> None:
    """Add this command to `app`."""
    app.command()(note)


def note(
    subject: str = typer.Argument(
        metavar="SUBJECT", help="A finding, a reel, a cut length or a material lot."
    ),
    role: str = typer.Option("", "--role", help="Your role in the plant."),
    reason: str = typer.Option(
        "", "--reason", help="Your comment; why you give it to somebody; what the file shows."
    ),
    person: str = typer.Option("", "--person", help="Your mark, where the plant keeps one."),
    mention: str = typer.Option("", "--for", help="Role that the comment is for."),
    to_role: str = typer.Option("", "--to-role", help="Give the finding to this role."),
    to_person: str = typer.Option("", "--to-person", help="Give it to this person of the role."),
    due: str = typer.Option(
        "", "--due", help="By when, as 2026-03-05T10:00; by its severity where left out."
    ),
    file: Path | None = typer.Option(None, "--attach", help="Attach this photo (PNG, JPEG) or PDF."),
    store: Path = STORE,
    as_json: bool = JSON,
) -> int:
    """Comment on wire, hand on a finding, or attach evidence. What is put on file stays.

    Without --role and --reason what persons added is shown.

    Example: reelproof note R-0412-F01 --role "quality engineer" --reason "Ask the rewinder" --for "line operator"
    """
    from pipeline.acts.attaching import MOST_BYTES, EvidenceFile, attach
    from pipeline.acts.following_up import added_to, assign, comment_on, run_behind
    from pipeline.nonconformance.disposition import Person
    from pipeline.record.plant_sheet_on_file import plant_sheet_of
    from pipeline.regular_file import opened_regular
    from pipeline.store.database import open_to_read, open_to_write

    if not any((role, reason, person, mention, to_role, to_person, due, file)):
        with open_to_read(store) as opened:
            added = added_to(opened, subject)
        print_json([_as_json(one) for one in added]) if as_json else _print(subject, added)
        return 0
    told_or_refused(f"note {subject}", role, reason)
    if sum((bool(mention), bool(to_role), file is not None)) > 1:
        raise ReelproofError(
            Complaint(
                f"note {subject}",
                "it does several things at once",
                "Give one of --for, --to-role and --attach",
            )
        )
    if (to_person or due) and not to_role:
        raise ReelproofError(
            Complaint(
                f"note {subject}",
                f"{'--to-person' if to_person else '--due'} goes with a finding that is given to somebody",
                "Give --to-role too, or leave it out",
            )
        )
    by, until = Person(role, person), None
    if due:
        with open_to_read(store) as opened:
            until = moment_of(due, plant_sheet_of(opened, run_behind(opened, subject))[0].zone, "--due")
    with open_to_write(store, on_wait=tell_of_wait, must_exist=True) as opened:
        if file is not None:
            with opened_regular(file) as content:
                entry = attach(
                    opened, subject, by, reason, EvidenceFile(file.name, content.read(MOST_BYTES + 1))
                )
        elif to_role:
            entry = assign(opened, subject, by, reason, Person(to_role, to_person), until)
        else:
            entry = comment_on(opened, subject, by, reason, mention)
        added = added_to(opened, subject)
    if as_json:
        print_json({"journal_entry": entry, "added": [_as_json(one) for one in added]})
    else:
        _print(subject, added)
    return 0


def _as_json(entry: Entry) -> dict[str, object]:
    from pipeline.wording.say import plain

    content = entry.content
    kept = (
        "role",
        "person",
        "reason",
        "mention",
        "to_role",
        "to_person",
        "due_utc",
        "sha256",
        "type",
        "name",
    )
    return {
        "journal_entry": entry.entry_no,
        "kind": entry.kind,
        "at_utc": entry.at_utc.replace(tzinfo=None),
        "said": plain(entry.told),
        **{name: content[name] for name in kept if name in content},
    }


def _print(subject: str, added: tuple[Entry, ...]) -> None:
    from pipeline.wording.say import plain

    if not added:
        print(f"Nobody added anything to {subject}.")
    for one in added:
        print(f"{one.entry_no}. {plain(one.told)}")
