"""Old readings thinned by the plant's rule: extremes and evidence stay, the journal tells, a kill loses nothing."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
from contextlib import suppress
from dataclasses import replace
from datetime import date
from pathlib import Path

import polars as pl
import pytest

from pipeline.acts.shipping import put_shipping_on_file
from pipeline.errors import ReelproofError, SheetError
from pipeline.job import thinning
from pipeline.job.assessing import assess_run, read_plant_for_judging
from pipeline.job.loading import load_sheets
from pipeline.job.reassessing import Alone, Wanted, reassess
from pipeline.job.thinning import RetentionRule, _runs_handed_out, rule_of, thin
from pipeline.proofs.verifying import verified
from pipeline.record.entry_kinds import HANDED_OUT
from pipeline.record.journal_on_file import note
from pipeline.record.shipping_list import CutLength, Shipment, ShippingList
from pipeline.record.stretches_on_file import stretches_of
from pipeline.store.database import Store, open_to_read, open_to_write
from pipeline.store.readings import ThinnedError, read_frame, sweep
from pipeline.wording.say import plain
from tests.acts.decided_store import SENT

SAMPLE_RUNS = Path(__file__).parents[2] / "sample_runs"
LATER = date(2029, 1, 15)
STEP_M = 50.0
QUANTITIES = {"thinnest_wall_mm": "wall_at_m", "mean_wall_mm": "wall_at_m", "diameter_mm": "diameter_at_m"}


def without_a_rule() -> str:
    """The sample plant's sheet up to its rule of retention, the last thing in it."""
    text, found, _ = (SAMPLE_RUNS / "plant.toml").read_text().partition("[retention]")
    assert found
    return text


@pytest.fixture(scope="module")
def plant(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("plant") / "plant.toml"
    text = without_a_rule()
    path.write_text(
        f"{text}\n[retention]\nfull_rate_months = 24\nstep_m = {STEP_M}\nkeep_whole = ['declared']\n"
    )
    return path


@pytest.fixture(scope="module")
def judged(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("thinning") / "store"
    with open_to_write(folder) as store:
        load_sheets(store, (SAMPLE_RUNS / "runs" / "R-0415",))
        assess_run(store, "R-0415")
    return folder


@pytest.fixture
def copy(judged: Path, tmp_path: Path) -> Path:
    shutil.copytree(judged, tmp_path / "store")
    return tmp_path / "store"


@pytest.fixture
def rule(plant: Path) -> RetentionRule:
    return rule_of(plant, LATER)


def files_in(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in (folder / "readings").rglob("*.parquet")
    }


def head_of(store: Store) -> dict[str, object]:
    return store.ask("questions/current_runs")[0]


def measured(store: Store, *, or_thinned: bool = False) -> pl.DataFrame:
    return read_frame(store, str(head_of(store)["assessment_folder"]), "measured", or_thinned=or_thinned)


def test_without_a_confirm_nothing_changes(copy: Path, rule: RetentionRule) -> None:
    before = files_in(copy)
    (told,) = thin(copy, rule)
    assert files_in(copy) == before
    assert told.bytes_before == sum(map(len, before.values()))
    assert 0 < told.bytes_kept < told.bytes_before
    assert 0 < told.rows_kept < told.rows_before
    assert verified(copy).changes == ()


def test_what_was_promised_is_what_is_done(copy: Path, rule: RetentionRule) -> None:
    assert thin(copy, rule) == thin(copy, rule, "records manager")
    assert thin(copy, rule, "records manager") == ()


def test_stretches_stay_whole(copy: Path, rule: RetentionRule) -> None:
    with open_to_read(copy) as store:
        key = (int(head_of(store)["assessment_id"]), str(head_of(store)["assessment_folder"]))
        before = stretches_of(store, *key)
    thin(copy, rule, "records manager")
    with open_to_read(copy) as store:
        assert stretches_of(store, *key).equals(before)
    assert verified(copy).changes == ()


def test_every_extreme_of_every_step_and_all_evidence_stay(copy: Path, rule: RetentionRule) -> None:
    with open_to_read(copy) as store:
        whole = measured(store)
        key = {"assessment_id": head_of(store)["assessment_id"]}
        findings = store.ask("questions/findings_of_assessment", **key)
        places = {row["reel_id"]: row for row in store.ask("questions/places_of_assessment", **key)}
    (told,) = thin(copy, rule, "records manager")
    with open_to_read(copy) as store:
        left = measured(store, or_thinned=True)
    assert left.height < whole.height
    for name, place in QUANTITIES.items():
        expected, found = (_extremes(frame, name, place) for frame in (whole, left))
        assert found.equals(expected), name
    windows = [(row["evidence_from_m"], row["evidence_to_m"]) for row in findings]
    windows += [(places[reel]["from_m"], places[reel]["to_m"]) for reel, _ in told.kept_reels]
    assert len(windows) > len(told.kept_reels) > 0
    for from_m, to_m in windows:
        inside = pl.col("wall_at_m").is_between(from_m, to_m)
        assert left.filter(inside).equals(whole.filter(inside))


def _extremes(frame: pl.DataFrame, name: str, place: str) -> pl.DataFrame:
    steps = frame.filter(pl.col(place).is_finite(), pl.col(name).is_finite()).group_by(
        (pl.col(place) / STEP_M).floor().alias("step")
    )
    return steps.agg(pl.col(name).min().alias("low"), pl.col(name).max().alias("high")).sort("step")


def test_the_steps_count_every_reading(copy: Path, rule: RetentionRule) -> None:
    with open_to_read(copy) as store:
        whole = measured(store)
    thin(copy, rule, "records manager")
    (path,) = copy.glob("readings/**/thinned_assessment_id=1/steps_thinned.parquet")
    steps = pl.read_parquet(path, hive_partitioning=False).filter(pl.col("quantity") == "thinnest_wall_mm")
    known = whole.filter(pl.col("thinnest_wall_mm").is_finite(), pl.col("wall_at_m").is_finite())
    assert steps["readings"].sum() == known.height
    mean = (steps["mean"] * steps["readings"]).sum() / steps["readings"].sum()
    assert mean == pytest.approx(known["thinnest_wall_mm"].mean(), rel=1e-12)


def test_the_journal_says_what_went_and_verify_knows(copy: Path, rule: RetentionRule) -> None:
    before = files_in(copy)
    thin(copy, rule, "records manager")
    with open_to_read(copy) as store:
        entries = [
            json.loads(row["record"])["record"]
            for row in store.ask("questions/entries_of_kind", kind="thinning")
        ]
    assert {entry["role"] for entry in entries} == {"records manager"}
    removed = {f"readings/{entry['of_folder']}/{name}" for entry in entries for name in entry["removed"]}
    assert removed == set(before)
    assert not set(before) & set(files_in(copy))
    assert verified(copy).changes == ()


def test_verify_finds_what_is_left_changed_or_lost(copy: Path, rule: RetentionRule) -> None:
    thin(copy, rule, "records manager")
    one, two = sorted(copy.glob("readings/**/*_id=1/*logged_thinned.parquet")) + sorted(
        copy.glob("readings/**/measured_thinned.parquet")
    )
    one.unlink()
    two.write_bytes(two.read_bytes() + b"x")
    told = verified(copy).changes
    assert len(told) == 2
    assert told[0].endswith("thinned_load_id=1/logged_thinned.parquet is missing.") or told[1].endswith(
        "is missing."
    )


def test_a_thinned_run_is_not_judged_again_and_says_why(copy: Path, rule: RetentionRule, plant: Path) -> None:
    thin(copy, rule, "records manager")
    text = read_plant_for_judging(plant)
    with open_to_write(copy) as store:
        with pytest.raises(ThinnedError):
            measured(store)
        again = assess_run(store, "R-0415", text)
        assert len(store.ask("questions/assessments_of_run", run_id="R-0415")) == 1
    assert again.outcome == "not judged again"
    assert plain(again.reason).startswith("Of this run its readings were thinned on ")
    assert plain(again.reason).endswith("The judgment on file stays.")
    outcome = reassess(copy, Wanted(plant=text), Alone())
    assert (outcome.judged, len(outcome.refused)) == (0, 1)
    assert outcome.refused[0].startswith(
        "R-0415: not judged again. Of this run its readings were thinned on "
    )


def test_pages_of_a_thinned_run_are_written_and_say_so(
    copy: Path, rule: RetentionRule, tmp_path: Path
) -> None:
    from dashboards.page_writing import write_pages

    thin(copy, rule, "records manager")
    with open_to_read(copy) as store:
        write_pages(store, tmp_path / "pages", lambda _what, _more: None)
    told = [
        path
        for path in (tmp_path / "pages").rglob("*.html")
        if "readings were thinned on" in path.read_text()
    ]
    assert any("R-0415" in path.name for path in told)


def test_logs_loaded_again_bring_every_reading_back(copy: Path, rule: RetentionRule) -> None:
    from pipeline.job.loading import load_sheet

    thin(copy, rule, "records manager")
    sheet = SAMPLE_RUNS / "runs" / "R-0415" / "run.toml"
    with open_to_write(copy) as store:
        assert not load_sheet(store, sheet).was_new  # the same content is on file, thinned


def test_a_run_within_the_months_stays(copy: Path, plant: Path) -> None:
    assert thin(copy, rule_of(plant, date(2028, 3, 31)), "records manager") == ()
    assert rule_of(plant, date(2028, 3, 31)).before == date(2026, 3, 1)


def test_only_the_roles_the_plant_names_may_thin(copy: Path, rule: RetentionRule) -> None:
    own = replace(rule, retention=rule.retention.model_copy(update={"may_thin": ("records manager",)}))
    before = files_in(copy)
    with pytest.raises(ReelproofError) as told:
        thin(copy, own, "line operator")
    assert str(told.value) == (
        "plant.toml: retention.may_thin: by the plant's sheet the role 'line operator' may not thin readings. It is "
        "for records manager."
    )
    assert files_in(copy) == before
    (shown,) = thin(copy, own)
    assert shown == thin(copy, own, "records manager")[0]


def test_what_was_shipped_declared_or_handed_out_stays_by_the_plants_rule(
    copy: Path, rule: RetentionRule
) -> None:
    """R-0415: reel 01 is held; 02 leaves whole, a length of 03 is declared to conform and leaves later."""
    cut = CutLength(reel="L1-0415-03", length="L1-0415-03-A", from_ft=0, to_ft=2500)

    def leaves(item: str, cuts: tuple[CutLength, ...] = ()) -> None:
        left = Shipment(id=f"S-{item}", to="a customer", contents=(item,))
        with open_to_write(copy) as store:
            put_shipping_on_file(store, ShippingList(cuts=cuts, shipments=(left,)), "shipping clerk", SENT)

    leaves("L1-0415-02", (cut,))
    with open_to_write(copy) as store:
        note(store, "declaration", "D-1", {"wire": ["L1-0415-03-A"]})
    held = ("L1-0415-01", "a finding on it is open")
    shipped = [(f"L1-0415-0{number}", "it was shipped") for number in (2, 3)]
    declared = ("L1-0415-03", "a declaration stands on it")
    for policy, kept in (
        ((), [held]),
        (("shipped",), [held, shipped[0]]),
        (("declared",), [held, declared]),
        (("shipped", "declared", "handed out"), [held, shipped[0], declared]),
        (("shipped",), [held, *shipped]),
    ):
        if kept[-1] == shipped[1]:
            leaves("L1-0415-03-A")
        own = replace(rule, retention=rule.retention.model_copy(update={"keep_whole": policy}))
        (told,) = thin(copy, own)
        assert list(told.kept_reels) == kept, policy
    for subject in ("L1-0415-02", "lot RD-087"):
        with open_to_write(copy) as store, suppress(InterruptedError), store.transaction():
            note(store, HANDED_OUT, subject, {})
            assert _runs_handed_out(store) == {"R-0415"}
            raise InterruptedError  # so that the entry does not stay
    with open_to_write(copy) as store:
        note(store, HANDED_OUT, "lot RD-087", {})
    own = replace(rule, retention=rule.retention.model_copy(update={"keep_whole": ("handed out",)}))
    (told,) = thin(copy, own, "records manager")
    assert (told.whole, told.bytes_kept) == ("its record was handed out", told.bytes_before)
    (told,) = thin(copy, rule)
    assert told.whole == ""


def test_a_sheet_without_a_rule_thins_nothing(tmp_path: Path) -> None:
    path = tmp_path / "plant.toml"
    path.write_text(without_a_rule())
    with pytest.raises(SheetError) as told:
        rule_of(path, LATER)
    assert str(told.value) == (
        f"{path}: retention: this plant sheet does not say how long readings are kept at full rate. "
        "Add [retention] with full_rate_months, for example 24; nothing is thinned without it."
    )


@pytest.mark.parametrize("step", ["note_removal", "note_sealed", "put_texts_on_file"])
def test_stopped_before_it_is_on_file_nothing_is_thinned(
    copy: Path, rule: RetentionRule, step: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = files_in(copy)

    def stops(*_args: object, **_more: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(thinning, step, stops)
    with pytest.raises(KeyboardInterrupt):
        thin(copy, rule, "records manager")
    monkeypatch.undo()
    with open_to_write(copy) as store:
        sweep(store)
    assert files_in(copy) == before
    assert verified(copy).changes == ()


KILLED = """
import os, signal, sys
from contextlib import suppress
from dataclasses import replace
from datetime import date
from pathlib import Path
from pipeline.job.thinning import rule_of, thin
store, plant, at = Path(sys.argv[1]), Path(sys.argv[2]), int(sys.argv[3])
count = 0
def seen(event, args):
    global count
    if event in {"open", "os.rename", "os.remove", "os.rmdir", "shutil.rmtree", "os.mkdir"} and str(store) in str(args):
        count += 1
        if count == at:
            os.kill(os.getpid(), signal.SIGKILL)
rule = rule_of(plant, date(2029, 1, 15))
sys.addaudithook(seen)
thin(store, rule, "records manager")
print(count)
"""


def test_killed_at_any_file_operation_it_is_whole(
    copy: Path, plant: Path, rule: RetentionRule, tmp_path: Path
) -> None:
    """Every few file operations; REELPROOF_EVERY_KILL kills at each of them."""
    command = [sys.executable, "-c", KILLED]
    shutil.copytree(copy, tmp_path / "counted")
    done = subprocess.run(
        [*command, str(tmp_path / "counted"), str(plant), "0"], capture_output=True, text=True
    )
    operations = int(done.stdout)
    whole = set(files_in(copy))
    every = 1 if os.environ.get("REELPROOF_EVERY_KILL") else max(1, operations // 2)
    for at in range(1, operations + 1, every):
        store = tmp_path / f"killed-{at}"
        shutil.copytree(copy, store)
        killed = subprocess.run([*command, str(store), str(plant), str(at)], capture_output=True)
        assert killed.returncode == -signal.SIGKILL
        assert verified(store).changes == ()
        thin(store, rule, "records manager")
        assert verified(store).changes == ()
        left = files_in(store)
        assert not whole & set(left), at
        assert {Path(name).name for name in left} >= {"logged_thinned.parquet", "measured_thinned.parquet"}
        shutil.rmtree(store)
