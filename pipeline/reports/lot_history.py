"""The history of a lot on paper: family, reels, everything that happened in order, and what it was judged on."""

from __future__ import annotations

from dashboards.records import Edge, LotHistory
from dashboards.site import record_sha256
from pipeline.reports.shift_summary import reel_data
from pipeline.reports.typesetting import Printing, Wording, printed, shared_data


def _edges(record: LotHistory, wording: Wording) -> list[dict[str, str]]:
    named = {node.node_id: f"{node.kind} {node.label}" for node in record.nodes}

    def over(edge: Edge) -> str:
        return "all of it" if edge.from_m is None else wording.stretch(edge.from_m, edge.to_m)

    return [
        {
            "from": named.get(edge.from_node, edge.from_node),
            "to": named.get(edge.to_node, edge.to_node),
            "over": over(edge),
        }
        for edge in record.edges
    ]


def lot_history_pdf(record: LotHistory, printing: Printing) -> bytes:
    """The history of a lot as a PDF.

    Args:
        record: what it holds, the same as the page's.
        printing: who prints it, when, by which revision of the form.
    """
    wording = Wording(record.plant)
    held = {True: "in date", False: "out of date", None: "not known"}
    data = {
        **shared_data(
            record.plant, record.stamp, record_sha256(record), printing, "lot history", record.left_held
        ),
        "title": record.title,
        "question": "Where did this lot come from and go, and what is on file about it?",
        "subtitle": f"Lot {record.lot_id}",
        "totals": [
            ["Reels", str(len(record.reels))],
            ["With trustworthy evidence", wording.quantity(record.covered_m, "length")],
            ["Without", wording.quantity(record.unmonitored_m, "length")],
            ["Findings", str(len(record.findings))],
        ],
        "edges": _edges(record, wording),
        "reels": [reel_data(reel, wording) for reel in record.reels],
        "events": [
            {
                "at": wording.moment(one.at),
                "kind": one.kind,
                "sentence": wording.sentence(one.sentence),
                "role": one.role,
                "digest": one.digest[:16],
            }
            for one in record.events
        ],
        "findings": [
            {
                "id": one.finding_id,
                "status": one.status,
                "where": f"run {one.run_id}, {', '.join(one.reel_ids)}, {wording.on_reel(one)}",
                "sentence": wording.sentence(one.sentence),
            }
            for one in record.findings
        ],
        "dispositions": [wording.disposition(one) for one in record.dispositions],
        "editions": [
            [
                f"{one.assessment_id}{' (current)' if one.is_current else ''}",
                wording.moment(one.assessed_at),
                f"revision {one.revision}",
                one.program,
                one.outcome,
            ]
            for one in record.editions
        ],
        "calibrations": [
            [
                one.instrument_id,
                one.kind,
                one.calibrated or "not known",
                one.due or "not known",
                held[one.in_date],
            ]
            for one in record.calibrations
        ],
        "manifest": [list(one) for one in record.manifest],
    }
    return printed("lot.typ", data, printing.at)
