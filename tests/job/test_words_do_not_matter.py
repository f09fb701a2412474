"""With every template rewritten to its bare code, judgements, findings and numbers on pages are the same."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from dashboards.fillers.plant import plant_of
from dashboards.fillers.run_book import run_books
from dashboards.pages.capability import capability_matrix
from dashboards.pages.faults import fault_review
from pipeline.cli.app import run
from pipeline.job.assessing import assess_run, read_plant_for_judging
from pipeline.record.sealing import ASSESSMENT_TABLES, frame_sha256
from pipeline.store.database import Store, open_to_read, open_to_write
from pipeline.wording import say
from pipeline.wording.templates import TEMPLATES
from tests.acts.decided_store import copied
from tests.house.freeze import _numbers, frozen

ROOT = Path(__file__).parents[2]
# A spark fault that repeats, and thin spots.
RUNS = ("R-0418", "R-0412")
# What tells one judgement from another, and texts of findings that quote an answer's reason.
OWN = {"assessment_id", "basis_sha256", "plant_sheet_sha256", "assessed_utc", "duration_s", "folder"}
TEXTS: set[str] = set()


@pytest.fixture
def bare_codes(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every template is its code, without any of its arguments."""
    bare = {code: (code.replace("{", "").replace("}", ""),) for code in TEMPLATES}
    monkeypatch.setattr(say, "TEMPLATES", bare)


def hashes(store: Store, assessment_id: int) -> dict[str, str]:
    found = {}
    for table, question in ASSESSMENT_TABLES.items():
        frame = store.ask_frame(question, assessment_id=assessment_id)
        found[table] = frame_sha256(frame.drop((OWN | TEXTS) & set(frame.columns)))
    return found


def judgements(store: Store, run_id: str) -> list[int]:
    return [row["assessment_id"] for row in store.ask("questions/assessments_of_run", run_id=run_id)]


def test_a_judgement_is_the_same_whatever_the_words(
    judged_store: Path, tmp_path: Path, bare_codes: None
) -> None:
    sheet = tmp_path / "plant.toml"
    sheet.write_text((ROOT / "sample_runs" / "plant.toml").read_text() + "\n# judged in bare codes\n")
    plant = read_plant_for_judging(sheet)
    with open_to_write(copied(judged_store, tmp_path / "store")) as store:
        for run_id in RUNS:
            assess_run(store, run_id, plant)
            before, now = judgements(store, run_id)
            assert hashes(store, now) == hashes(store, before)


def numbers_on_pages(folder: Path) -> list[Any]:
    with open_to_read(folder) as store:
        books = run_books(store)
        plant = plant_of(store, books)
        return [list(_numbers(made(plant, books))) for made in (capability_matrix, fault_review)]


# Words, and what is made of words alone; everything else a command gives is a figure, a key or a name.
SAID = {
    "words", "sentence", "sentences", "told", "headline", "reasons", "reasons_on_reel", "alarms", "reason", "advice",
    "cause_sentence", "first_action", "against", "whereabouts", "cautions", "note", "remedy", "question", "method",
    "notes", "told_on_reel", "withdrawn", "suspect",
}  # fmt: skip
COMMANDS = (
    ("reel", "L1-0412-02"),
    ("reel", "L1-0418-02", "--at", "1100m"),
    ("lot", "PVC-7741"),
    ("tune", "L1", "--product", "12 AWG"),
    ("hold", "L1-0411-01"),
    ("contain", "lot", "PVC-7741"),
    ("drift", "L1", "L1-WG", "--bias", "0.01mm", "--found", "2026-04-30", "--last-good", "2026-01-12"),
    ("journal",),
    ("product", "THHN/THWN-2", "12 AWG"),
)


def without_words(value: Any) -> Any:
    if isinstance(value, dict):
        return {name: without_words(one) for name, one in value.items() if name not in SAID}
    return [without_words(one) for one in value] if isinstance(value, list) else value


def test_commands_give_the_same_figures_whatever_the_words(
    judged_store: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def given() -> list[Any]:
        found = []
        for command in COMMANDS:
            store = () if command[0] == "product" else ("--store", str(judged_store))
            code = run([*command, *store, "--json"])
            found.append((code, without_words(json.loads(capsys.readouterr().out))))
        return found

    before = given()
    assert all(
        code == (1 if name[0] == "drift" else 0) and told
        for name, (code, told) in zip(COMMANDS, before, strict=True)
    )
    monkeypatch.setattr(say, "TEMPLATES", {code: (code,) for code in TEMPLATES})
    assert given() == before


def test_everything_a_store_says_is_the_same_whatever_the_words(
    judged_store: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = numbers_on_pages(judged_store)
    assert sum(len(one) for one in before) > 100
    whole = frozen(judged_store)
    monkeypatch.setattr(say, "TEMPLATES", {code: (code,) for code in TEMPLATES})
    assert numbers_on_pages(judged_store) == before
    assert frozen(judged_store) == whole
