"""What the journal keeps of one reel by itself, so that it can be proved without showing any other reel.

The judgement of a run is one entry; each of its reels gets an entry of its own beside it, with everything the
judgement says of that reel and the hashes of the logs behind it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from pipeline.found import Noted
from pipeline.messages import said

if TYPE_CHECKING:
    from pipeline.store.database import Store

Row = dict[str, Any]
KIND = "reel"


def reel_records(store: Store, assessment_id: int) -> dict[str, Row]:
    """The journal's record of every reel of a judgement, by reel, from the rows on file.

    Args:
        store: the store.
        assessment_id: the judgement.
    """
    (judgement,) = store.ask("questions/assessment", assessment_id=assessment_id)
    shared = {
        "run_id": judgement["run_id"],
        "assessment_id": assessment_id,
        "method_version": judgement["method_version"],
        "software": judgement["software"],
        "plant_sheet_sha256": judgement["plant_sheet_sha256"],
        "log_files": [
            {"name": row["name"], "sha256": row["sha256"]}
            for row in store.ask("questions/files_of_load", load_id=judgement["load_id"])
        ],
    }
    revision = {
        row["limit_id"]: row["revision"]
        for row in store.ask("questions/limits_of_assessment", assessment_id=assessment_id)
    }
    requirements = _by_reel(store.ask("questions/requirements_of_assessment", assessment_id=assessment_id))
    lacks = _by_reel(store.ask("questions/lacks_of_assessment", assessment_id=assessment_id))
    findings = _by_reel(store.ask("questions/findings_of_assessment", assessment_id=assessment_id))
    return {
        row["reel_id"]: {
            "said": said(Noted.JUDGED, reel=row["reel_id"], standing=row["standing"]),
            **shared,
            "standing": row["standing"],
            **_lacks(row, lacks.get(row["reel_id"], ())),
            **({"held_by": list(row["held_by"])} if row.get("held_by") is not None else {}),
            "length_m": repr(row["length_m"]),
            "requirements": [_requirement(one, revision) for one in requirements.get(row["reel_id"], ())],
            "findings": [_finding(one) for one in findings.get(row["reel_id"], ())],
        }
        for row in store.ask("questions/reels_of_assessment", assessment_id=assessment_id)
    }


def _by_reel(rows: list[Row]) -> dict[str, list[Row]]:
    found: dict[str, list[Row]] = {}
    for row in rows:
        found.setdefault(row["reel_id"], []).append(row)
    return found


def _lacks(reel: Row, lacks: Sequence[Row]) -> Row:
    """What the evidence of a reel lacks; judgements before version 11 of the store kept it as sentences."""
    if reel.get("first_said") is None:
        return {"reasons": list(reel["reasons"])}
    return {"lacks": [{name: one[name] for name in ("code", "about", "said")} for one in lacks]}


def _text(value: float | None) -> str:
    """A figure as text, so that no reader rounds it; "" for none."""
    return "" if value is None else repr(float(value))


def _requirement(row: Row, revision: dict[str, str]) -> Row:
    return {
        "requirement": row["requirement"],
        "requirement_set": row["requirement_set"],
        "limit_id": row["limit_id"],
        "limit_revision": revision.get(row["limit_id"], ""),
        "sense": row["sense"],
        "limit": _text(row["limit_value"]),
        "worst": _text(row["worst"]),
        "uncertainty": _text(row["uncertainty"]),
        "unit": row["unit"],
        "decision_rule": row["decided_by"] or row["decision_rule"],
        "verdict": row["verdict"],
    }


def _finding(row: Row) -> Row:
    return {
        "finding_id": row["finding_id"],
        "rules": list(row["rules"]),
        "severity": row["severity"],
        "from_m": _text(row["from_m"]),
        "to_m": _text(row["to_m"]),
        "verdict": row["verdict"],
        **({"said": row["said"]} if row.get("said") else {"sentence": row["sentence"]}),
    }
