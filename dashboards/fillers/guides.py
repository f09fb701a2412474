"""The records of the guides: steps through what is on file in this very store, one walk a reader.

A step is left out where the store holds nothing to show; with nothing on file the guides fall back on the house's
own general steps.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from dashboards.addresses import address
from dashboards.fillers.rows import finding_row, product_row, stamp_of
from dashboards.fillers.run_book import RunBook
from dashboards.fillers.shift import first_things, shift_name
from dashboards.page_notes import PageNote
from dashboards.records import GATE_OF, FindingRow, Guides, GuideStep, Plant
from dashboards.table_cells import limit_source
from pipeline.length.reel_places import in_unit
from pipeline.messages import Measure, Place, message
from pipeline.nonconformance.decision import Verdict
from pipeline.nonconformance.rules import SEVERITIES
from pipeline.store.said_columns import reason_of

if TYPE_CHECKING:
    from dashboards.records import ConstructionComparison

Steps = list[GuideStep]


def guides_of(
    plant: Plant,
    shifts: list[tuple[str, list[RunBook]]],
    books: list[RunBook],
    constructions: Sequence[ConstructionComparison] = (),
) -> Guides:
    """The walks of the four readers.

    Args:
        plant: plant.
        shifts: runs by shift, oldest first.
        books: every run on file, oldest first.
        constructions: comparisons that have a page.
    """
    judged = [book for book in books if book.is_judged and book.head["outcome"] == "judged"]
    findings = [(book, finding_row(book, row)) for book in judged for row in book.findings]
    grave = sorted(findings, key=lambda pair: SEVERITIES.index(pair[1].severity))  # the oldest of the gravest
    return Guides(
        plant=plant,
        quality_engineer=tuple(_quality(shifts, books, grave)),
        process_engineer=tuple(_process(judged, findings)),
        auditor=tuple(_audit(judged, grave)),
        applications_engineer=tuple(_application(constructions, grave)),
        stamp=stamp_of(books),
    )


def _place(run_id: str, from_m: float, to_m: float) -> str:
    """Address of a stretch on the run's page, with as much again on both sides."""
    room = max(to_m - from_m, 20.0)
    return f"{address('run', run_id)}#m={max(from_m - room, 0.0):.1f}-{to_m + room:.1f}"


def _fewer(count: int, one: str, more: str) -> str:
    return f"1 {one}" if count == 1 else f"{count} {more}"


def _quality(
    shifts: list[tuple[str, list[RunBook]]], books: list[RunBook], grave: list[tuple[RunBook, FindingRow]]
) -> Steps:
    if not shifts:
        return []
    shift_id, runs = shifts[-1]
    head = runs[0].head
    name = f"{shift_name(head['shift'])}, {head['shift_date'].day} {head['shift_date']:%B %Y}"
    standing = [GATE_OF[one.code] for book in runs for one in book.standings.values()]
    steps = [
        GuideStep(
            f"Open the latest shift: {name}",
            (
                (
                    "Its first panel says it in three columns: "
                    f"{_fewer(standing.count('releasable'), 'reel', 'reels')} "
                    f"may leave on the evidence, {standing.count('held')} held, {standing.count('no conclusion')} "
                    "without a conclusion. The small numbers lead to the list of what to do first."
                ),
            ),
            address("shift", shift_id),
            "Open the shift",
        )
    ]
    first = next(iter(first_things(runs)), None)
    if first is not None:
        where = address("reel", first.reel_id) if first.reel_id else address("run", first.run_id)
        steps.append(
            GuideStep("Do what stands first on its list", (first.sentence, first.why), where, "Go there")
        )
    for _, one in [pair for pair in grave if pair[1].reel_ids and pair[1].requirement][:1]:
        steps.append(
            GuideStep(
                f"Look at a held reel: {one.reel_ids[0]}",
                (one.sentence, "Its page says why, where and by how much, and where it would be cut."),
                address("reel", one.reel_ids[0]),
                f"Open reel {one.reel_ids[0]}",
            )
        )
    unsettled = next((one for _, one in grave if one.verdict == Verdict.CANNOT_BE_TOLD), None)
    if unsettled is not None:
        steps.append(
            GuideStep(
                f"Settle what the gauge cannot: {unsettled.finding_id}",
                (unsettled.sentence, f"{unsettled.proposal}. A cut slice decides it, not a longer look."),
                address("finding", unsettled.finding_id),
                f"Open finding {unsettled.finding_id}",
            )
        )
    steps += _not_seen(books)
    decided = next((one for _, one in grave if one.status == "open"), None)
    if decided is not None:
        steps.append(
            GuideStep(
                "Put your decision on file",
                (
                    (
                        f"On the command line: reelproof disposition {decided.finding_id} --help. The decision is kept "
                        "with role and reason, and the pages show it from then on."
                    ),
                ),
                address("nonconformance"),
                "See what is open and what is closed",
            )
        )
    return steps


def _not_seen(books: list[RunBook]) -> Steps:
    """The reel with the longest unmonitored length, and a run whose data carry no conclusion."""
    steps = []
    reels = [
        (row["wall_unmonitored_m"], row["reel_id"])
        for book in books
        if book.is_judged and book.head["outcome"] == "judged"
        for row in book.reels
    ]
    longest, reel_id = max(reels, default=(0.0, ""))
    if longest > 0.0:
        steps.append(
            GuideStep(
                f"Mind what was not seen: {reel_id}",
                (message(PageNote.LONGEST_UNSEEN, length=Measure(longest, "m")),),
                address("reel", reel_id),
                f"Open reel {reel_id}",
            )
        )
    for book in books:
        if book.is_judged and book.head["outcome"] != "judged":
            steps.append(
                GuideStep(
                    f"Mind what cannot be concluded: {book.run_id}",
                    (reason_of(book.head) or "Its data carry no conclusion.", "No conclusion is not a pass."),
                    address("run", book.run_id),
                    f"Open run {book.run_id}",
                )
            )
            break
    return steps


def _process(judged: list[RunBook], findings: list[tuple[RunBook, FindingRow]]) -> Steps:
    steps = []
    told = {
        "drift": "Read it off the run's page: wall, diameter and offset stand under each other on one length.",
        "roll": "Faults at one spacing point to the element of the line whose turn fits.",
        "start-up": "Wire made before the line settled. The run page shades it.",
    }
    for cause, sentence in told.items():
        own = [
            one
            for _, one in findings
            if one.cause == cause and one.from_m is not None and one.to_m is not None
        ]
        if not own:
            continue
        longest = max(own, key=lambda one: (one.to_m or 0.0) - (one.from_m or 0.0))
        steps.append(
            GuideStep(
                f"A cause named {cause}: {longest.finding_id}",
                (longest.sentence, sentence),
                _place(longest.run_id, longest.from_m or 0.0, longest.to_m or 0.0),
                f"See it on run {longest.run_id}",
            )
        )
    offset, book = max(
        ((_mean_offset_mm(one), number) for number, one in enumerate(judged)), default=(0.0, None)
    )
    if book is not None and offset > 0.0:
        run = judged[book]
        steps.append(
            GuideStep(
                f"Which way is the conductor off? {run.run_id}",
                (message(PageNote.FURTHEST_OFF, offset=Measure(offset, "mm")),),
                address("centring", run.run_id),
                "Open its centering page",
            )
        )
    scrap = max(judged, key=lambda one: one.head["scrap_m"] or 0.0, default=None)
    if scrap is not None and scrap.head["scrap_m"]:
        steps.append(
            GuideStep(
                "What start and stop cost",
                (message(PageNote.MOST_SCRAP, run=scrap.run_id, length=Measure(scrap.head["scrap_m"], "m")),),
                address("run", scrap.run_id),
                f"Open run {scrap.run_id}",
            )
        )
    if steps:
        steps.append(
            GuideStep(
                "What the wall over the need costs",
                ("Better centering saves compound only where the minimum at any point binds.",),
                address("overwall"),
                "Open excess wall",
            )
        )
    return steps


def _mean_offset_mm(book: RunBook) -> float:
    """Size of the mean offset of the conductor over the run's stretches [mm]; 0 where none is known."""
    known = [row for row in book.stretches if row["ecc_cos_mm"] is not None and row["ecc_sin_mm"] is not None]
    if not known:
        return 0.0
    return math.hypot(
        sum(row["ecc_cos_mm"] for row in known) / len(known),
        sum(row["ecc_sin_mm"] for row in known) / len(known),
    )


def _audit(judged: list[RunBook], grave: list[tuple[RunBook, FindingRow]]) -> Steps:
    steps = []
    pick = next((one for _, one in grave if one.worst is not None and one.limit is not None), None)
    if pick is not None and pick.worst is not None and pick.limit is not None:
        log = pick.worst.evidence
        line = {"file": log.file, "line": log.line} if log.file and log.line is not None else {}
        stands = message(PageNote.IT_STANDS_AT, at=Place(pick.worst.at_m), run=pick.run_id, **line)
        steps.append(
            GuideStep(
                f"Pick a figure: the worst reading of {pick.finding_id}",
                (pick.sentence, stands),
                address("finding", pick.finding_id),
                f"Open finding {pick.finding_id}",
            )
        )
        limit = pick.limit
        steps.append(
            GuideStep(
                f"Pick its limit: {limit.limit_id}",
                (
                    (
                        f"{limit.requirement}, {limit.sense} {limit.as_recorded} {limit.unit_of_record}; "
                        f"{limit_source(limit)}; "
                        f"entered by {limit.entered_by or 'nobody on record'}, "
                        f"{limit.checked_by or 'checked by nobody on record'}; {limit.standing}."
                    ),
                    "The foot of every page lists the limits in force on it.",
                ),
                address("run", pick.run_id),
                "See them at the foot of the run's page",
            )
        )
    lots = {row["lot"]: book for book in judged if book.findings for row in book.materials}
    for lot, book in list(lots.items())[:1]:
        steps.append(
            GuideStep(
                f"Pick a lot: {lot}",
                (
                    (
                        f"It is in {book.run_id}, which has findings. Its page lists what happened in order and every "
                        f"judgment; reelproof lot {lot} --export FOLDER writes it all out with a manifest of hashes."
                    ),
                ),
                address("lot", lot),
                f"Open lot {lot}",
            )
        )
    if judged:
        read = sum(book.head["rows_read"] for book in judged)
        kept = sum(book.head["rows_kept"] for book in judged)
        steps.append(
            GuideStep(
                "Count the lines",
                (
                    (
                        f"{read:,} lines read = {kept:,} kept + {read - kept:,} set aside, over the judged runs; each "
                        "set aside is on file with its reason."
                    ),
                ),
                address("data quality"),
                "Open data quality",
            )
        )
        steps.append(
            GuideStep(
                "Check that nothing was changed",
                ("On the command line: reelproof verify. It reads every file and names what differs.",),
            )
        )
    return steps


def _application(
    constructions: Sequence[ConstructionComparison], grave: list[tuple[RunBook, FindingRow]]
) -> Steps:
    steps = [
        GuideStep(
            f"Compare two constructions: {one.left} and {one.right}",
            ("Walls, diameters, mass, stress and temperatures side by side, each with document and table.",),
            address("construction", one.comparison_id),
            "Open the comparison",
        )
        for one in constructions[:3]
    ]
    pick = next(((book, one) for book, one in grave if one.reel_ids and one.worst is not None), None)
    if pick is not None and pick[1].worst is not None:
        (book, one), worst = pick, pick[1].worst
        foot = f"{in_unit(worst.outer_m or 0.0, 'ft'):.0f}"
        steps.append(
            GuideStep(
                f"Follow a complaint back: {one.reel_ids[0]}",
                (
                    (
                        f"Suppose a customer finds a fault {foot} ft from the outer end of this reel of "
                        f"{product_row(book).label}. "
                        f"On the command line: reelproof reel {one.reel_ids[0]} --at {foot}ft. On the page: "
                        "the same place, with what was found there."
                    ),
                ),
                _place(one.run_id, worst.at_m, worst.at_m),
                "See that place on the wire",
            )
        )
    if steps:
        steps.append(
            GuideStep(
                "Ask how sure a promise would be",
                (
                    "How far each line stands from each limit, with intervals; a promise rests on the lower bound.",
                ),
                address("capability"),
                "Open capability",
            )
        )
    return steps
