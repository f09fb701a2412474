"""Open findings by cause, what a morning sheet counts, and the signs on figures."""

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

from dashboards.answers_shown import note_icon
from dashboards.figures.control_chart import control_chart_figure
from dashboards.figures.window import window_figure
from dashboards.figures.wire import wire_figure
from dashboards.pages.charts import in_order
from dashboards.pages.index import search_entries
from dashboards.pages.morning import bars, sheet_id, sheet_title
from dashboards.pages.run_summary import causes_of, requirements_of, summary_of, unanswered
from dashboards.pages.shift import by_cause
from dashboards.records import AnswerGroup
from dashboards.records.site_pages import FindingEntry, LengthEntry, ShipmentEntry
from dashboards.site import Site
from pipeline.messages import message
from pipeline.results import Refused
from pipeline.warned import Station
from tests.dashboards import invented, invented_charts, invented_lines, invented_more


def test_one_cause_is_one_entry_with_its_findings_owner_and_time() -> None:
    opened = invented.START
    findings = [
        replace(one, cause="roll A", line_id="L1", severity="critical" if k else "major", opened_at=opened)
        for k, one in enumerate(invented.findings()[:3])
    ]
    other = replace(findings[0], cause="", finding_id="X", requirement="spark fault", severity="minor")
    roll, unknown = by_cause([*findings, other], invented.PLANT)
    assert (roll.cause, len(roll.findings), roll.owner) == ("roll A", 3, "quality engineer")
    assert roll.due_at == opened + timedelta(hours=4)
    assert roll.findings[0].severity == "critical"
    assert (unknown.cause, unknown.owner, unknown.due_at) == ("cause not known: spark fault", "", None)


def test_causes_stand_in_pareto_order() -> None:
    findings = invented.findings()
    told = causes_of([*findings, *(replace(findings[0], cause="often") for _ in range(9))])
    counts = [len(one.findings) for one in told]
    assert told[0].cause == "often" and counts == sorted(counts, reverse=True)


def test_the_summary_of_a_run_has_the_index_and_the_reels_found_bad() -> None:
    record = invented.run(3000)
    rows = summary_of(record).requirements
    assert rows and rows[0].answer.question.arguments["symbol"] == "PpkL"
    refused = [one for group in record.run.answers for one in group.answers if isinstance(one, Refused)]
    assert sum(len(one.those) for one in unanswered(record.run.answers)) == len(refused)


def test_the_summary_of_a_requirement_counts_its_bad_reels_and_has_its_worst_reading() -> None:
    record = invented.run(3000)
    index = summary_of(record).requirements[0].answer
    reels = record.run.reels
    for limit in {one.limit for reel in reels for one in reel.judgements if one.limit is not None}:
        asked = replace(index, question=replace(index.question, about=limit.limit_id))
        (row,) = requirements_of([AnswerGroup("one", (asked,))], reels)
        held = [(one, reel.reel_id) for reel in reels for one in reel.judgements if one.limit == limit]
        assert row.limit == limit
        assert row.reels_bad == sum(one.outcome == "does not conform" for one, _ in held)
        read = {(one.worst.value, reel_id) for one, reel_id in held if one.worst is not None}
        assert row.worst is not None
        assert row.worst.value == (max if limit.sense == "at most" else min)(read)[0]
        assert (row.worst.value, row.worst_reel) in read
    assert any(reel.judgements for reel in reels)


def test_every_fault_of_a_finding_is_marked_in_its_plots() -> None:
    record = replace(invented_lines.finding(), faults=invented.run(3000).faults)
    figure = window_figure(record)
    assert figure is not None and record.faults
    at = {
        round(one["x"], 6)
        for one in figure["layout"]["annotations"]
        if one.get("text") in ("\u00d7", "\u25c6")
    }
    assert at == {round(one.at_m, 6) for one in record.faults}


def test_one_line_has_no_legend_and_names_its_axis() -> None:
    figure = wire_figure(invented.run(3000))
    lines = [one for one in figure["data"] if one["type"] == "scatter" and one["mode"] == "lines"]
    for one in lines:
        alone = sum(other["yaxis"] == one["yaxis"] for other in lines) == 1
        assert one["showlegend"] is not alone
    assert "Line speed" in {one["title"] for one in figure["axes"].values()}


def test_a_control_chart_names_its_reels_and_signals_stand_first() -> None:
    product = invented_charts.charts().products[0]
    for chart in product.charts:
        names = control_chart_figure(chart)["layout"]["xaxis"]["ticktext"]
        reels = [name for phase in chart.phases for name in phase.reel_ids]
        assert names and set(names) <= set(reels) and len(names) <= 13
    told = [bool(product.charts[number - 1].told) for number in in_order(product)]
    assert told == sorted(told, reverse=True)


def test_agreement_is_no_caution() -> None:
    assert note_icon(message(Station.AGREES)) == "note"
    assert note_icon("Measure the line.") == "caution"


def test_a_morning_sheet_has_its_day_and_bars_by_length() -> None:
    record = invented_more.morning()
    assert sheet_id(record) == "2026-03-12"
    assert sheet_title(record) == "Morning sheet, Thursday 12 March 2026"
    heights = bars(record.trend)
    assert len(heights) == 30
    assert heights[-1][1:] == (100.0, 13.33, 3.33)
    assert heights[0][1:] == (0.0, 0.0, 0.0)


def test_the_search_has_findings_with_their_status_and_dates_in_words(tmp_path: Path) -> None:
    finding = FindingEntry("F-1", "open", "spark fault", "roll A", "R-1", "critical")
    record = replace(invented_more.index(), findings=(finding,))
    entries = search_entries(record, Site(tmp_path))
    texts = [" ".join(one).lower() for one in entries]
    owner = record.plant.owner_of("critical")
    assert [one for one in texts if "open" in one and "roll a" in one] == [
        f"finding f-1 open, critical, spark fault, roll a findings/F-1.html r-1 {owner}".lower()
    ]
    for kind in ("shift", "run", "reel"):
        assert any(one.startswith(kind) and "12 march 2026" in one for one in texts), kind


def test_the_search_has_lengths_shipments_and_roles(tmp_path: Path) -> None:
    record = replace(
        invented_more.index(),
        lengths=(LengthEntry("R-1-A", "R-1", "package", "releasable"),),
        shipments=(ShipmentEntry("S-9", "R-1-A", "R-1", "Depot 4", date(2026, 3, 14)),),
    )
    record = replace(record, plant=replace(record.plant, call=(("quality engineer", "extension 4210"),)))
    entries = search_entries(record, Site(tmp_path))
    assert ["length", "R-1-A", "package, releasable, cut from R-1", "reels/R-1.html", ""] in entries
    assert [
        "shipment",
        "S-9",
        "R-1-A to Depot 4, 2026-03-14",
        "reels/R-1.html",
        "shipped R-1 Saturday 14 March 2026",
    ] in entries
    assert ["role", "quality engineer", "extension 4210", "", "call"] in entries
