"""Rows of the store as the rows pages show: limits, findings, reels, runs, and the stamp at a page's foot."""

from __future__ import annotations

from collections import Counter
from collections.abc import Set
from typing import Any
from weakref import WeakKeyDictionary

from dashboards.fillers.decisions import alarms_of, decision_on_finding, decision_on_reel
from dashboards.fillers.run_book import Row, RunBook, aware, decided_with
from dashboards.records import (
    Evidence,
    Extreme,
    FaultMark,
    FindingRow,
    Interval,
    LotRow,
    ProductRow,
    ReasonShown,
    ReelRow,
    RequirementVerdict,
    Stamp,
)
from pipeline.length.reel_places import (
    from_other_end,
    place_on_reel,
    span_from_other_end,
    span_on_reel,
    told_on_reel,
)
from pipeline.nonconformance.proposal import proposed
from pipeline.nonconformance.statements import judged_by
from pipeline.products.limits import Limit, limit_on_file
from pipeline.record.finding_on_file import finding_of
from pipeline.record.how_sure import risk_told
from pipeline.store.said_columns import rule_of, told_of
from pipeline.words import material_name

GAP_KIND: dict[str, Any] = {
    "wall unmonitored": "unmonitored",
    "diameter unmonitored": "unmonitored",
    "conductor unmonitored": "unmonitored",
    "spark untested": "untested",
    "either reel": "either reel",
}


# Every reel and finding of a run asks for its limits.
_LIMITS: WeakKeyDictionary[RunBook, dict[str, Limit]] = WeakKeyDictionary()

# Shorter gaps in the evidence are on the pages but do not colour a run's data [m] (chosen here).
LEAST_TOLD_M = 1.0


def limits_by_id(book: RunBook) -> dict[str, Limit]:
    """The limits a run was judged by, by their id."""
    if book not in _LIMITS:
        _LIMITS[book] = {row["limit_id"]: limit_on_file(row) for row in book.limits}
    return _LIMITS[book]


def product_row(book: RunBook) -> ProductRow:
    """What the run made."""
    head = book.head
    return ProductRow(head["construction"], head["size"], head["conductor"], head["metal"], head["colour"])


def lot_rows(book: RunBook) -> tuple[LotRow, ...]:
    """The material lots of the run."""
    return tuple(
        LotRow(material_name(row["material"]), row["lot"], row["from_m"], row["to_m"])
        for row in book.materials
    )


def stamp_of(books: list[RunBook], reels: Set[str] | None = None) -> Stamp:
    """Where the figures of a page that shows `books` come from, and wire of them that left although it might not.

    Args:
        books: the runs; of those that were not judged only wire that left is told.
        reels: reels the page is about; None for all of the runs.
    """
    judged = [book for book in books if book.is_judged]
    limits, rules = _judged_by(judged)
    times = [aware(book.head["assessed_utc"]) for book in judged]
    versions = sorted({book.head["software"] for book in judged})
    revisions = sorted({limit.revision for limit in limits.values() if limit.revision})
    return Stamp(
        assessment_ids=tuple(str(book.head["assessment_id"]) for book in judged),
        assessed_at=max(times) if times else None,
        program="reelproof " + ", ".join(versions) if versions else "reelproof",
        revision=", ".join(revisions),
        limits=tuple(limits.values()),
        decision_rules=rules,
        left_held=alarms_of(books, reels),
    )


def _judged_by(judged: list[RunBook]) -> tuple[dict[str, Limit], tuple[str, ...]]:
    """Limits in force over runs, a later run's row of the same limit counting, and how it was decided by them.

    Asked once for all runs: a page of a year stands on hundreds, each with thousands of requirements on its reels.
    """
    if not judged:
        return {}, ()
    if len(judged) == 1:
        return limits_by_id(judged[0]), tuple(judged[0].decision_rules)
    store, ids = judged[0].store, [book.head["assessment_id"] for book in judged]
    rows: dict[int, list[Row]] = {one: [] for one in ids}
    for row in store.ask("questions/limits_of_assessments", assessments=ids):
        rows[row["assessment_id"]].append(row)
    limits: dict[str, Limit] = {}
    for one in ids:
        limits |= {row["limit_id"]: limit_on_file(row) for row in rows[one]}
    rules = store.ask("questions/decision_rules_of_assessments", assessments=ids)
    return limits, tuple(decided_with(rules))


def _evidence(book: RunBook, row: Row, at: float | None) -> Evidence:
    files = {one["file_no"]: one for one in book.files}
    file = files.get(row.get("file_no"), {})
    return Evidence(
        assessment_id=str(book.head["assessment_id"]),
        run_id=book.run_id,
        at_m=at,
        row=row.get("first_row"),
        instrument_id=row.get("instruments", ""),
        file=file.get("name", ""),
        line=row.get("line"),
        file_sha256=file.get("sha256", ""),
        finding_id=row.get("finding_id", ""),
        limit_id=row.get("limit_id", ""),
    )


def finding_row(book: RunBook, row: Row) -> FindingRow:
    """A finding as it stands in a list."""
    reel = book.place_of_reel.get(row["reel_id"])
    worst = None
    if row["worst"] is not None and row["worst_at_m"] is not None:
        worst = Extreme(
            row["worst"],
            row["unit"],
            row["worst_at_m"],
            *_both_ends(row["worst_at_m"], reel),
            row["angle_deg"],
            None,
            _evidence(book, row, row["worst_at_m"]),
        )
    decision, closing = decision_on_finding(book, row)
    on_reel = (
        span_on_reel(row["from_m"], row["to_m"], reel["from_m"], reel["to_m"]) if reel is not None else None
    )
    return FindingRow(
        finding_id=row["finding_id"],
        rule=row["rule"],
        requirement=row["requirement"],
        severity=row["severity"],
        status="closed" if closing else "open",
        sentence=told_on_reel(told_of(row), reel["to_m"]) if reel is not None else told_of(row),
        verdict=row["verdict"],
        run_id=book.run_id,
        line_id=book.head["line"],
        product=product_row(book).label,
        reel_ids=(row["reel_id"],),
        from_m=row["from_m"],
        to_m=row["to_m"],
        worst=worst,
        limit=limits_by_id(book).get(row["limit_id"]),
        cause=row["cause"],
        instruments=tuple(name for name in row["instruments"].split(", ") if name),
        opened_at=aware(book.first_seen[row["finding_id"]]),
        closed_at=closing.at_utc if closing else None,
        disposition=decision,
        proposal=proposed(finding_of(row)).sentence.rstrip("."),
        judged_by=judged_by(row["limit_id"], row["limit_revision"]),
        outer_m=on_reel,
        core_m=span_from_other_end(on_reel, reel["to_m"] - reel["from_m"]) if on_reel and reel else None,
    )


def _both_ends(at_m: float, reel: Row | None) -> tuple[float | None, float | None]:
    """A place of the run on its reel, from the outer and from the core end [m]; None where it is on none."""
    if reel is None or reel.get("to_m") is None:
        return None, None
    outer = place_on_reel(at_m, reel["to_m"])
    return outer, from_other_end(outer, reel["to_m"] - reel["from_m"])


def fault_marks(
    book: RunBook, from_m: float | None = None, to_m: float | None = None
) -> tuple[FaultMark, ...]:
    """Spark faults and surface flaws of the run, or of the wire between two places; counts of one fault merged."""
    counts = Counter(row["fault"] for row in book.events)
    seen: set[int] = set()
    marks = []
    files = {one["file_no"]: one for one in book.files}
    for row in book.events:
        if row["fault"] in seen:
            continue
        seen.add(row["fault"])
        at = row["at_m"]
        if from_m is not None and to_m is not None and not from_m <= at < to_m:
            continue
        reel = next((one for one in book.places if one["from_m"] <= at < one["to_m"]), None)
        outer_m, core_m = _both_ends(at, reel)
        file = files.get(row["file_no"], {})
        marks.append(
            FaultMark(
                event=row["event"],
                kind=row["kind"],
                at_m=at,
                at_sd_m=row["at_sd_m"],
                reel_id=reel["reel_id"] if reel else "",
                outer_m=outer_m,
                core_m=core_m,
                spark_kv=row["spark_kv"],
                flaw_size_mm=row["flaw_size_mm"],
                merged_counts=counts[row["fault"]],
                label=row["flaw_class"] or "",
                evidence=Evidence(
                    assessment_id=str(book.head["assessment_id"]),
                    run_id=book.run_id,
                    at_m=at,
                    file=file.get("name", ""),
                    line=row["line"],
                    file_sha256=file.get("sha256", ""),
                ),
            )
        )
    return tuple(marks)


def intervals_of(book: RunBook, reel_id: str) -> tuple[Interval, ...]:
    """Stretches to mark on a reel's map: wire that a finding holds, and wire the evidence does not reach.

    A finding that holds no wire, such as a change of level, marks none.
    """
    marks = [
        Interval(
            row["from_m"],
            row["to_m"],
            "nonconforming" if row["verdict"] == "does not conform" else "indeterminate",
            told_on_reel(told_of(row), book.place_of_reel[reel_id]["to_m"]),
            row["finding_id"],
        )
        for row in book.findings
        if row["reel_id"] == reel_id and row["to_m"] > row["from_m"] and row["holds_release"]
    ]
    marks.extend(
        Interval(row["from_m"], row["to_m"], GAP_KIND[row["kind"]], told_of(row))
        for row in book.gaps
        if row["reel_id"] == reel_id
    )
    return tuple(marks)


def judgements_of(book: RunBook, reel: Row, requirements: list[Row]) -> tuple[RequirementVerdict, ...]:
    """What was judged on a reel, by rows of ``judged.requirement``."""
    limits = limits_by_id(book) if requirements else {}
    judgements = []
    for row in requirements:
        worst = None
        if row["worst"] is not None and row["worst_at_m"] is not None:
            worst = Extreme(
                row["worst"],
                row["unit"],
                row["worst_at_m"],
                *_both_ends(row["worst_at_m"], reel),
                standard_uncertainty=row["uncertainty"],
            )
        judgements.append(
            RequirementVerdict(
                requirement=row["requirement"],
                outcome=row["verdict"],
                sentence=told_of(row),
                limit=limits.get(row["limit_id"]),
                worst=worst,
                decision_rule=rule_of(row),
                judged_m=row["known_m"],
                unmonitored_m=row["unknown_m"],
                evidence=Evidence(
                    assessment_id=str(book.head["assessment_id"]),
                    run_id=book.run_id,
                    limit_id=row["limit_id"],
                ),
                risk=risk_told(row),
            )
        )
    return tuple(judgements)


def reel_row(book: RunBook, row: Row, *, only_wall_at_any_point: bool = False) -> ReelRow:
    """A reel as it stands in a list.

    Args:
        book: the run.
        row: the reel.
        only_wall_at_any_point: leaves out every judgement but that of the thinnest wall, which a long list shows the
            limit of; a run has thousands of others.
    """
    reel_id = row["reel_id"]
    judged = book.walls_by_reel if only_wall_at_any_point else book.requirements_by_reel
    now = book.standings[reel_id]
    thinnest = None
    if row["thinnest_wall_mm"] is not None:
        at = row["thinnest_wall_at_m"]
        thinnest = Extreme(row["thinnest_wall_mm"], "mm", at, *_both_ends(at, row))
    return ReelRow(
        reel_id=reel_id,
        run_id=book.run_id,
        line_id=book.head["line"],
        from_m=row["from_m"],
        to_m=row["to_m"],
        standing=now.code,
        headline=now.headline,
        evidence=now.evidence,
        reasons=reasons_of(book, row),
        thinnest_wall=thinnest,
        mean_wall_mm=row["mean_wall_mm"],
        judgements=judgements_of(book, row, judged.get(reel_id, [])),
        spark_faults=row["spark_faults"],
        unmonitored_m=row["wall_unmonitored_m"],
        untested_m=row["spark_untested_m"],
        intervals=intervals_of(book, reel_id),
        faults=fault_marks(book, row["from_m"], row["to_m"]),
        disposition=decision_on_reel(book, reel_id),
        open_findings=sum(one["reel_id"] == reel_id for one in book.open_findings),
    )


def rule_name(finding: Row) -> str:
    """The requirement a finding fails, or the rule by its name where it has none (``spark fault``)."""
    return str(finding.get("requirement") or finding.get("rule", "").replace("-", " "))


def reasons_of(book: RunBook, reel: Row) -> tuple[ReasonShown, ...]:
    """What speaks against letting a reel go now; the places of findings count from its outer end."""
    by_id = {row["finding_id"]: row for row in book.findings if row["reel_id"] == reel["reel_id"]}
    return tuple(
        ReasonShown(one.told, rule_name(by_id.get(one.finding_id, {})), one.finding_id)
        for one in book.standings[reel["reel_id"]].against
    )
