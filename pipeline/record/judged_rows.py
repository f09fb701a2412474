"""A judgement as rows of the store's tables, each frame one table."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import fields
from typing import TYPE_CHECKING, Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.messages import Message, said_json
from pipeline.nonconformance.finding import Finding
from pipeline.products.limits import row_of_limit
from pipeline.results import Refused, Result
from pipeline.steps.answer_row import AnswerRow
from pipeline.steps.bench import Bench
from pipeline.steps.judge import Judged, ReelStanding, RequirementOnReel
from pipeline.steps.sightings_of_run import Gap, counts_on
from pipeline.store.answer_columns import columns_of
from pipeline.warned import place_of
from pipeline.why import Lacking

if TYPE_CHECKING:
    from _typeshed import DataclassInstance


def _frame(rows: list[dict[str, Any]]) -> pl.DataFrame:
    """Rows of a table; their types are declared with the table, in ``sql/tables``, and nowhere again."""
    return pl.DataFrame(rows, infer_schema_length=None)


def _fields(one: DataclassInstance) -> dict[str, Any]:
    """The fields of a record; unlike `asdict` it copies nothing, and there are many records."""
    return {field.name: getattr(one, field.name) for field in fields(one)}


def reel_places(bench: Bench) -> pl.DataFrame:
    """Rows of placed.reel."""
    return _frame(
        [
            {
                "run_id": bench.run.id,
                "reel_id": reel.id,
                "reel_no": number,
                "from_m": reel.from_m,
                "to_m": reel.to_m,
                "from_counter_m": reel.counter_from_m,
                "to_counter_m": reel.counter_to_m,
            }
            for number, reel in enumerate(bench.placed.reels)
        ]
    )


def event_rows(bench: Bench) -> pl.DataFrame:
    """Rows of placed.event; an event that has no place is told in the warnings."""
    events = bench.placed.events
    wanted = (
        "event",
        "fault",
        "kind",
        "at_m",
        "at_sd_m",
        "time_utc",
        "spark_kv",
        "flaw_size_mm",
        "flaw_class",
    )
    present = [name for name in (*wanted, "file_no", "line") if name in events.columns]
    rows = events.filter(pl.col("at_m").is_not_null()).select(present)
    if "time_utc" in rows.columns:
        rows = rows.with_columns(pl.col("time_utc").dt.replace_time_zone(None))
    return rows


def warning_rows(told: Sequence[Message]) -> pl.DataFrame:
    """Rows of placed.warning."""
    return _frame(
        [{"at_m": place_of(one), "sentence": "", "said": said_json(one)} for one in told],
    )


def agreement_rows(bench: Bench) -> pl.DataFrame:
    """Rows of measured.agreement."""
    return _frame(
        [
            {
                "from_m": one.from_m,
                "to_m": one.to_m,
                "state": one.agreement.state,
                "chi2": one.agreement.chi2 if math.isfinite(one.agreement.chi2) else None,
                "p": one.agreement.p if math.isfinite(one.agreement.p) else None,
                "suspect": one.agreement.suspect,
                "sentence": "",
                "said": said_json(one.agreement.told),
            }
            for one in bench.measured.agreement
        ],
    )


def gap_rows(judged: Judged) -> pl.DataFrame:
    """Rows of measured.gap."""
    return _frame(
        [_without_told(one) for one in judged.gaps],
    )


def limit_rows(judged: Judged) -> pl.DataFrame:
    """Rows of judged.limit."""
    return _frame(
        [row_of_limit(one) for one in judged.limits],
    )


def requirement_rows(bench: Bench, judged: Judged) -> pl.DataFrame:
    """Rows of judged.requirement."""
    return _frame(
        [
            {
                **_without_told(one),
                "decision_rule": "",
                "decided_by": one.decided_by and said_json(one.decided_by),
            }
            for one in judged.requirements
        ],
    ).with_columns(pl.lit(bench.run.id).alias("run_id"))


def _without_told(one: RequirementOnReel | Gap) -> dict[str, Any]:
    """The fields of a record with what it tells as the store keeps that."""
    row = _fields(one)
    told = row.pop("told")
    return {**row, "sentence": "", "said": said_json(told)}


def finding_rows(bench: Bench, judged: Judged, readings: pl.DataFrame) -> pl.DataFrame:
    """Rows of judged.finding, each with the log line of its worst reading."""
    rows = [_finding(bench, one, readings) for one in judged.findings]
    return _frame(rows)


def _finding(bench: Bench, one: Finding, readings: pl.DataFrame) -> dict[str, Any]:
    main = one.main
    reel = next((reel for reel in bench.placed.reels if reel.id == one.reel_id), None)
    limit = {limit.limit_id: limit for limit in bench.limits}.get(main.limit_id)
    row = main.row
    place = None if row is None else row - int(readings["row"][0])
    angle = None
    if place is not None and main.rule.family == "wall":
        read = bench.measured.frame["thin_angle_deg"][place]
        angle = float(read) if read is not None else None
    return {
        "finding_id": one.finding_id,
        "run_id": one.run_id,
        "reel_id": one.reel_id,
        "number": one.number,
        "rule": main.rule_id,
        "rules": sorted({sighting.rule_id for sighting in one.sightings}),
        "requirement": main.rule.requirement,
        "families": list(one.families),
        "subject": main.subject if not main.rule.column and main.subject else "",
        "severity": one.severity,
        "holds_release": one.holds_release,
        "verdict": str(one.verdict.value),
        "confirmed": one.confirmed,
        "from_m": one.from_m,
        "to_m": one.to_m,
        "from_core_m": one.from_m - reel.from_m if reel else None,
        "to_core_m": one.to_m - reel.from_m if reel else None,
        "evidence_from_m": one.evidence_from_m,
        "evidence_to_m": one.evidence_to_m,
        "worst": main.worst,
        "worst_at_m": main.worst_at_m,
        "unit": main.rule.unit,
        "limit_value": limit.value if limit else None,
        "limit_id": main.limit_id,
        "limit_revision": main.limit_revision,
        "angle_deg": angle,
        "readings": main.readings,
        "instruments": ", ".join(one.instruments),
        "cause": one.cause.kind,
        "cause_of": one.cause.of,
        **dict.fromkeys(("cause_sentence", "sentence", "advice"), ""),
        "said": said_json(one.told),
        "cause_said": said_json(one.cause.told),
        "row": row,
        "file_no": None if place is None else int(readings["file_no"][place]),
        "line": None if place is None else int(readings["line"][place]),
    }


def reel_rows(bench: Bench, judged: Judged) -> pl.DataFrame:
    """Rows of judged.reel."""
    steady = bench.placed.placement.phases.filter(pl.col("phase") == "STEADY")
    stretches = steady.select("from_m", "to_m").to_numpy()
    events, reels = bench.placed.events, bench.placed.reels
    spark, flaws = (counts_on(events, kind, reels) for kind in ("spark fault", "surface flaw"))
    return _frame(
        [
            {
                **_reel(bench, judged, one, stretches),
                "spark_faults": spark[one.reel.id][0],
                "spark_counts": spark[one.reel.id][1],
                "surface_flaws": flaws[one.reel.id][0],
            }
            for one in judged.reels
        ],
    )


def _reel(bench: Bench, judged: Judged, one: ReelStanding, steady: NDArray[np.float64]) -> dict[str, Any]:
    reel, seen = one.reel, bench.measured.seen
    total = dict.fromkeys(("wall unmonitored", "diameter unmonitored", "spark untested"), 0.0)
    for gap in judged.gaps_of(reel.id):
        if gap.kind in total:
            total[gap.kind] += gap.to_m - gap.from_m
    thinnest = concentricity = None
    if "thinnest_wall_mm" in seen:
        thinnest = seen["thinnest_wall_mm"].worst(reel.from_m, reel.to_m, "at least")
    if "concentricity_pct" in seen:
        concentricity = seen["concentricity_pct"].worst(reel.from_m, reel.to_m, "at least")
    mean = None
    if "mean_wall_mm" in seen:
        walls = seen["mean_wall_mm"]
        inside = walls.rows_within(reel.from_m, reel.to_m)
        mean = walls.per_metre(inside)[0] if inside.size else None
    return {
        "run_id": bench.run.id,
        "reel_id": reel.id,
        "standing": one.standing,
        "reasons": [],
        "held_by": list(one.held_by),
        "first_action": "",
        "first_said": "" if one.first is None else said_json(one.first),
        "length_m": reel.length_m,
        "steady_m": float(np.maximum(np.clip(steady, reel.from_m, reel.to_m) @ [-1.0, 1.0], 0.0).sum()),
        "wall_unmonitored_m": total["wall unmonitored"],
        "diameter_unmonitored_m": total["diameter unmonitored"],
        "spark_untested_m": total["spark untested"],
        "thinnest_wall_mm": thinnest[0] if thinnest else None,
        "thinnest_wall_at_m": thinnest[1] if thinnest else None,
        "mean_wall_mm": mean,
        "concentricity_low_pct": concentricity[0] if concentricity else None,
        "findings": len(one.findings),
    }


def lack_rows(lacks: Mapping[str, Sequence[Lacking]]) -> pl.DataFrame:
    """Rows of judged.lack, by the reel that lacks it."""
    return _frame(
        [
            {
                "reel_id": reel_id,
                "lack_no": number,
                "code": one.code,
                "about": one.about,
                "said": said_json(one.told),
            }
            for reel_id, those in lacks.items()
            for number, one in enumerate(those)
        ],
    )


def answer_rows(answers: tuple[AnswerRow, ...]) -> pl.DataFrame:
    """Rows of judged.answer, results and refusals alike."""
    return _frame(
        [answer_row(one.scope, one.subject, one.topic, one.answer) for one in answers],
    )


def answer_row(scope: str, subject: str, topic: str, answer: Result | Refused) -> dict[str, Any]:
    """One result or refusal as a row of judged.answer or judged.line_answer."""
    return {"scope": scope, "subject": subject, "topic": topic, **columns_of(answer)}


def journal_record(basis_sha256: str, load_id: int, judged: Judged) -> dict[str, Any]:
    """What the journal keeps of a judgement."""
    return {
        "load_id": load_id,
        "basis_sha256": basis_sha256,
        "outcome": "judged",
        "limits": [f"{one.limit_id} revision {one.revision}" for one in judged.limits],
        "reels": [{"reel": one.reel.id, "standing": one.standing} for one in judged.reels],
        "findings": [one.finding_id for one in judged.findings],
    }
