"""Laboratory samples on file: what they say of the reel they were cut from, of its run and lot, and what is missing."""

from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest

from dashboards.fillers.plant import plant_of
from dashboards.fillers.run_book import run_books
from dashboards.pages.reel import reel_review, write_reel_page
from dashboards.site import Site
from pipeline.acts.deciding import act_on
from pipeline.acts.withdrawing import withdraw_sample
from pipeline.cli.app import run
from pipeline.errors import NotFoundError
from pipeline.nonconformance.disposition import DispositionRefused, Person
from pipeline.proofs.changes import changes_in
from pipeline.record.sample_say import NOTHING, SampleSay, samples_on_run
from pipeline.record.samples_on_file import samples_of_run
from pipeline.record.standing import standing_of
from pipeline.store.database import open_to_read, open_to_write
from pipeline.store.readings import read_frame
from pipeline.wording.say import plain
from tests.acts.decided_store import copied

HEAD = "reel,at_m,quantity,value_mm,sd_mm,measured_by,instrument"
BY = "laboratory technician,measuring microscope"
ENGINEER = Person("quality engineer", "QE-1")


@pytest.fixture
def store(judged_store: Path, tmp_path: Path) -> Path:
    return copied(judged_store, tmp_path / "store")


def handed(store: Path, *lines: str, head: str = HEAD, role: str = "quality engineer") -> int:
    table = store.parent / "lab.csv"
    table.write_text("\n".join((head, *lines)) + "\n", encoding="utf-8")
    return run(["samples", str(table), "--role", role, "--store", str(store)])


def said(store: Path, run_id: str, reel_id: str) -> SampleSay:
    with open_to_read(store) as opened:
        return samples_on_run(opened, run_id).get(reel_id, NOTHING)


def in_line(store: Path, run_id: str, reel_id: str, from_outer_m: float, quantity: str) -> float:
    """The mean of the line's readings within a metre of a place, read apart from the program's own comparison."""
    with open_to_read(store) as opened:
        head = next(row for row in opened.ask("questions/current_runs") if row["run_id"] == run_id)
        at = opened.ask("questions/reel", reel_id=reel_id)[0]["to_m"] - from_outer_m
        frame = read_frame(opened, head["assessment_folder"], "measured")
    near = frame.filter((pl.col("wall_at_m") - at).abs() <= 1.0)[quantity].drop_nulls()
    return float(near.to_numpy().mean())


def test_five_thin_samples_hold_the_reel(store: Path) -> None:
    """Seen: five samples at 0.290 mm thinnest wall against 0.330 left the reel releasable and its release accepted."""
    with open_to_read(store) as opened:
        assert standing_of(opened, "L1-0411-01").code == "releasable"
    lines = [f"L1-0411-01,{at},thinnest_wall_mm,0.290,0.0015,{BY}" for at in (2, 3, 4, 5, 6)]
    assert handed(store, *lines) == 0
    with open_to_read(store) as opened:
        now = standing_of(opened, "L1-0411-01")
        assert now.code == "held"
        assert not now.may_leave
        assert plain(now.samples.fails[0]) == (
            "Sample R-0411-S02, cut from reel L1-0411-01 2.0 m from its outer end: thinnest wall 0.290 mm, "
            "at least 0.3302 mm is required by UL 83."
        )
        assert len(now.samples.fails) == 5
        assert changes_in(opened) == ()
        # The run's pages stand on them, and so are written again.
        (book,) = [one for one in run_books(opened) if one.run_id == "R-0411"]
        assert book.told.count("R-0411-S06") >= 1


def test_a_thin_sample_puts_the_other_reels_of_the_run_and_lot_in_doubt(store: Path) -> None:
    with open_to_read(store) as opened:
        assert standing_of(opened, "L1-0411-02").code == "releasable"
        shared = {row["reel_id"] for row in opened.ask("questions/lot_reels", lot="PVC-7740")}
    assert handed(store, f"L1-0411-01,2,thinnest_wall_mm,0.290,0.0015,{BY}") == 0
    doubted = {"L1-0411-02", "L1-0411-03", "L1-0411-04"}
    assert {"L1-0411-01", *doubted, "L1-0412-01"} <= shared
    for reel in doubted:
        own = said(store, "R-0411", reel)
        assert own.fails == ()
        assert tuple(map(plain, own.doubts)) == (
            (
                "In doubt by another reel of the run. Sample R-0411-S02, cut from reel L1-0411-01 2.0 m from its "
                "outer end: thinnest wall 0.290 mm, at least 0.3302 mm is required by UL 83."
            ),
        )
        with open_to_read(store) as opened:
            assert standing_of(opened, reel).code == "held"
    of_lot = said(store, "R-0412", "L1-0412-01")
    assert plain(of_lot.doubts[0]).startswith(
        "In doubt by lot PVC-7740. Sample R-0411-S02, cut from reel L1-0411-01"
    )
    with open_to_read(store) as opened:
        assert standing_of(opened, "L1-0412-01").code == "held"
        # XLPE of line L2 shares no compound with it.
        assert all(one.against == () for one in samples_on_run(opened, "R-0511").values())


def test_a_doubt_is_cleared_by_a_decision_in_the_journal(store: Path) -> None:
    """By a release of the reel in doubt, in the knowledge of the sample, with role, reason and a second person."""
    thin = f"L1-0411-01,2,covering_mm,0.090,0.002,{BY}"
    assert handed(store, thin, f"L1-0411-02,2,covering_mm,0.115,0.002,{BY}") == 0
    own = said(store, "R-0411", "L1-0411-02")
    assert (len(own.doubts), own.fails, own.missing) == (1, (), ())
    with open_to_write(store) as opened:
        assert standing_of(opened, "L1-0411-02").code == "held"
        act_on(
            opened, "L1-0411-02", "decide", ENGINEER, "Its own sample conforms.", "release", evidence="S03"
        )
        act_on(opened, "L1-0411-02", "confirm", Person("quality manager", "QM-1"), "Seen.", evidence="S03")
        assert standing_of(opened, "L1-0411-02").code == "released"
        assert standing_of(opened, "L1-0411-03").code == "held"
    # A sample that fails afterwards was not before the persons who decided.
    assert handed(store, f"L1-0411-01,9,covering_mm,0.091,0.002,{BY}") == 0
    with open_to_read(store) as opened:
        assert standing_of(opened, "L1-0411-02").code == "held"


def test_the_demos_covering_is_shown_by_a_sample_of_each_run(store: Path) -> None:
    """Seen: `samples` refused the covering's thickness, so no reel had its covering judged."""
    for reel in ("L1-0411-01", "L1-0411-04"):
        own = said(store, "R-0411", reel)
        assert own.shown == {("covering at any point", "UL 83")}
        assert own.against == ()
    sample = said(store, "R-0411", "L1-0411-01").own[0]
    assert (sample.quantity.requirement, sample.verdict, sample.measured_by, sample.instrument) == (
        "covering at any point",
        "conforms",
        "laboratory technician",
        "measuring microscope",
    )
    assert sample.from_outer_m == pytest.approx(3.048)
    assert sample.uncertainty == pytest.approx(0.00254)


def test_covering_samples_are_accepted_and_a_thin_one_holds(store: Path) -> None:
    assert handed(store, f"L1-0411-02,2,covering_mm,0.090,0.002,{BY}") == 0
    own = said(store, "R-0411", "L1-0411-02")
    assert tuple(map(plain, own.fails)) == (
        (
            "Sample R-0411-S02, cut from reel L1-0411-02 2.0 m from its outer end: thinnest covering 0.090 mm, "
            "at least 0.1016 mm is required by UL 83."
        ),
    )
    # With a thin covering on one reel of the run, the sample of another reel shows nothing for the others.
    assert tuple(map(plain, said(store, "R-0411", "L1-0411-03").missing)) == (
        (
            "No laboratory sample of covering at any point is on file for reel L1-0411-03, and one of another reel is "
            "below the limit; the plant's sheet asks for one per run."
        ),
    )
    assert said(store, "R-0411", "L1-0411-01").missing == ()


def test_a_sample_that_is_asked_for_and_missing_holds(
    judged_store: Path, tmp_path: Path, small_run: Path
) -> None:
    (small_run.parent / "samples.csv").unlink()
    folder = tmp_path / "other"
    assert run(["load", str(small_run), "--store", str(folder)]) == 0
    assert run(["assess", "--store", str(folder)]) == 0
    told = (
        "No laboratory sample of covering at any point is on file for run R-0415; the plant's sheet asks for "
        "one per run."
    )
    with open_to_write(folder) as opened:
        now = standing_of(opened, "L1-0415-02")
        assert (now.evidence, now.code) == ("releasable", "held")
        assert tuple(map(plain, now.samples.missing)) == (told,)
    assert handed(folder, f"L1-0415-03,2,covering_mm,0.115,0.002,{BY}") == 0
    with open_to_read(folder) as opened:
        assert standing_of(opened, "L1-0415-02").code == "releasable"


def test_a_sample_beyond_both_uncertainties_blocks_the_verdict_of_the_run(store: Path) -> None:
    line = in_line(store, "R-0411", "L1-0411-01", 30.0, "mean_wall_mm")
    assert handed(store, f"L1-0411-01,30,mean_wall_mm,{line + 0.060:.4f},0.0015,{BY}") == 0
    for reel in ("L1-0411-01", "L1-0411-03"):
        own = said(store, "R-0411", reel)
        assert len(own.contradicts) == 1
        assert "they differ by more than their uncertainties (E_n " in plain(own.contradicts[0])
        with open_to_read(store) as opened:
            assert not standing_of(opened, reel).may_leave
            assert standing_of(opened, reel).code != "releasable"


def test_a_sample_that_agrees_with_the_line_blocks_nothing(store: Path) -> None:
    line = in_line(store, "R-0411", "L1-0411-01", 30.0, "mean_wall_mm")
    assert handed(store, f"L1-0411-01,30,mean_wall_mm,{line + 0.002:.4f},0.0015,{BY}") == 0
    own = said(store, "R-0411", "L1-0411-01")
    assert own.against == ()
    found = next(one for one in own.own if one.quantity.name == "mean_wall_mm")
    assert found.line is not None
    assert found.line.line == pytest.approx(line, abs=1e-9)


def test_the_same_table_twice_is_kept_once(store: Path) -> None:
    line = f"L1-0411-01,2,covering_mm,0.112,0.002,{BY}"
    assert handed(store, line) == 0
    before = said(store, "R-0411", "L1-0411-01")
    assert handed(store, line, line) == 0
    assert said(store, "R-0411", "L1-0411-01") == before


@pytest.mark.parametrize(
    ("line", "complaint"),
    [
        (
            "L1-0411-01,2,thinnest_wall_mm,0,0.0015,a,b",
            "thinnest wall of 0 mm is not above 0. Correct the value or its unit, or take the line out.",
        ),
        (
            "L1-0411-01,2,thinnest_wall_mm,13,0.0015,a,b",
            (
                "thinnest wall of 13 mm cannot be: THHN/THWN-2 14 AWG, solid copper has a nominal overall diameter of "
                "2.593 mm. Correct the value or its unit, or take the line out."
            ),
        ),
        (
            "L2-0511-01,2,covering_mm,0.112,0.0015,a,b",
            "XHHW-2 1/0 AWG, concentric copper has no covering. Correct the value or its unit, or take the line out.",
        ),
        (
            "L1-0411-01,2,conductor_mm,16.3,0.0015,a,b",
            (
                "conductor diameter of 16.3 mm cannot be: THHN/THWN-2 14 AWG, solid copper has a nominal conductor of "
                "1.628 mm. Correct the value or its unit, or take the line out."
            ),
        ),
    ],
)
def test_impossible_values_are_refused(
    store: Path, capsys: pytest.CaptureFixture[str], line: str, complaint: str
) -> None:
    assert handed(store, line) == 2
    assert capsys.readouterr().err == f"{store.parent / 'lab.csv'}:2: {complaint}\n"


def test_an_average_below_the_thinnest_wall_of_its_sample_is_refused(
    store: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lines = (
        f"L1-0411-01,2,mean_wall_mm,0.350,0.001,{BY}",
        f"L1-0411-01,2,thinnest_wall_mm,0.360,0.001,{BY}",
    )
    assert handed(store, *lines) == 2
    assert capsys.readouterr().err == (
        f"{store.parent / 'lab.csv'}:3: the average wall of 0.35 mm is below the thinnest wall of 0.36 mm of the same "
        "sample. Correct the two values.\n"
    )


def test_release_is_refused_while_samples_fail_or_contradict(store: Path) -> None:
    """Seen: a release was accepted beside five samples at 0.290 mm against 0.330."""
    lines = [f"L1-0411-01,{at},thinnest_wall_mm,0.290,0.0015,{BY}" for at in (2, 3, 4, 5, 6)]
    assert handed(store, *lines) == 0
    for reel in ("L1-0411-01", "L1-0411-02"):
        with open_to_write(store) as opened, pytest.raises(DispositionRefused) as refused:
            act_on(opened, reel, "decide", ENGINEER, "Looks good in-line.", "release")
        assert "Sample R-0411-S02" in str(refused.value)
        assert "withdraw the sample" in str(refused.value) and "Put the sample on file" not in str(
            refused.value
        )


def test_release_is_refused_while_a_sample_is_missing(store: Path) -> None:
    assert handed(store, f"L1-0411-02,2,covering_mm,0.090,0.002,{BY}") == 0
    with (
        open_to_write(store) as opened,
        pytest.raises(DispositionRefused, match="No laboratory sample of covering"),
    ):
        act_on(opened, "L1-0411-03", "decide", ENGINEER, "Good.", "release")


def test_a_mistyped_sample_is_withdrawn_stays_on_file_and_no_longer_judges(store: Path) -> None:
    """Seen: 0.290 typed for 0.390 held the reel for good, whatever was handed in later."""
    with open_to_read(store) as opened:
        before = standing_of(opened, "L1-0411-01")
        on_file = len(samples_of_run(opened, "R-0411"))
    assert handed(store, f"L1-0411-01,2,thinnest_wall_mm,0.290,0.0015,{BY}") == 0
    with open_to_read(store) as opened:
        assert standing_of(opened, "L1-0411-01").code == "held"
        assert standing_of(opened, "L1-0411-02").samples.doubts
    by = ["--role", "quality manager", "--person", "QM-1", "--reason", "0.390 was meant"]
    assert run(["samples", "--withdraw", "R-0411-S02", *by, "--store", str(store)]) == 0
    with open_to_read(store) as opened:
        now = standing_of(opened, "L1-0411-01")
        assert (now.code, now.samples.fails, now.samples.against) == (
            before.code,
            (),
            before.samples.against,
        )
        assert standing_of(opened, "L1-0411-02").samples.doubts == ()
        assert len(samples_of_run(opened, "R-0411")) == on_file + 1
        (shown,) = [one for one in now.samples.own if one.sample_id == "R-0411-S02"]
        assert shown.verdict == "withdrawn"
        assert shown.withdrawn is not None
        assert plain(shown.withdrawn) == (
            "Sample R-0411-S02, cut from reel L1-0411-01 2.0 m from its outer end, was withdrawn by "
            f"{Person('quality manager', 'QM-1')}: 0.390 was meant."
        )
        assert changes_in(opened) == ()
        assert opened.ask("questions/last_entry")[0]["kind"] == "sample withdrawn"
        # The reel's page says who withdrew it and why.
        (book,) = [one for one in run_books(opened) if one.run_id == "R-0411"]
        plant, reel = plant_of(opened, [book]), book.reels[0]
        (row,) = [one for one in reel_review(plant, book, reel).samples if one.sample_id == "R-0411-S02"]
        assert (row.verdict, row.withdrawn) == ("withdrawn", shown.withdrawn)
        page = write_reel_page(reel_review(plant, book, reel), Site(store.parent / "pages"))
        assert "0.390 was meant." in (store.parent / "pages" / page.address).read_text()


@pytest.mark.parametrize(
    ("role", "person", "reason"),
    [
        ("laboratory technician", "LT-1", "typing error"),
        ("quality manager", "", "typing error"),
        ("quality manager", "QM-1", " "),
    ],
)
def test_a_withdrawal_that_is_not_allowed_or_not_whole_is_refused(
    store: Path, role: str, person: str, reason: str
) -> None:
    assert handed(store, f"L1-0411-01,2,thinnest_wall_mm,0.290,0.0015,{BY}") == 0
    with open_to_write(store) as opened:
        with pytest.raises(DispositionRefused):
            withdraw_sample(opened, "R-0411-S02", Person(role, person), reason)
        assert standing_of(opened, "L1-0411-01").code == "held"


def test_a_sample_is_withdrawn_once_and_must_be_on_file(store: Path) -> None:
    assert handed(store, f"L1-0411-01,2,thinnest_wall_mm,0.290,0.0015,{BY}") == 0
    manager = Person("quality manager", "QM-1")
    with open_to_write(store) as opened:
        with pytest.raises(NotFoundError):
            withdraw_sample(opened, "R-0411-S99", manager, "typing error")
        withdraw_sample(opened, "R-0411-S02", manager, "typing error")
        with pytest.raises(DispositionRefused):
            withdraw_sample(opened, "R-0411-S02", manager, "typing error")
