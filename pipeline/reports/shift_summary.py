"""The shift on paper: what may leave, what may not, why, and what comes first."""

from __future__ import annotations

from typing import Any

from dashboards.pages.shift import POINT, Gate, GateReel, gates, point_limit
from dashboards.records import FirstThing, ReelRow, RunRow, ShiftReview
from dashboards.rendering import day
from dashboards.site import record_sha256
from pipeline.reports.typesetting import Printing, Wording, shared_data, typeset
from pipeline.results import Result


def reel_data(reel: ReelRow, wording: Wording) -> dict[str, Any]:
    """A reel as texts."""
    return {
        "id": reel.reel_id,
        "run": reel.run_id,
        "standing": reel.standing,
        "length": wording.quantity(reel.to_m - reel.from_m, "length"),
        "thinnest": wording.extreme(reel.thinnest_wall, point_limit(reel)),
        "mean": wording.quantity(reel.mean_wall_mm, "wall"),
        "faults": "not tested" if reel.spark_faults is None else str(reel.spark_faults),
        "unmonitored": wording.quantity(reel.unmonitored_m, "length"),
        "reasons": [
            *([wording.sentence(reel.headline)] if reel.headline and not reel.reasons else []),
            *(wording.sentence(one.sentence) for one in reel.reasons),
        ],
        "decision": reel.disposition.decision if reel.disposition else "none yet",
    }


STATE = {"green": "sound", "amber": "with gaps", "red": "no conclusion"}
# Groups of answers that a summary prints; the others are on the run's page.
PRINTED = ("Capability", "Minimum wall", "Spark faults")


def _gate(gate: Gate, wording: Wording) -> list[str]:
    """One standing and its reels: those held with what they are held for."""
    if gate.standing in ("releasable", "released"):
        return [gate.standing, ", ".join(one.reel.reel_id for one in gate.reels)]
    return [gate.standing, "; ".join(f"{one.reel.reel_id}: {_why(one, wording)}" for one in gate.reels)]


def _why(one: GateReel, wording: Wording) -> str:
    """What a reel is held for in a few words, the thinnest wall with its figure and limit first."""
    why = [wording.sentence(one.why)] if one.why else []
    if one.thinnest is not None:
        wall = (
            f"{POINT} {wording.quantity(one.thinnest.value, 'wall', one.limit.value if one.limit else None)}"
        )
        why.insert(0, f"{wall}, limit {wording.limit(one.limit)}" if one.limit else wall)
    return "; ".join(why)


def _run_data(run: RunRow, wording: Wording) -> dict[str, Any]:
    told = [one for group in run.answers if group.title in PRINTED for one in group.answers]
    facts = [
        ["Run", f"{run.run_id}, {run.operator_role}"],
        ["Ran", f"{wording.moment(run.started_at)} to {wording.moment(run.ended_at)}"],
        ["Made", wording.quantity(run.made_m, "length")],
        ["On reels (conformity)", wording.quantity(run.reeled_m, "length")],
        ["Steady (capability)", wording.quantity(run.steady_m, "length")],
        ["Scrap", wording.quantity(run.scrap_m, "length")],
        [
            "Data",
            f"{STATE[run.quality.state]}. {' '.join(wording.sentence(one) for one in run.quality.sentences)}".strip(),
        ],
        [
            "Log lines",
            (
                f"{run.quality.rows_read:,} read = {run.quality.rows_kept:,} kept + "
                f"{run.quality.rows_set_aside:,} set aside"
            ),
        ],
    ]
    return {
        "line": run.line_id,
        "product": run.product.label,
        "facts": facts,
        "reels": [reel_data(reel, wording) for reel in run.reels],
        "answers": [wording.answer(one) for one in told],
        # Each once: many results carry the same.
        "warnings": list(
            dict.fromkeys(
                wording.sentence(text) for one in told if isinstance(one, Result) for text in one.warnings
            )
        ),
    }


def _first(one: FirstThing, wording: Wording) -> dict[str, str]:
    named = (("reel", one.reel_id), ("finding", one.finding_id), ("run", one.run_id))
    return {
        "sentence": wording.sentence(one.sentence),
        "why": wording.sentence(one.why),
        "where": ", ".join(f"{kind} {name}" for kind, name in named if name),
    }


def shift_summary_pdf(record: ShiftReview, printing: Printing) -> bytes:
    """The shift summary as a PDF.

    Args:
        record: what it holds, the same as the page's.
        printing: who prints it, when, by which revision of the form.
    """
    wording, totals = Wording(record.plant), record.totals
    data = {
        **shared_data(record.plant, record.stamp, record_sha256(record), printing, "shift summary"),
        "title": f"{record.shift}, {day(record.day)}",
        "question": "What may leave, what may not, and what comes first?",
        "subtitle": f"Shift {record.shift_id}",
        "tallies": [
            [f"{name}, {wording.quantity(length, 'length')}", str(n)]
            for name, n, length in (
                ("releasable", totals.reels_releasable, totals.releasable_m),
                ("held", totals.reels_held, totals.held_m),
                ("no conclusion", totals.reels_no_conclusion, totals.no_conclusion_m),
                ("left although it might not", totals.reels_left, totals.left_m),
                ("released", totals.reels_released, totals.released_m),
                ("shipped, scrapped or cut", totals.reels_gone, totals.gone_m),
            )
            if n or name in ("releasable", "held", "no conclusion")
        ],
        "totals": [
            ["Spark faults on reels", str(totals.spark_faults)],
            ["Unmonitored length", wording.quantity(totals.unmonitored_m, "length")],
            ["Scrap length", wording.quantity(totals.scrap_m, "length")],
            ["Open findings", str(totals.open_findings)],
        ],
        "gates": [_gate(gate, wording) for gate in gates(record) if gate.reels],
        "firsts": [_first(one, wording) for one in record.first_things],
        "runs": [_run_data(run, wording) for run in record.runs],
    }
    return typeset("shift.typ", data, printing.at)
