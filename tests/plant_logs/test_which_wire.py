"""A number that means two pieces of wire, and a line that made two runs at once: no bad reel leaves by the good one.

On lines of `line_logs`. Both runs are wrong until a corrected sheet is on file; then each reel stands on its own.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from pipeline.acts.deciding import act_on
from pipeline.acts.sampling import hand_in
from pipeline.acts.shipping import put_shipping_on_file
from pipeline.errors import ReelproofError
from pipeline.job.assessing import assess_runs
from pipeline.job.loading import load_sheets
from pipeline.nonconformance.disposition import Person
from pipeline.record.alarms import alarms_of_runs
from pipeline.record.gauge_tables import Sample
from pipeline.record.samples_compared import compare_samples
from pipeline.record.shipping_list import CutLength, Shipment, ShippingList
from pipeline.record.standing import standing_of
from pipeline.store.database import Store, open_to_write
from pipeline.wording.say import plain
from tests.plant_logs.line_logs import LAYS, made
from tests.plant_logs.plant_files import write

WHO = Person("engineer", "E-1")
MAY = '[may_decide]\nrelease = ["engineer"]\n'


def put(root: Path, run_id: str, reel: str, defect: str, day: str, line: str = "A4") -> None:
    """A run of three reels, the second of them bad or sound, named by `reel`."""
    run = made(LAYS[line], 3, defect)
    run = replace(run, reels=tuple((f"{reel}{k + 1}", a, b) for k, (_, a, b) in enumerate(run.reels)))
    folder = root / run_id
    write(folder, run)
    for name in ("run.toml", "log.txt"):
        text = (folder / name).read_text().replace('id = "R1"', f'id = "{run_id}"')
        (folder / name).write_text(text.replace("2026-06-09", day))
    plant = (folder / "plant.toml").read_text()
    (folder / "plant.toml").write_text(plant + MAY)


def judged(store: Store, *roots: Path) -> None:
    _, refused = load_sheets(store, roots)
    assert refused == []
    assess_runs(store, ())


def shipped(store: Store, reel: str) -> bool:
    told = ShippingList(shipments=(Shipment(id=f"S-{reel}", to="a customer", contents=(reel,)),))
    try:
        put_shipping_on_file(store, told, "clerk")
    except ReelproofError:
        return False
    return True


def released(store: Store, reel: str) -> bool:
    try:
        act_on(store, reel, "decide", WHO, "seen", "release")
    except ReelproofError:
        return False
    return True


@pytest.mark.parametrize(("good_first", "assessed"), [(True, True), (False, False)])
def test_a_number_in_two_runs_lets_neither_go(good_first: bool, assessed: bool, tmp_path: Path) -> None:
    good, bad = ("R-A", "R-B") if good_first else ("R-B", "R-A")
    put(tmp_path / "one", good, "X-", "", "2026-06-09")
    put(tmp_path / "two", bad, "X-", "thin", "2026-06-10")
    with open_to_write(tmp_path / "store") as store:
        judged(store, tmp_path / "one")
        assert all(released(store, f"X-{k}") for k in (1, 2, 3))
        assert shipped(store, "X-3")
        load_sheets(store, (tmp_path / "two",))
        if assessed:
            assess_runs(store, ())
        for reel in ("X-1", "X-2"):
            now = standing_of(store, reel)
            assert (now.code, now.may_leave) == ("held", False)
            assert plain(now.headline).startswith(
                f"Held, may not leave. Reel {reel} stands in runs R-A, R-B: "
            )
            assert not released(store, reel) and not shipped(store, reel)
        # One of the two left, and it is not known which: told first when the second is loaded.
        assert standing_of(store, "X-3").code == "held since it left"
        assert any("X-3" in plain(one) for one in alarms_of_runs(store, (bad,)))
        put(tmp_path / "two", bad, "Y-", "thin", "2026-06-10")
        judged(store, tmp_path / "two")
        codes = {reel: standing_of(store, reel).code for reel in ("X-1", "X-2", "X-3", "Y-1", "Y-2", "Y-3")}
        assert codes == {
            "X-1": "released",
            "X-2": "released",
            "X-3": "shipped",
            "Y-1": "releasable",
            "Y-2": "held",
            "Y-3": "releasable",
        }
        assert shipped(store, "X-2") and not shipped(store, "Y-2")


def test_a_line_makes_one_wire_at_a_time(tmp_path: Path) -> None:
    """The log of a good run stands under a bad run's sheet too, or its clock is a day off."""
    put(tmp_path / "one", "R-A", "X-", "", "2026-06-09")
    put(tmp_path / "two", "R-B", "Y-", "", "2026-06-09")  # Y-2 is bad, and this log is not of its wire
    with open_to_write(tmp_path / "store") as store:
        judged(store, tmp_path / "one", tmp_path / "two")
        for reel in ("X-2", "Y-2"):
            now = standing_of(store, reel)
            assert now.code == "held" and not released(store, reel) and not shipped(store, reel)
            assert "By their logs line A4 made run" in plain(now.headline)
        put(tmp_path / "two", "R-B", "Y-", "thin", "2026-06-10")
        judged(store, tmp_path / "two")
        codes = [standing_of(store, reel).code for reel in ("X-2", "Y-1", "Y-2")]
        assert codes == ["releasable", "releasable", "held"]


def test_two_sheets_of_one_run_are_refused_together(tmp_path: Path) -> None:
    """A copied folder with other reel ends: the sheet that comes last in the alphabet is not the right one for that."""
    put(tmp_path / "runs", "R-A", "X-", "thin", "2026-06-09")
    copy = tmp_path / "runs" / "copy of R-A"
    copy.mkdir()
    for one in (tmp_path / "runs" / "R-A").iterdir():
        (copy / one.name).write_bytes(one.read_bytes())
    (copy / "run.toml").write_text((copy / "run.toml").read_text().replace('id = "X-2"', 'id = "Z-2"'))
    with open_to_write(tmp_path / "store") as store:
        loaded, refused = load_sheets(store, (tmp_path / "runs",))
    assert loaded == ()
    sheets = f"{tmp_path}/runs/R-A/run.toml, {copy}/run.toml"
    told = f"run R-A: 2 run sheets are about it: {sheets}. None of them was loaded. "
    assert refused == [told + "Keep the one that is right, or give each run a number of its own."]


def test_what_was_let_go_as_another_product_is_decided_anew(tmp_path: Path) -> None:
    """The run sheet's product is corrected after a release: nobody let this wire go as what it is."""
    put(tmp_path / "one", "R-A", "X-", "", "2026-06-09")
    with open_to_write(tmp_path / "store") as store:
        judged(store, tmp_path / "one")
        assert released(store, "X-1") and released(store, "X-2") and shipped(store, "X-2")
        for name in ("run.toml", "plant.toml"):
            text = (tmp_path / "one" / "R-A" / name).read_text().replace('"XHHW-2"', '"XHHW"')
            (tmp_path / "one" / "R-A" / name).write_text(text)
        judged(store, tmp_path / "one")
        now = standing_of(store, "X-1")
        assert (now.code, now.may_leave) == ("held", False)
        assert "It was let go as XHHW-2, 12 AWG, solid, copper, and the run sheet now says XHHW, " in plain(
            now.headline
        )
        assert not shipped(store, "X-1")
        assert standing_of(store, "X-2").code == "held since it left"
        assert standing_of(store, "X-3").code == "releasable"
        act_on(store, "X-1", "reopen", WHO, "another product")
        assert released(store, "X-1") and shipped(store, "X-1")


def test_one_log_does_not_show_the_wire_of_two_lines(tmp_path: Path) -> None:
    """A folder is copied for a run of another line, and the log that came with it stays in its place."""
    put(tmp_path / "one", "R-A", "X-", "", "2026-06-09")
    put(tmp_path / "two", "R-B", "Y-", "", "2026-06-09")
    folder = tmp_path / "two" / "R-B"
    for name in ("run.toml", "line.toml"):
        text = (
            (folder / name)
            .read_text()
            .replace('line = "A4"', 'line = "F4"')
            .replace('id = "A4"', 'id = "F4"')
        )
        (folder / name).write_text(text)
    with open_to_write(tmp_path / "store") as store:
        judged(store, tmp_path / "one", tmp_path / "two")
        for reel in ("X-1", "Y-1"):
            now = standing_of(store, reel)
            assert now.code == "held" and not released(store, reel) and not shipped(store, reel)
            assert "read the same columns of one log" in plain(now.headline)
        # The log of two lines, each with columns of its own, is one file of both by right.
        log = (folder / "log.txt").read_text()
        both = [f"{one},{','.join(one.split(',')[1:])}" for one in log.splitlines()]
        own = both[0].split(",")
        half = len(own) // 2 + 1
        both[0] = ",".join([*own[:half], *(f"F_{one}" for one in own[half:])])
        for root, marked in (("one/R-A", False), ("two/R-B", True)):
            sheet = tmp_path / root / "run.toml"
            (tmp_path / root / "log.txt").write_text("\n".join(both) + "\n")
            sheet.write_text(sheet.read_text().replace('"c_', '"F_c_') if marked else sheet.read_text())
        judged(store, tmp_path / "one", tmp_path / "two")
        codes = {standing_of(store, reel).code for reel in ("X-1", "X-2", "X-3", "Y-1", "Y-2", "Y-3")}
        assert codes == {"releasable"}


def test_numbers_that_differ_by_capitals_are_one_number(tmp_path: Path) -> None:
    put(tmp_path / "one", "R-A", "X-", "", "2026-06-09")
    put(tmp_path / "two", "R-B", "x-", "thin", "2026-06-10")
    with open_to_write(tmp_path / "store") as store:
        judged(store, tmp_path / "one", tmp_path / "two")
        for reel in ("X-1", "x-1", "X-2", "x-2"):
            assert standing_of(store, reel).code == "held" and not released(store, reel)
    sheet = tmp_path / "one" / "R-A" / "run.toml"
    sheet.write_text(sheet.read_text().replace('id = "X-2"', 'id = "x-1"'))
    with open_to_write(tmp_path / "store") as store:
        (told,) = load_sheets(store, (tmp_path / "one",))[1]
    assert "reel X-1, x-1 stands more than once" in told


def test_a_run_is_judged_by_its_own_plants_sheet(tmp_path: Path) -> None:
    """A sheet with laxer limits, of another plant: no run of this one is judged by it, named or not."""
    put(tmp_path / "one", "R-A", "X-", "thin", "2026-06-09")
    lax = tmp_path / "lax.toml"
    with open_to_write(tmp_path / "store") as store:
        judged(store, tmp_path / "one")
        lax.write_text(
            (tmp_path / "one" / "R-A" / "plant.toml").read_text().replace('"Foothill"', '"Valley"')
        )
        for runs in ((), ("R-A",)):
            with pytest.raises(ReelproofError) as told:
                assess_runs(store, runs, plant_sheet=lax)
            assert str(told.value) == (
                "lax.toml: plant.name: the sheet is of plant 'Valley', and run R-A is of 'Foothill'. "
                "Judge a run by its own plant's sheet: limits, roles and clocks are that plant's."
            )
        assert standing_of(store, "X-2").code == "held"


def test_wire_of_another_grade_does_not_leave_on_its_whole_reel(tmp_path: Path) -> None:
    """The finding is closed by a regrade, and nobody cut it out or names a record of it: the reel holds it still."""
    put(tmp_path / "one", "R-A", "X-", "thin", "2026-06-09")
    plant = tmp_path / "one" / "R-A" / "plant.toml"
    plant.write_text(plant.read_text().replace(MAY, f'{MAY}regrade = ["engineer"]\n'))
    with open_to_write(tmp_path / "store") as store:
        judged(store, tmp_path / "one")
        for finding in [one.finding_id for one in standing_of(store, "X-2").against if one.finding_id]:
            act_on(store, finding, "decide", WHO, "thin", "regrade")
        assert released(store, "X-2")
        now = standing_of(store, "X-2")
        assert (now.code, now.may_leave) == ("held", False) and not shipped(store, "X-2")
        assert "was closed by regrade, and by what is on file its wire is still on the reel" in plain(
            now.headline
        )
        reel_m = store.ask("questions/reel", reel_id="X-2")[0]["length_m"]
        spans = {"a": (0.0, 0.25), "b": (0.25, 0.75), "c": (0.75, 1.0)}
        cuts = tuple(
            CutLength(
                reel="X-2", length=f"X-2-{name}", from_m=low * reel_m, to_m=high * reel_m, use="package"
            )
            for name, (low, high) in spans.items()
        )
        put_shipping_on_file(store, ShippingList(cuts=cuts), "clerk")
        assert [shipped(store, f"X-2-{name}") for name in spans] == [True, False, True]


def test_a_failing_sample_holds_its_reel_when_nothing_is_concluded_of_the_run(
    tmp_path: Path,
) -> None:
    """A slip in the end of another reel ends in no conclusion; evidence that is named undoes no laboratory's."""
    put(tmp_path / "one", "R-A", "X-", "", "2026-06-09")
    sheet = tmp_path / "one" / "R-A" / "run.toml"
    with open_to_write(tmp_path / "store") as store:
        judged(store, tmp_path / "one")
        one = Sample("samples.csv:2", "X-1", 2.0, "thinnest_wall_mm", 0.3, 0.002, "laboratory", "microscope")
        hand_in(store, (one,), compare_samples(store, (one,)), "laboratory")
        before, _, last = sheet.read_text().partition('id = "X-3"\n')
        lines = last.split("\n")
        lines[1] = f"to_m = {float(lines[1].split()[-1]) + 900.0:.2f}"
        sheet.write_text(before + 'id = "X-3"\n' + "\n".join(lines))
        judged(store, tmp_path / "one")
        assert standing_of(store, "X-1").code == "no conclusion"
        with pytest.raises(ReelproofError, match="Sample R-A-S01, cut from reel X-1"):
            act_on(store, "X-1", "decide", WHO, "seen", "release", evidence="report 4")
        with pytest.raises(ReelproofError, match="Sample R-A-S01, cut from reel X-1"):
            act_on(store, "X-2", "decide", WHO, "seen", "release", evidence="report 4")
