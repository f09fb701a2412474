"""The record of the shift page: which reels may leave, which may not, why, and what to do first."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from dashboards.fillers.decisions import alarms_of
from dashboards.fillers.rows import finding_row, reasons_of, stamp_of
from dashboards.fillers.run_book import RunBook, aware
from dashboards.fillers.run_rows import run_row
from dashboards.records import GATE_OF, FirstThing, Plant, ShiftReview, ShiftTotals
from pipeline.found import Found
from pipeline.messages import Said, as_message, message
from pipeline.store.said_columns import first_of, reason_of
from pipeline.wording.say import plain


def shifts_of(books: list[RunBook]) -> list[tuple[str, list[RunBook]]]:
    """The runs of each shift under the shift's id, oldest shift first."""
    ordered = sorted(books, key=lambda book: (book.head["shift_date"], book.head["started_utc"]))
    grouped: dict[str, list[RunBook]] = {}
    for shift_id, group in groupby(ordered, key=lambda book: book.shift_id):
        grouped.setdefault(shift_id, []).extend(group)
    return list(grouped.items())


def shift_name(written: str) -> str:
    """A shift's name as a heading: ``day`` is the day shift, ``Shift A`` stays what it is."""
    name = written if "shift" in written.lower() else f"{written} shift"
    return name[:1].upper() + name[1:]


def shift_review(
    plant: Plant, shift_id: str, books: list[RunBook], earlier: str = "", later: str = ""
) -> ShiftReview:
    """Everything the shift page shows of the runs of one shift."""
    ordered = sorted(books, key=lambda book: (book.head["line"], book.head["started_utc"]))
    head = ordered[0].head
    return ShiftReview(
        plant=plant,
        shift_id=shift_id,
        shift=shift_name(head["shift"]),
        day=head["shift_date"],
        totals=_totals(ordered),
        runs=tuple(run_row(book, only_wall_at_any_point=True) for book in ordered),
        first_things=first_things(ordered),
        starts_at=min(aware(book.head["started_utc"]) for book in ordered),
        ends_at=max(aware(book.head["ended_utc"]) for book in ordered),
        stamp=stamp_of(ordered),
        findings=tuple(finding_row(book, row) for book in ordered for row in book.open_findings),
        earlier_shift_id=earlier,
        later_shift_id=later,
    )


def _totals(books: list[RunBook]) -> ShiftTotals:
    reels = [row for book in books for row in book.reels]

    gate_of = {name: GATE_OF[one.code] for book in books for name, one in book.standings.items()}

    def count(gate: str) -> int:
        return sum(gate_of[row["reel_id"]] == gate for row in reels)

    def metres(gate: str) -> float:
        return float(sum(row["length_m"] for row in reels if gate_of[row["reel_id"]] == gate))

    return ShiftTotals(
        reels_releasable=count("releasable"),
        reels_held=count("held"),
        reels_no_conclusion=count("no conclusion"),
        releasable_m=metres("releasable"),
        held_m=metres("held"),
        no_conclusion_m=metres("no conclusion"),
        scrap_m=sum(book.head["scrap_m"] or 0.0 for book in books),
        unmonitored_m=sum(row["wall_unmonitored_m"] for row in reels),
        spark_faults=sum(row["spark_faults"] for row in reels),
        open_findings=sum(len(book.open_findings) for book in books),
        reels_released=count("released"),
        reels_gone=count("gone"),
        reels_left=count("left"),
        released_m=metres("released"),
        gone_m=metres("gone"),
        left_m=metres("left"),
    )


_NAMED = 6
SEVERITY = {"critical": 0, "major": 1, "minor": 2, "observation": 3}


def first_things(books: list[RunBook]) -> tuple[FirstThing, ...]:
    """Wire that left although it might not, runs without a conclusion, then held reels, the worst finding first."""
    things = [
        FirstThing("Find the wire, tell whoever has it, and decide.", one.sentence, one.reel_id, book.run_id)
        for book in books
        for one in alarms_of([book])
    ]
    things += [
        FirstThing(
            f"Correct the data of run {book.run_id} and assess it again.",
            reason_of(book.head) or "",
            run_id=book.run_id,
        )
        for book in books
        if book.is_judged and book.head["outcome"] != "judged"
    ]
    held = []
    for book in books:
        alike: dict[tuple[str, tuple[Said, ...]], list[str]] = {}
        for row in book.reels:
            if GATE_OF[book.standings[row["reel_id"]].code] != "held":
                continue
            findings = [one for one in book.open_findings if one["reel_id"] == row["reel_id"]]
            if not findings and any(one["reel_id"] == row["reel_id"] for one in book.findings):
                continue  # every finding on it is decided and done
            reasons = reasons_of(book, row)
            by_id = {one["finding_id"]: one for one in findings}
            held_by = (by_id[one.finding_id] for one in reasons if one.finding_id in by_id)
            worst = next(held_by, findings[0] if findings else None)
            rank = SEVERITY.get(worst["severity"], 9) if worst else 4
            first = first_of(row)
            action = "" if first is None else plain(first)
            if worst is None and action:
                same = (action, tuple(one.sentence for one in reasons))
                alike.setdefault(same, []).append(row["reel_id"])
                continue
            held.append(
                (
                    rank,
                    FirstThing(
                        action
                        or f"Keep reel {row['reel_id']} in the plant until its reasons are read and decided.",
                        _with_more([one.sentence for one in reasons])
                        or book.standings[row["reel_id"]].headline,
                        row["reel_id"],
                        book.run_id,
                        worst["finding_id"] if worst else "",
                    ),
                )
            )
        held += [(4, _for_reels(book.run_id, reels, action, *why)) for (action, why), reels in alike.items()]
    things.extend(thing for _, thing in sorted(held, key=lambda pair: pair[0]))
    return tuple(things)


def _for_reels(run_id: str, reels: list[str], action: str, *reasons: Said) -> FirstThing:
    """What is to be done about reels held for the same reasons: one thing, however many they are."""
    if len(reels) == 1:
        return FirstThing(action, _with_more(reasons), reels[0], run_id)
    named = reels if len(reels) <= _NAMED else reels[: _NAMED - 1]
    which = message(Found.REELS_ALIKE, n=len(reels), named=named)
    if len(reels) > len(named):
        more = len(reels) - len(named)
        which = message(Found.REELS_ALIKE_AND_MORE, n=len(reels), named=named, more=more)
    why = which if not reasons else message(Found.SEVERAL, told=(as_message(_with_more(reasons)), which))
    return FirstThing(action, why, run_id=run_id)


def _with_more(reasons: Sequence[Said]) -> Said:
    """The first reason, and how many more there are."""
    if len(reasons) < 2:
        return reasons[0] if reasons else ""
    more = message(Found.MORE_REASONS, n=len(reasons) - 1)
    return message(Found.SEVERAL, told=(as_message(reasons[0]), more))
