"""The containment page: every length a suspect touches, what is still in house first.

The record of the containment page: what a suspect touches, as things stand now.
"""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC
from typing import TYPE_CHECKING, Any

from dashboards.fillers.decisions import alarms_of
from dashboards.fillers.rows import stamp_of
from dashboards.fillers.run_book import RunBook, aware
from dashboards.records import Containment, Plant, TouchedLength
from dashboards.rendering import write_page
from dashboards.site import Site, WrittenFile
from pipeline.length.reel_places import span_from_other_end
from pipeline.record.touched_wire import Contained, contained, containment_id, question_of

if TYPE_CHECKING:
    from pipeline.store.database import Store


def containment_entries(store: Store) -> list[dict[str, Any]]:
    """The journal's entries of containments, oldest first, each with its record."""
    return [
        {**row, "record": json.loads(row["record"])["record"]}
        for row in store.ask("questions/entries_of_kind", kind="containment")
    ]


def containment_of(store: Store, plant: Plant, books: list[RunBook], entry: dict[str, Any]) -> Containment:
    """Everything the containment page shows: the question as it was asked, and what it touches now.

    Args:
        store: the store, open to read.
        plant: the plant.
        books: every run on file.
        entry: a row of `containment_entries`.
    """
    answer = contained(store, question_of(entry["record"]))
    return Containment(
        plant=plant,
        containment_id=containment_id(entry["entry_no"]),
        suspect=answer.question.told,
        reason=entry["record"]["reason"],
        asked_by=entry["record"]["role"],
        asked_at=aware(entry["at_utc"]).astimezone(UTC),
        touched=touched_lengths(answer),
        in_house_m=answer.in_house_m,
        not_known_m=answer.not_known_m,
        shipped_m=answer.gone_m,
        notes=answer.notes,
        stamp=replace(
            stamp_of([book for book in books if book.run_id in answer.runs]),
            left_held=alarms_of(
                [book for book in books if book.run_id in {one.run_id for one in answer.touched}],
                {one.reel_id for one in answer.touched},
            ),
        ),
    )


def touched_lengths(answer: Contained) -> tuple[TouchedLength, ...]:
    """The touched wire as the page lists it; places count from the outer end, as on every page."""
    rows = []
    for one in answer.touched:
        for low, high in one.spans:
            rows.append(
                TouchedLength(
                    length_id=one.length_id,
                    run_id=one.run_id,
                    from_m=low,
                    to_m=high,
                    where=one.where,
                    state=one.state,
                    standing=one.standing,
                    path=one.path,
                    core_m=span_from_other_end((low, high), one.length_m) if one.length_m else None,
                )
            )
    return tuple(rows)


def write_containment_page(record: Containment, site: Site) -> WrittenFile:
    """Writes the containment page.

    Args:
        record: what it shows.
        site: where.
    """
    return write_page(site, "containment", record.containment_id, "containment.html.j2", record)
