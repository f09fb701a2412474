"""Ask: what the store says of one reel or one lot, as plain dictionaries."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence, Set
from typing import TYPE_CHECKING, Any

from pipeline.errors import Complaint, NotFoundError
from pipeline.length.reel_places import span_on_reel, told_on_reel
from pipeline.length.steady_wire import steady_read_m
from pipeline.messages import Message
from pipeline.record.alarms import left_unjudged
from pipeline.record.answers_in_words import words_of
from pipeline.record.decided import acts_of_run, holding_states, reel_state
from pipeline.record.left_on_file import left_on_file
from pipeline.record.lengths import lengths_of_reel, lengths_on_file
from pipeline.record.not_found import not_on_file, reel_not_on_file
from pipeline.record.plant_sheet_on_file import unit_of_run
from pipeline.record.standing import standings_of_run, standings_of_runs
from pipeline.record.standing_told import standing_record, told_once
from pipeline.store.readings import run_thinned, thinning_of
from pipeline.store.said_columns import cause_of, first_advice, first_of, lacking_of, told_of
from pipeline.wording.say import plain

if TYPE_CHECKING:
    from pipeline.record.samples_judged import JudgedSample
    from pipeline.record.standing import Standing
    from pipeline.store.database import Store
    from pipeline.why import Lacking

Row = dict[str, Any]
# Columns of an answer that hold JSON.
PACKED = ("arguments", "method", "assumptions", "warnings", "details", "refusal")


def end_unsure_m(store: Store, assessment_id: int) -> dict[str, float]:
    """How well the ends of a judgement's reels are known [m], of those that an accumulator leaves unsure."""
    rows = store.ask("questions/end_unsure_of_reels", assessment_id=assessment_id)
    return {row["reel_id"]: row["end_unsure_m"] for row in rows}


def reel_and_standing(store: Store, reel_id: str) -> tuple[dict[str, Any], Standing]:
    """Everything known of one reel, standing to what was decided, and the standing that this is said by.

    Raises:
        NotFoundError: there is no such reel; the nearest numbers are named.
    """
    found = store.ask("questions/reel", reel_id=reel_id)
    if not found:
        for length in lengths_on_file(store):
            if length["length_id"] == reel_id:
                raise NotFoundError(
                    Complaint(
                        reel_id,
                        f"this is a length of reel {length['reel_id']} and no reel",
                        f"Ask for reel {length['reel_id']}, or for a mark on the length with --at",
                    )
                )
        raise reel_not_on_file(store, reel_id)
    row = found[0]
    key = {"assessment_id": row["assessment_id"], "reel_id": reel_id}
    own = [{**one, "reel_id": reel_id} for one in store.ask("questions/reel_findings", **key)]
    now = standings_of_run(store, row["run_id"])[reel_id]
    told = {
        "reel": _in_words(row, now),
        "requirements": [
            {**_without_codes(one), "sentence": plain(told_of(one))}
            for one in store.ask("questions/reel_requirements", **key)
        ],
        "findings": [_on_reel(row, one) for one in own],
        "unit": unit_of_run(store, row["run_id"]),
        "results": results_of(store, row["assessment_id"], reel_id),
        "lots": store.ask("questions/reel_lots", load_id=row["load_id"], **key),
        "standing": standing_record(now),
        "samples": [_sample_record(one) for one in (*now.samples.own, *now.samples.others)],
        "decided": _decided(store, row),
        "cut_lengths": lengths_of_reel(store, reel_id),
        "readings": _readings_told(store, row["load_id"]) or "",
        "end_unsure_m": end_unsure_m(store, row["assessment_id"]).get(reel_id, 0.0),
        "steady_read_m": _steady_read_m(store, row),
    }
    return told, now


def _steady_read_m(store: Store, reel: Row) -> float:
    """Wire of a reel that was made at steady speed and whose wall was read [m]."""
    if reel["from_m"] is None:
        return 0.0
    key = {"assessment_id": reel["assessment_id"]}
    return steady_read_m(
        store.ask("questions/phases_of_assessment", **key),
        store.ask("questions/gaps_of_assessment", **key),
        reel["from_m"],
        reel["to_m"],
    )


def _on_reel(reel: Row, finding: Row) -> Row:
    """A finding with its places from the reel's outer end as well, and its sentence, which counts from there."""
    low, high = span_on_reel(finding["from_m"], finding["to_m"], reel["from_m"], reel["to_m"])
    told = told_of(finding)
    return {
        **_without_codes(finding),
        "sentence": told_on_reel(told, reel["to_m"]),
        "cause_sentence": plain(cause_of(finding)),
        "advice": plain(first_advice(finding)),
        "from_outer_m": low,
        "to_outer_m": high,
    }


def _without_codes(row: Row) -> Row:
    """A row without its messages, which stand beside it in words."""
    return {name: value for name, value in row.items() if name not in ("said", "cause_said", "first_said")}


def _in_words(reel: Row, now: Standing) -> Row:
    """A reel as it stands now, with what its evidence alone says beside that and what to do first, in words."""
    first = first_of(reel)
    return {
        **_without_codes(reel),
        "evidence": reel["standing"],
        "standing": now.code,
        "reasons": told_once(now.reasons),
        "first_action": "" if first is None else first,
    }


def lacks_of(store: Store, assessment_id: int, reel_id: str) -> tuple[Lacking, ...]:
    """What the evidence of one reel lacks."""
    rows = store.ask("questions/lacks_of_assessment", assessment_id=assessment_id)
    return lacking_of([one for one in rows if one["reel_id"] == reel_id])


def _sample_record(one: JudgedSample) -> dict[str, Any]:
    """A laboratory sample that bears on a reel."""
    return {
        "sample_id": one.sample_id,
        "reel_id": one.reel_id,
        "from_outer_m": one.from_outer_m,
        "quantity": one.quantity.name,
        "told": one.quantity.told,
        "value": one.value,
        "uncertainty": one.uncertainty,
        "unit": one.quantity.unit,
        "line": one.line.line if one.line else None,
        "e_n": one.line.e_n if one.line else None,
        "verdict": one.verdict,
        "withdrawn": one.withdrawn or "",
        "measured_by": one.measured_by,
        "instrument": one.instrument,
    }


def _readings_told(store: Store, load_id: int) -> Message | None:
    """What must be told of the readings of a load, None where every one is there."""
    (load,) = store.ask("questions/load", load_id=load_id)
    row = thinning_of(store, load["folder"])
    return None if row is None else run_thinned(row)


def _decided(store: Store, reel: dict[str, Any]) -> dict[str, Any]:
    """What was decided about a reel and what holds it, as it stands now, and every act in order."""
    name = reel["reel_id"]
    decided = acts_of_run(store, reel["run_id"])
    findings = store.ask("questions/findings_of_assessment", assessment_id=reel["assessment_id"])
    holding = holding_states(findings, decided, name)
    state = reel_state(name, decided, holding)
    subjects = [name, *(one for one, on in decided.reel_of.items() if on == name)]
    return {
        "standing": state.standing,
        "disposition": state.disposition,
        "open_findings": sorted(one for one, held in holding.items() if held.standing != "closed"),
        "acts": [f"{subject}: {act}." for subject in subjects for act in decided.on(subject)],
    }


def lot_on_file(store: Store, lot: str) -> dict[str, Any]:
    """Where one material lot went: its runs, and every reel with wire made of it.

    Raises:
        NotFoundError: no run used such a lot; the nearest numbers are named.
    """
    return lot_and_standings(store, lot)[0]


def lot_and_standings(store: Store, lot: str) -> tuple[dict[str, Any], dict[str, Standing]]:
    """Where one material lot went, as of `lot_on_file`, and the standings of its runs' reels that this is said by."""
    runs = store.ask("questions/lot_runs", lot=lot)
    if not runs:
        replaced = store.ask("questions/loads_of_lot", lot=lot)
        if replaced:
            raise NotFoundError(
                Complaint(
                    lot,
                    f"this lot stands only in load {row['load_id']} of run {row['run_id']}, which a later one replaced",
                    f"Follow it with 'reelproof contain lot {lot}', and find out which sheet is right",
                )
                for row in replaced
            )
        known = [row["lot"] for row in store.ask("questions/lot_ids")]
        raise not_on_file("lot", lot, known)
    reels = store.ask("questions/lot_reels", lot=lot)
    standings = standings_of_runs(store, (row["run_id"] for row in runs))
    now = {name: one for run in standings.values() for name, one in run.items()}
    told = {
        "lot": lot,
        "materials": sorted({row["material"] for row in runs}),
        "runs": runs,
        "reels": [_reel_of_lot(row, now[row["reel_id"]]) for row in reels],
        "alarms": _alarms_of_lot(store, runs, {row["reel_id"] for row in reels}, now),
        "unit": unit_of_run(store, runs[-1]["run_id"]),
    }
    return told, now


def _alarms_of_lot(
    store: Store, runs: Sequence[Row], reels: Set[str], now: Mapping[str, Standing]
) -> list[Message]:
    """Wire of a lot that is out and might not have left, or that no judgement stands behind now.

    Of a run that is loaded and not judged nobody knows which of its reels hold wire of the lot: all count.
    """
    ids = {row["run_id"] for row in runs}
    told = [
        one.told
        for one in left_unjudged(store, left_on_file(store))
        if one.run_id in ids or one.reel_id in reels
    ]
    return [*told, *(one for name, standing in now.items() if name in reels for one in standing.alarms)]


def _reel_of_lot(row: Row, now: Standing) -> Row:
    """A reel with wire of a lot, with its reasons in places on the reel."""
    return {
        **row,
        "evidence": row["standing"],
        "standing": now.code,
        "headline": plain(now.headline),
        "reasons_on_reel": told_once(now.reasons),
    }


def results_of(store: Store, assessment_id: int, subject: str) -> list[dict[str, Any]]:
    """The statistical results of a run or reel: their keys and figures, and beside them the words."""
    rows = store.ask("questions/results_of_subject", assessment_id=assessment_id, subject=subject)
    return [
        {
            **row,
            **{name: json.loads(row[name]) for name in PACKED if row[name] is not None},
            "words": words_of(row),
        }
        for row in rows
    ]
