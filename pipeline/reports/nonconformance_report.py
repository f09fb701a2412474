"""A finding on paper: what was found, how sure it is, what was decided, and the lines of the log behind it."""

from __future__ import annotations

from dashboards.records import Evidence, FindingReview
from dashboards.site import record_sha256
from pipeline.reports.typesetting import Printing, Wording, limit_words, printed, shared_data


def _evidence(one: Evidence, wording: Wording) -> dict[str, str]:
    return {
        "place": wording.quantity(one.at_m, "place"),
        "instrument": one.instrument_id,
        "row": "" if one.row is None else str(one.row),
        "log": one.file + ("" if one.line is None else f":{one.line}"),
        "sha256": one.file_sha256,
    }


def nonconformance_report_pdf(
    record: FindingReview, printing: Printing, second_person: bool = False
) -> bytes:
    """The nonconformance report of one finding as a PDF.

    Args:
        record: what it holds, the same as the page's.
        printing: who prints it, when, by which revision of the form.
        second_person: whether the plant's rule asks a second person to sign.
    """
    wording, one = Wording(record.plant), record.finding
    kind = "diameter" if "diameter" in one.requirement else ""
    facts = [
        ["Requirement", one.requirement or one.rule.replace("-", " ")],
        [
            "Limit",
            f"{limit_words(one.limit)}, {one.limit.document} {one.limit.table}"
            if one.limit
            else "none on file",
        ],
        ["Worst reading", wording.extreme(one.worst, one.limit, kind)],
        ["Where on the reel", wording.on_reel(one)],
        ["Where on the run", wording.stretch(one.from_m, one.to_m)],
        ["Run, line, product", ", ".join((one.run_id, one.line_id, record.product.label))],
        ["Reels", ", ".join(one.reel_ids) or "on no reel"],
        ["Seen by", ", ".join(one.instruments) or "not known"],
        ["Likely cause", wording.sentence(one.cause) or "not known"],
        ["Material lots", ", ".join(f"{lot.material} {lot.lot_id}" for lot in record.lots) or "not known"],
        [
            "Opened, closed",
            f"{wording.moment(one.opened_at)}, {wording.moment(one.closed_at) if one.closed_at else 'not closed'}",
        ],
        ["Uncertainty", wording.sentence(record.decision_rule) or "not told"],
    ]
    listed = record.evidence or ((one.worst.evidence,) if one.worst else ())
    data = {
        **shared_data(
            record.plant,
            record.stamp,
            record_sha256(record),
            printing,
            "nonconformance report",
            record.left_held,
        ),
        "title": f"Nonconformance {one.finding_id}",
        "question": "What was found, how sure is it, and what was decided?",
        "subtitle": "",
        "status": one.status,
        "severity": one.severity,
        "sentence": wording.sentence(one.sentence),
        "facts": facts,
        "answers": [wording.answer(answer) for answer in record.answers],
        "proposal": wording.sentence(one.proposal),
        "repair_guide": [wording.sentence(text) for text in record.repair_guide],
        "dispositions": [wording.disposition(act) for act in record.dispositions],
        "evidence": [_evidence(each, wording) for each in listed],
        "signatures": ["Quality engineer", "Second person"] if second_person else ["Quality engineer"],
    }
    return printed("nonconformance.typ", data, printing.at)
