"""What the plant's sheet says of rules and findings is what a judgement does: severity, length, stability, rows."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from pipeline.errors import SheetError
from pipeline.job.assessing import assess_run, read_plant_for_judging
from pipeline.record.how_sure import chance_it_conforms, risk_told
from pipeline.store.database import Store, open_to_read, open_to_write
from pipeline.store.said_columns import told_of
from pipeline.wording.say import plain
from tests.acts.decided_store import copied

PLANT = Path(__file__).parents[2] / "sample_runs" / "plant.toml"


@pytest.fixture
def store(judged_store: Path, tmp_path: Path) -> Store:  # type: ignore[misc]
    with open_to_write(copied(judged_store, tmp_path / "store")) as opened:
        yield opened


def findings(store: Store, run_id: str) -> list[dict[str, Any]]:
    head = next(row for row in store.ask("questions/current_runs") if row["run_id"] == run_id)
    return store.ask("questions/findings_of_assessment", assessment_id=head["assessment_id"])


def judged_by(store: Store, tmp_path: Path, run_id: str, old: str, new: str) -> list[dict[str, Any]]:
    """The run's findings by the demo's sheet with one text put for another."""
    text = PLANT.read_text()
    assert old in text
    path = tmp_path / "own.toml"
    path.write_text(text.replace(old, new, 1))
    assess_run(store, run_id, read_plant_for_judging(path))
    return findings(store, run_id)


def test_an_unstable_process_is_a_finding_from_the_change_of_level_the_plant_names(
    store: Store, tmp_path: Path
) -> None:
    """R-0414: the conductor's offset changes by 0.077 mm where a new lot was put on; the plant names 0.03 mm."""
    found = [one for one in findings(store, "R-0414") if one["rule"] == "unstable-process"]
    assert [one["reel_id"] for one in found] == ["L1-0414-02"]
    for one in found:
        assert (one["severity"], one["holds_release"], one["verdict"]) == ("minor", False, "cannot be told")
        assert one["limit_id"] == "plant sheet: findings.level_change_mm"
        assert one["limit_revision"] == "A"
        assert plain(told_of(one)).startswith("Process not stable in eccentricity over ")
    # Places on the wire are numbered first.
    assert max(one["number"] for one in findings(store, "R-0414") if one["worst"] is not None) < min(
        one["number"] for one in found
    )
    assert "at insulation compound lot PVC-7741" in plain(told_of(found[0]))
    for least, there in ((0.055, ["L1-0414-02"]), (0.1, [])):
        mended = judged_by(store, tmp_path, "R-0414", "level_change_mm = 0.03", f"level_change_mm = {least}")
        assert [one["reel_id"] for one in mended if one["rule"] == "unstable-process"] == there


def test_every_finding_names_the_row_and_revision_it_was_judged_by(judged_store: Path) -> None:
    seen: dict[str, set[tuple[str, str]]] = {}
    with open_to_read(judged_store) as store:
        for head in store.ask("questions/current_runs"):
            for one in findings(store, head["run_id"]):
                seen.setdefault(one["rule"], set()).add((one["limit_id"], one["limit_revision"]))
    assert seen["spark-fault"] == {("demo-THHN-spark-14-10", "A")}
    assert seen["unmonitored"] == {("plant sheet: holds.longest_unmonitored_m, holds.unmonitored_pct", "A")}
    assert seen["wall-point"] >= {("UL83-point-14..12", "1"), ("demo-XHHW2-point-55mil", "A")}
    assert not any("" in row for rows in seen.values() for row in rows), seen


def test_a_plants_severity_is_what_the_finding_has(store: Store, tmp_path: Path) -> None:
    before = [one for one in findings(store, "R-0415") if one["rule"] == "concentricity"]
    assert [one["severity"] for one in before] == ["major"]
    now = judged_by(
        store,
        tmp_path,
        "R-0415",
        "[severity.unstable-process]",
        '[severity.concentricity]\nseverity = "minor"\nholds_release = false\n[severity.unstable-process]',
    )
    mild = [one for one in now if one["rule"] == "concentricity"]
    assert [(one["severity"], one["holds_release"]) for one in mild] == [("minor", False)]
    assert [one["finding_id"] for one in mild] == [one["finding_id"] for one in before]


def test_a_severity_of_no_rule_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_text(PLANT.read_text().replace("[severity.unstable-process]", "[severity.unstable]"))
    with pytest.raises(SheetError) as told:
        read_plant_for_judging(path)
    assert str(told.value).startswith(
        "plant sheet: severity: 'unstable' is not a rule. It may be wall-point, "
    )
    path.write_text(
        PLANT.read_text().replace(
            '[severity.unstable-process]\nseverity = "minor"', '[severity.wall-point]\nseverity = "critical"'
        )
    )
    with pytest.raises(SheetError) as told:
        read_plant_for_judging(path)
    assert str(told.value) == (
        "plant sheet: severity: rule 'wall-point' is critical but would not hold a release. Let it hold the release, "
        "or give it another severity."
    )


def test_a_failing_length_shorter_than_the_plants_shortest_needs_a_second_instrument(
    store: Store, tmp_path: Path
) -> None:
    """R-0413: two spots of 7 m and 20 m that the wall gauge alone saw; only the longer one is above 15 m."""
    before = {one["finding_id"]: one for one in findings(store, "R-0413")}
    assert {one["confirmed"] for one in before.values()} == {True}
    now = {
        one["finding_id"]: one
        for one in judged_by(store, tmp_path, "R-0413", "shortest_m = 0.0", "shortest_m = 15.0")
    }
    assert set(now) == set(before)
    assert [(name, now[name]["confirmed"], now[name]["holds_release"]) for name in sorted(now)] == [
        ("R-0413-F01", False, False),
        ("R-0413-F02", True, True),
    ]
    assert plain(told_of(now["R-0413-F01"])).endswith(
        "One instrument alone saw it, over less than the plant's shortest length: unconfirmed."
    )


def failing_m(store: Store, run_id: str) -> float:
    """Wire of a run that fails the minimum at any point, each metre of a reel once [m]."""
    head = next(row for row in store.ask("questions/current_runs") if row["run_id"] == run_id)
    rows = store.ask("questions/requirements_of_assessment", assessment_id=head["assessment_id"])
    return sum(row["nonconforming_m"] for row in rows if row["requirement"] == "minimum wall at any point")


def test_gaps_are_merged_up_to_what_the_plant_says(store: Store, tmp_path: Path) -> None:
    """R-0414 drifts in and out of its limit; with no merging, less of the same wire counts as failing.

    The pieces stay one finding: they lie in the stretch of its concentricity, and no finding lies in another.
    """
    whole = [one for one in findings(store, "R-0414") if one["rule"] == "wall-point"]
    merged_m = failing_m(store, "R-0414")
    parts = [
        one
        for one in judged_by(store, tmp_path, "R-0414", "merge_gap_m = 15.0", "merge_gap_m = 0.0")
        if one["rule"] == "wall-point"
    ]
    assert 0.0 < failing_m(store, "R-0414") < merged_m
    assert len(parts) >= len(whole)
    assert min(one["from_m"] for one in parts) == pytest.approx(min(one["from_m"] for one in whole), abs=1.0)


def test_the_risk_of_a_verdict_is_told() -> None:
    """JCGM 106:2012, 7.3: Phi((0.3370 - 0.3302) / 0.004) = Phi(1.70) = 0.9554 (normal tables)."""
    assert chance_it_conforms(0.3370, 0.3302, 0.004, "at least") == pytest.approx(0.9554, abs=5e-5)
    assert chance_it_conforms(0.3370, 0.3302, 0.004, "at most") == pytest.approx(0.0446, abs=5e-5)
    assert chance_it_conforms(None, 0.3302, 0.004, "at least") is None
    row = {
        "worst": 0.3370,
        "limit_value": 0.3302,
        "uncertainty": 0.004,
        "sense": "at least",
        "verdict": "conforms",
    }
    assert risk_told(row) == "0.955 that it conforms at its worst reading"
    assert risk_told({**row, "uncertainty": None}) == ""
    assert risk_told({**row, "verdict": "no conclusion"}) == ""
    assert risk_told({**row, "worst": 0.5}) == "over 0.999 that it conforms at its worst reading"
