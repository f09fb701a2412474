"""Printed records: the same data gives the same bytes, and the paper says what the record says."""

import io
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pypdf
import pytest

from dashboards.pages.shift import gates
from dashboards.records import Plant
from dashboards.site import record_sha256
from pipeline.lots.declaration import IS_NOT, NO_TESTS, Declaration
from pipeline.reports.declaration import declaration_pdf
from pipeline.reports.printed import lot_history_pdf, morning_pdf, nonconformance_report_pdf
from pipeline.reports.shift_summary import shift_summary_pdf
from pipeline.reports.typesetting import Printing, Wording, limit_words
from tests.dashboards import hostile, invented, invented_lines, invented_more

PRINTING = Printing("quality engineer", invented.START + timedelta(hours=9), "2")
DECLARATION = Declaration(
    "D-2026-031",
    "Demo plant, 1 Example Road",
    "14 AWG solid copper THHN/THWN-2; lot PVC-2291; reel R-1041, 1250.0 m; 1250.0 m together",
    "The object of the declaration described above is in conformity with the requirements named here.",
    ("Demo wall table, 2025",),
    ("minimum average wall", "minimum wall at any point"),
    ("Decision rule: guarded by 1.645 u.",),
    (IS_NOT, NO_TESTS),
    "Example town, 2026-03-13",
    "A. Person, quality manager (draft until signed)",
)


def text_of(pdf: bytes) -> str:
    """All text, spaces and line ends made one, so that a line break on paper does not matter."""
    pages = pypdf.PdfReader(io.BytesIO(pdf)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split()).replace("\u00a0", " ")


def every_record() -> dict[str, bytes]:
    return {
        "shift": shift_summary_pdf(invented.shift(), PRINTING),
        "finding": nonconformance_report_pdf(invented_lines.finding(), PRINTING, True),
        "lot": lot_history_pdf(invented_more.lot(), PRINTING),
        "declaration": declaration_pdf(DECLARATION, invented.PLANT, invented.STAMP, PRINTING),
    }


@pytest.fixture(scope="module")
def pdfs() -> dict[str, bytes]:
    return every_record()


def test_the_same_data_gives_the_same_bytes(pdfs: dict[str, bytes]) -> None:
    assert every_record() == pdfs
    other = shift_summary_pdf(invented.shift(), replace(PRINTING, by="auditor"))
    assert other != pdfs["shift"]


def test_every_page_carries_number_revision_who_when_and_hash(pdfs: dict[str, bytes]) -> None:
    digests = {
        "shift": record_sha256(invented.shift()),
        "finding": record_sha256(invented_lines.finding()),
        "lot": record_sha256(invented_more.lot()),
        "declaration": record_sha256(DECLARATION),
    }
    for name, pdf in pdfs.items():
        pages = pypdf.PdfReader(io.BytesIO(pdf)).pages
        for number, page in enumerate(pages, 1):
            text = " ".join(page.extract_text().split())
            assert f"page {number} of {len(pages)}" in text, name
            assert "revision 2. Printed 2026-03-13 00:00 CDT by quality engineer. reelproof 0.1.0" in text, (
                name
            )
            assert digests[name] in text, name


def test_the_shift_summary_says_what_the_record_says(pdfs: dict[str, bytes]) -> None:
    record, text = invented.shift(), text_of(pdfs["shift"])
    wording = Wording(record.plant)
    for run in record.runs:
        for reel in run.reels:
            assert reel.reel_id in text
            assert reel.thinnest_wall is not None
            told = wording.quantity(reel.thinnest_wall.value, "wall", invented.POINT.value)
            assert told.replace("\u00a0", " ") in text
            for reason in reel.reasons:
                assert wording.sentence(reason.sentence).replace("\u00a0", " ") in text
    # The first page names every reel under its standing, the held ones with what they are held for.
    first = " ".join(pypdf.PdfReader(io.BytesIO(pdfs["shift"])).pages[0].extract_text().split())
    for gate in gates(record):
        for reel in gate.reels:
            name, why = reel.reel.reel_id, wording.sentence(reel.why).replace("\u00a0", " ")
            if gate.standing == "releasable":
                assert name in first
            elif reel.thinnest is None or reel.limit is None:
                assert f"{name}: {why}" in first
            else:
                wall = wording.quantity(reel.thinnest.value, "wall", reel.limit.value).replace("\u00a0", " ")
                told = f"{name}: minimum wall at any point {wall}, limit {limit_words(reel.limit)}"
                assert (f"{told}; {why}" if why else told) in first
    for one in record.first_things:
        assert wording.sentence(one.sentence).replace("\u00a0", " ") in text
    assert "288,412 read = 288,400 kept + 12 set aside" in text
    assert "at least 15 mil" in text
    assert "no result" in text
    assert "Invented data." in text
    assert "Reels stay on the hold floor until the quality engineer signs." in text


def test_the_morning_sheet_is_one_sheet_with_causes_by_cost_and_what_is_open() -> None:
    record = invented_more.morning()
    pdf = morning_pdf(record, Printing("quality engineer", datetime(2026, 3, 13, 5, tzinfo=UTC)))
    pages = pypdf.PdfReader(io.BytesIO(pdf)).pages
    assert len(pages) == 1
    text = " ".join(pages[0].extract_text().split())
    costs = [text.index(f"{one.cause} {one.findings}") for one in record.causes[:3]]
    assert costs == sorted(costs)
    assert record.causes[3].cost == 2.0 and "2 USD" not in text.replace("12 USD", "")
    for one in record.open_findings:
        assert one.finding_id in text
        assert one.opened_at is not None
        days = round((record.as_of - one.opened_at) / timedelta(days=1))
        assert f"{days} day" in text
    assert "906 ft, 31 USD" in text
    assert "quality engineer" in text


def test_a_finding_on_paper_leads_back_to_the_log(pdfs: dict[str, bytes]) -> None:
    text = text_of(pdfs["finding"])
    assert "Nonconformance F-0412" in text
    assert (
        "12.48 mil at 4,946.2 ft from the outer end (3,255.9 ft from the core end), thin toward 205°" in text
    )
    assert "L1-wall-0312-2.csv:7122" in text
    assert text.count(invented.SHA) == len(invented_lines.finding().evidence)
    assert "Second person: name, signature, date" in text


def test_a_lot_history_on_paper_holds_every_event_and_judgement(pdfs: dict[str, bytes]) -> None:
    record, text = invented_more.lot(), text_of(pdfs["lot"])
    for event in record.events:
        assert event.sentence in text
    for edition in record.editions:
        assert edition.assessment_id in text
    for name, sha in record.manifest:
        assert name in text
        assert sha in text
    assert "in date" in text
    assert "not known" in text


def test_a_declaration_on_paper_holds_each_part_and_is_a_draft(pdfs: dict[str, bytes]) -> None:
    text = text_of(pdfs["declaration"])
    assert "Draft until signed." in text
    for part in (DECLARATION.number, DECLARATION.issuer, DECLARATION.statement, *DECLARATION.limitations):
        # A line may end at a hyphen of the text itself.
        assert part.replace(" ", "") in text.replace(" ", "")
    for name in (
        "Identification",
        "Issuer",
        "Object of the declaration",
        "Statement",
        "Documents",
        "Limitations",
    ):
        assert name in text


def test_a_metric_plant_prints_metric_on_its_own_paper() -> None:
    plant = Plant("P2", "Demo plant", "Europe/Berlin", "mm and meter")
    pdf = shift_summary_pdf(replace(invented.shift(), plant=plant), PRINTING)
    text = text_of(pdf)
    assert "0.317 mm at 1 507.6 m from the outer end (992.4 m from the core end)" in text
    assert "Invented data" not in text
    box = pypdf.PdfReader(io.BytesIO(pdf)).pages[0].mediabox
    assert [round(float(side)) for side in (box.width, box.height)] == [595, 842]


def test_hostile_text_is_printed_as_text() -> None:
    text = text_of(shift_summary_pdf(hostile.shift(), PRINTING))
    assert "<script>window.hacked=1</script>" in text
    assert "{{ 7*7 }}" in text


def test_the_templates_lie_beside_the_code_that_the_wheel_ships() -> None:
    folder = Path(__file__).parents[2] / "pipeline" / "reports" / "templates"
    assert {path.name for path in folder.iterdir()} == {
        "sheet.typ",
        "morning.typ",
        "shift.typ",
        "tag.typ",
        "nonconformance.typ",
        "lot.typ",
        "declaration.typ",
    }
