"""Decisions on file: what they amount to, who is refused and why, two persons at once, and nothing overwritten."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import duckdb
import pytest

from dashboards.fillers.morning import morning_sheet
from dashboards.fillers.plant import plant_of
from dashboards.fillers.rows import stamp_of
from dashboards.fillers.run_book import run_books
from pipeline.acts.deciding import Acted, act_on, subject_on_file
from pipeline.errors import NotFoundError
from pipeline.job.assessing import assess_run, read_plant_for_judging
from pipeline.length.reel_places import length_told
from pipeline.messages import as_written
from pipeline.nonconformance.disposition import (
    ActKind,
    DecidedMeanwhile,
    Disposition,
    DispositionRefused,
    Person,
)
from pipeline.proofs.changes import changes_in
from pipeline.record.finding_on_file import finding_of
from pipeline.store.database import Store, open_to_read, open_to_write
from pipeline.store.said_columns import told_of
from tests.acts.decided_store import ENGINEER, MANAGER, TECHNICIAN, copied

ROOT = Path(__file__).parents[2]
AT = datetime(2026, 3, 4, 6, 30, tzinfo=UTC)


@pytest.fixture
def folder(judged_store: Path, tmp_path: Path) -> Path:
    return copied(judged_store, tmp_path / "store")


def act(
    store: Store,
    name: str,
    kind: ActKind,
    disposition: Disposition | None = None,
    by: Person = TECHNICIAN,
    evidence: str = "",
    seen: int | None = None,
) -> Acted:
    return act_on(store, name, kind, by, "seen on a slice", disposition, evidence=evidence, seen=seen, now=AT)


def findings_on(store: Store, reel_id: str) -> list[str]:
    assessment = store.ask("questions/reel", reel_id=reel_id)[0]["assessment_id"]
    rows = store.ask("questions/findings_of_assessment", assessment_id=assessment)
    return [row["finding_id"] for row in rows if row["reel_id"] == reel_id]


def refusal(store: Store, *arguments: Any, **more: Any) -> str:
    with pytest.raises(DispositionRefused) as told:
        act(store, *arguments, **more)
    return str(told.value)


def test_a_finding_goes_from_open_to_closed_and_every_act_is_in_the_journal(folder: Path) -> None:
    with open_to_write(folder) as store:
        (name,) = findings_on(store, "L1-0412-03")
        assert subject_on_file(store, name).state.standing == "open"
        first = act(store, name, "decide", "scrap")
        assert (first.state.standing, first.state.version) == ("decided", 1)
        second = act(store, name, "complete", evidence="cut record 12", by=ENGINEER)
        assert (second.state.standing, second.state.disposition) == ("closed", "scrap")
        third = act(store, name, "reopen", by=ENGINEER)
        assert (third.state.standing, third.state.version) == ("open", 3)
        acts = subject_on_file(store, name).acts
        entries = store.ask("questions/entries_of_subject", subject=name)
    assert [str(one) for one in acts] == [
        "decide scrap by shift quality technician (T-17) on 2026-03-04 06:30:00 UTC: seen on a slice",
        "complete scrap by quality engineer (QE-1) on 2026-03-04 06:30:00 UTC: seen on a slice",
        "reopen scrap by quality engineer (QE-1) on 2026-03-04 06:30:00 UTC: seen on a slice",
    ]
    assert [entry["kind"] for entry in entries] == ["disposition"] * 3
    assert [entry["entry_no"] for entry in entries] == [first.entry_no, second.entry_no, third.entry_no]


def test_an_act_given_again_after_a_kill_is_on_file_once(folder: Path) -> None:
    with open_to_write(folder) as store:
        (name,) = findings_on(store, "L1-0412-03")
        given: tuple[tuple[ActKind, Disposition | None, str], ...] = (
            ("decide", "scrap", ""),
            ("complete", None, "cut record 12"),
        )
        for kind, disposition, evidence in given:
            first = act(store, name, kind, disposition, evidence=evidence)
            again = act(store, name, kind, disposition, evidence=evidence)
            assert (again.entry_no, again.state) == (first.entry_no, first.state)
        act(store, name, "reopen")
        assert "nothing is decided on it, so 'reopen' does not apply" in refusal(store, name, "reopen")
        assert len(subject_on_file(store, name).acts) == 3
        assert act(store, name, "decide", "scrap").state.version == 4, "what was opened again is decided anew"


def test_a_morning_sheet_has_what_was_decided_after_the_judging(folder: Path) -> None:
    """By the page and by the print alike, for a day after the runs were judged."""
    with open_to_write(folder) as store:
        name = "R-0412-F02"
        judged = stamp_of(run_books(store)).assessed_at
        soon, late = judged + timedelta(hours=2), judged + timedelta(days=3)
        act_on(store, name, "decide", TECHNICIAN, "seen on a slice", "rework", now=soon)
        books = run_books(store)
        plant = plant_of(store, books)
        day = next(book.head["shift_date"] for book in books if book.run_id == "R-0412")
        page = morning_sheet(plant, books, "morning", day)
        paper = morning_sheet(plant, books, "morning", day, late)
        assert (
            [one.decided_at for one in page.decisions]
            == [soon]
            == [one.decided_at for one in paper.decisions]
        )
        assert page.as_of == soon and paper.as_of == late


def test_a_release_with_open_findings_names_each(folder: Path) -> None:
    with open_to_write(folder) as store:
        names = findings_on(store, "L1-0413-03")
        assert len(names) > 1
        told = refusal(store, "L1-0413-03", "decide", "release")
        assert told.splitlines() == [
            f"L1-0413-03: release is refused: finding {name} is open. Decide it, have it confirmed where the plant "
            "asks, and complete what was decided."
            for name in sorted(names)
        ]
        assert (
            refusal(store, "L1-0413-03", "decide", "concession", by=ENGINEER)
            .splitlines()[0]
            .startswith(f"L1-0413-03: concession is refused: finding {min(names)} is open.")
        )
        assert subject_on_file(store, "L1-0413-03").acts == ()


def test_a_release_goes_through_two_persons_once_every_finding_is_closed(folder: Path) -> None:
    with open_to_write(folder) as store:
        for name in findings_on(store, "L1-0413-03"):
            act(store, name, "decide", "scrap")
            act(store, name, "complete", evidence="cut record 12")
        first = act(store, "L1-0413-03", "decide", "release")
        assert first.state.standing == "awaiting a second person"
        assert refusal(store, "L1-0413-03", "confirm") == (
            "L1-0413-03: shift quality technician (T-17) decided release and cannot be the second person as well. "
            "Let another person confirm or decline it."
        )
        second = act(store, "L1-0413-03", "confirm", by=ENGINEER)
        assert (second.state.standing, second.state.disposition) == ("closed", "release")


def test_a_finding_opened_again_takes_the_release_away_and_stops_its_confirmation(folder: Path) -> None:
    with open_to_write(folder) as store:
        (name,) = findings_on(store, "L1-0412-03")
        act(store, name, "decide", "regrade")
        act(store, "L1-0412-03", "decide", "release")
        act(store, name, "reopen")
        assert refusal(store, "L1-0412-03", "confirm", by=ENGINEER) == (
            f"L1-0412-03: release is refused: finding {name} is open. Decide it, have it confirmed where the plant "
            "asks, and complete what was decided."
        )
        act(store, name, "decide", "regrade")
        # Whoever decided the release had not seen what was done about the finding since: it is decided anew.
        assert refusal(store, "L1-0412-03", "confirm", by=ENGINEER) == (
            "L1-0412-03: something holds it, or was done about its findings, that was not there when it was decided. "
            "Look at it again and decide anew."
        )
        act(store, "L1-0412-03", "decide", "release")
        act(store, "L1-0412-03", "confirm", by=ENGINEER)
        assert subject_on_file(store, "L1-0412-03").state.standing == "closed"
        act(store, name, "reopen")
        assert subject_on_file(store, "L1-0412-03").state.standing == "open"


def test_a_reel_held_for_what_is_no_finding_needs_evidence(folder: Path) -> None:
    with open_to_write(folder) as store:
        told = refusal(store, "L1-0421-01", "decide", "release")
        assert told.startswith("L1-0421-01: release is refused: ")
        assert told.endswith(
            "Name with --evidence what stands for it (a test or inspection), or mend it and assess the run again."
        )
        done = act(store, "L1-0421-01", "decide", "release", evidence="test report 26-114")
        assert done.state.standing == "awaiting a second person"


def test_the_program_proposes_and_does_not_decide(folder: Path) -> None:
    with open_to_write(folder) as store:
        (name,) = findings_on(store, "L1-0412-03")
        shown = subject_on_file(store, name)
        assert shown.proposal == (
            "Cut the length out with clearance on both sides and scrap it. Cut a full slice at the worst place, with "
            "the thin angle marked, and measure it by the standard's method."
        )
        assert shown.state.standing == "open"
        assert refusal(store, name, "decide") == (
            f"{name}: the decision is missing; the program proposes and never decides. Name rework, repair, regrade, "
            f"scrap, concession or release. Proposed: {shown.proposal}"
        )
        assert refusal(store, name, "confirm") == (
            f"{name}: nothing is decided on it, so 'confirm' does not apply. Decide first."
        )


def test_a_text_that_cannot_be_kept_is_refused(folder: Path) -> None:
    with open_to_write(folder) as store:
        with pytest.raises(DispositionRefused) as told:
            act_on(store, "R-0412-F02", "decide", TECHNICIAN, "caf\udce9", "scrap")
        assert str(told.value) == (
            "R-0412-F02: a text of the act is not UTF-8 and cannot be kept as it is. Type it again in UTF-8."
        )
        hostile = "<script>alert('1')</script> \u202e \x07 'quoted'; DROP TABLE journal.act; -- \U0001f9f5"
        done = act_on(store, "R-0412-F02", "decide", TECHNICIAN, hostile, "scrap")
        assert subject_on_file(store, "R-0412-F02").acts[0].reason == hostile
        assert done.state.standing == "decided"
        assert changes_in(store) == ()


def test_an_unknown_subject_names_the_nearest(folder: Path) -> None:
    with open_to_read(folder) as store, pytest.raises(NotFoundError) as told:
        subject_on_file(store, "L1-0412-3")
    assert str(told.value).startswith(
        "L1-0412-3: no finding, reel or cut length of this number is on file. The nearest on file: L1-0412-03"
    )


def test_the_second_of_two_who_saw_the_same_is_told_of_the_first(folder: Path) -> None:
    with open_to_write(folder) as store:
        (name,) = findings_on(store, "L1-0412-03")
        act(store, name, "decide", "scrap", seen=0)
        with pytest.raises(DecidedMeanwhile) as told:
            act(store, name, "decide", "concession", by=ENGINEER, seen=0)
        assert len(subject_on_file(store, name).acts) == 1
    assert str(told.value) == (
        f"{name}: shift quality technician (T-17) acted first (decide scrap by shift quality technician (T-17) on "
        "2026-03-04 06:30:00 UTC: seen on a slice). Nothing of yours was written; read that act and decide again if "
        "you still must."
    )


def test_only_the_roles_the_plant_names_decide_what_it_names(folder: Path) -> None:
    """The demo's plant lets the quality engineer and the quality manager decide a concession."""
    with open_to_write(folder) as store:
        (name,) = findings_on(store, "L1-0412-03")
        with pytest.raises(DispositionRefused) as told:
            act(store, name, "decide", "concession")
        assert str(told.value) == (
            f"{name}: by the plant's sheet the role 'shift quality technician' may not decide concession. It is for "
            "quality engineer or quality manager."
        )
        act(store, name, "decide", "concession", by=ENGINEER)
        with pytest.raises(DispositionRefused) as told:
            act(store, name, "confirm")
        assert "may not confirm concession" in str(told.value)
        act(store, name, "confirm", by=MANAGER)
        assert subject_on_file(store, name).state.standing == "closed"


def test_two_processes_at_once_one_wins_and_the_other_is_told(folder: Path) -> None:
    with open_to_read(folder) as store:
        (name,) = findings_on(store, "L1-0412-03")
    command = [sys.executable, "-m", "pipeline", "disposition", name, "decide"]
    processes = [
        subprocess.Popen(
            [
                *command,
                chosen,
                *("--role", role, "--reason", "seen on a slice", "--seen", "0", "--store", str(folder)),
            ],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            cwd=ROOT,
        )
        for role, chosen in (("shift quality technician", "scrap"), ("quality engineer", "regrade"))
    ]
    told = [process.communicate(timeout=120) for process in processes]
    codes = [process.returncode for process in processes]
    with open_to_read(folder) as store:
        acts = subject_on_file(store, name).acts
    assert sorted(codes) == [0, 2]
    winner, loser = codes.index(0), codes.index(2)
    assert len(acts) == 1
    assert acts[0].by.role == ("shift quality technician", "quality engineer")[winner]
    last = told[loser][1].splitlines()[-1]
    assert last.startswith(f"{name}: {acts[0].by.role} acted first (decide {acts[0].disposition} by ")
    assert last.endswith("Nothing of yours was written; read that act and decide again if you still must.")


def test_a_finding_that_grew_is_open_again_and_its_decision_cannot_be_completed(
    folder: Path, tmp_path: Path
) -> None:
    """A tightened limit makes the finding longer when the run is judged again; it keeps its number."""
    with open_to_write(folder) as store:
        (name, *_) = [
            row["finding_id"]
            for row in store.ask(
                "questions/findings_of_assessment", assessment_id=_assessment(store, "R-0415")
            )
            if row["rule"] == "concentricity"
        ]
        before = act(store, name, "decide", "scrap").act.extent
        assert before is not None
        assess_run(store, "R-0415", read_plant_for_judging(_tightened(tmp_path)))
        shown = subject_on_file(store, name)
        now = shown.extent
        assert now is not None
        assert shown.state.standing == "open"
        assert now.to_m > before.to_m + 1.0
        assert refusal(store, name, "complete", evidence="cut record 12") == (
            f"{name}: it was decided on from {length_told(before.from_m, 'ft')} to {length_told(before.to_m, 'ft')} "
            f"({', '.join(before.rule_ids)}) and is now from {length_told(now.from_m, 'ft')} to "
            f"{length_told(now.to_m, 'ft')} "
            f"({', '.join(now.rule_ids)}). Look at it again and decide anew."
        )
        assert act(store, name, "decide", "scrap").state.standing == "decided"


def _assessment(store: Store, run_id: str) -> int:
    return next(
        row["assessment_id"] for row in store.ask("questions/current_runs") if row["run_id"] == run_id
    )


def _tightened(tmp_path: Path) -> Path:
    text = (ROOT / "sample_runs" / "plant.toml").read_text()
    head, entry = text.split('id = "demo-THHN-concentricity-A"', 1)
    revised = entry.replace("value = 70", "value = 80", 1).replace('revision = "A"', 'revision = "C"', 1)
    path = tmp_path / "tightened.toml"
    path.write_text(f'{head}id = "demo-THHN-concentricity-A"{revised}')
    assert tomllib.loads(path.read_text()) != tomllib.loads(text)
    return path


MUTATIONS = [
    ("UPDATE journal.act SET disposition = 'concession'", "changed"),
    ("UPDATE journal.act SET role = 'somebody else'", "changed"),
    ("UPDATE journal.act SET reason = reason || '.'", "changed"),
    ("UPDATE journal.act SET evidence = 'a report that was never made'", "changed"),
    ("UPDATE journal.act SET at_utc = at_utc - INTERVAL 1 DAY", "changed"),
    ("UPDATE journal.act SET to_m = to_m + 0.001", "changed"),
    ("UPDATE journal.act SET waits = NOT waits", "changed"),
    ("DELETE FROM journal.act", "changed"),
    (
        "INSERT INTO journal.act SELECT * REPLACE (version + 1 AS version, entry_no + 1 AS entry_no) FROM journal.act",
        "added",
    ),
]


@pytest.mark.parametrize(("change", "how"), MUTATIONS, ids=[change[:48] for change, _ in MUTATIONS])
def test_a_changed_act_is_found(
    decided_415: tuple[Path, str, int], tmp_path: Path, change: str, how: str
) -> None:
    kept, name, entry_no = decided_415
    copied(kept, tmp_path / "store")
    with duckdb.connect(str(tmp_path / "store" / "reelproof.duckdb")) as connection:
        connection.execute(change)
    with open_to_write(tmp_path / "store") as store:
        told = changes_in(store)
    if how == "changed":
        assert told == (
            f"disposition of {name}, journal entry {entry_no}: rows of journal.act are not as they were written.",
        )
    else:
        assert told == (
            f"rows of journal.act say they belong to disposition {entry_no + 1}, which the journal does not hold.",
        )


@pytest.fixture(scope="module")
def decided_415(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str, int]:
    from tests.acts.decided_store import judged

    folder = judged(tmp_path_factory.mktemp("decided") / "store", "R-0415")
    with open_to_write(folder) as store:
        (name, *_) = findings_on(store, "L1-0415-01")
        entry_no = act(store, name, "decide", "scrap").entry_no
        assert changes_in(store) == ()
    return folder, name, entry_no


def test_a_finding_comes_back_from_its_row(judged_store: Path) -> None:
    with open_to_read(judged_store) as store:
        rows = [
            row
            for head in store.ask("questions/current_runs")
            for row in store.ask("questions/findings_of_assessment", assessment_id=head["assessment_id"])
        ]
    assert len(rows) > 20
    assert any(len(row["rules"]) > 1 for row in rows)
    for row in rows:
        found = finding_of(row)
        assert found.told == told_of(row)
        assert found.families == tuple(row["families"])
        assert found.verdict.value == row["verdict"]
        assert ", ".join(found.instruments) == row["instruments"]
        assert sorted({one.rule_id for one in found.sightings}) == row["rules"]
        # A store of an earlier version kept the sentence.
        earlier = {
            **row,
            "sentence": "Thin at 3.0 m.",
            "said": None,
            "cause_sentence": "",
            "cause_said": None,
        }
        assert finding_of(earlier).told == as_written("Thin at 3.0 m.")
