"""The conductor's diameter is judged by a limit on file and a gauge that sees it; otherwise it is not judged.

98 % and 101 % of the nominal are UL 83-2020 cl. 4.1.6 (public excerpt). The nominal of the standard's table was not
seen, so the program ships no limit of its own: a plant enters it. The plant here is invented.
"""

from __future__ import annotations

import polars as pl
import pytest
from runs import PLANT, Done, done, made, over_wire, without_instrument

from pipeline.products.limit_rows import package_rows
from pipeline.products.product import find_product
from pipeline.sheets.plant_limits import EnteredLimit
from pipeline.sheets.plant_sheet import PlantSheet, read_plant_sheet
from pipeline.simulator.lines import line_l2
from pipeline.wording.say import plain
from tests.said import said

NOMINAL = find_product("XHHW-2", "1/0 AWG", made().scenario.wire.conductor).conductor_mm


def entered(sense: str, value: float) -> EnteredLimit:
    return EnteredLimit.model_validate(
        {
            "id": f"conductor {sense}",
            "types": ["XHHW-2"],
            "size_from": "1/0 AWG",
            "size_to": "1/0 AWG",
            "requirement": "conductor diameter",
            "sense": sense,
            "value": value,
            "unit": "% of nominal conductor diameter",
            "requirement_set": "UL 44",
            "document": "invented list",
            "revision": "A",
            "effective_from": "2026-01-01",
            "entered_by": "quality engineer",
            "checked_by": "quality manager",
            "source": "invented",
        }
    )


def plant() -> PlantSheet:
    sheet = read_plant_sheet(PLANT)
    limits = (*sheet.limits, entered("at least", 98.0), entered("at most", 101.0))
    return sheet.model_copy(update={"limits": limits})


def verdicts(found: Done, reel: str = "A") -> list[str]:
    return [
        said(one.verdict)
        for one in found.judged.requirements
        if one.reel_id == reel and one.requirement == "conductor diameter"
    ]


def test_no_tolerance_that_was_not_seen_is_judged_by_default() -> None:
    assert all(row.requirement != "conductor diameter" for row in package_rows())
    assert verdicts(done(made())) == []


def test_a_conductor_within_its_limits_conforms() -> None:
    found = done(made(), plant=plant())
    assert verdicts(found) == ["conforms", "conforms"]
    assert [one.limit_value for one in found.judged.requirements if one.requirement == "conductor diameter"][
        :2
    ] == pytest.approx([0.98 * NOMINAL, 1.01 * NOMINAL])
    assert {one.standing for one in found.judged.reels} == {"releasable"}


@pytest.mark.parametrize("change_mm", [-0.5, 0.5])
def test_a_conductor_outside_its_limits_holds_the_reel_it_lies_on(change_mm: float) -> None:
    station = next(one.station_m for one in line_l2().instruments if one.kind == "conductor gauge")

    def spoil(frame: pl.DataFrame) -> pl.DataFrame:
        return over_wire(frame, "conductor_mm", station, 300.0, 330.0, change_mm)

    found = done(made(), spoil=spoil, plant=plant())
    assert "does not conform" in verdicts(found)
    assert verdicts(found, "B") == ["conforms", "conforms"]
    finding = next(one for one in found.judged.findings if one.main.rule_id == "conductor")
    assert (finding.reel_id, finding.holds_release) == ("A", True)
    assert plain(finding.told).startswith("Conductor diameter ")
    assert {one.reel.id: one.standing for one in found.judged.reels}["A"] == "held"


def test_without_a_gauge_it_is_not_judged_and_the_reel_is_held() -> None:
    found = done(made(), without_instrument(line_l2(), "conductor gauge"), plant=plant())
    assert verdicts(found) == ["not judged", "not judged"]
    assert {one.standing for one in found.judged.reels} == {"held"}


def test_wire_whose_gauge_saw_no_conductor_is_a_gap_of_its_own_kind_and_holds_its_reel() -> None:
    station = next(one.station_m for one in line_l2().instruments if one.kind == "conductor gauge")

    def spoil(frame: pl.DataFrame) -> pl.DataFrame:
        blind = over_wire(frame, "conductor_mm", station, 300.0, 370.0, 1.0)
        seen = frame["conductor_mm"] == blind["conductor_mm"]
        return frame.with_columns(pl.when(seen).then(pl.col("conductor_mm")).alias("conductor_mm"))

    found = done(made(), spoil=spoil, plant=plant())
    gaps = [one for one in found.judged.gaps if one.kind == "conductor unmonitored"]
    assert {one.reel_id for one in gaps} == {"A"}
    assert sum(one.to_m - one.from_m for one in gaps) == pytest.approx(70.0, abs=3.0)
    assert verdicts(found) == ["no conclusion", "no conclusion"]
    assert {one.reel.id: one.standing for one in found.judged.reels}["A"] == "held"
    held = [plain(one.told) for one in found.judged.findings if one.main.rule_id == "unmonitored"]
    assert any("the conductor" in one for one in held)


def test_without_a_limit_nothing_is_asked_of_the_conductor() -> None:
    def blind(frame: pl.DataFrame) -> pl.DataFrame:
        return frame.with_columns(pl.lit(None, pl.Float64).alias("conductor_mm"))

    found = done(made(), spoil=blind)
    assert [one for one in found.judged.gaps if one.kind == "conductor unmonitored"] == []
    seen_by_nobody = done(made(), spoil=blind, plant=plant())
    assert {one.reel_id for one in seen_by_nobody.judged.gaps if one.kind == "conductor unmonitored"} == {
        one.reel.id for one in seen_by_nobody.judged.reels
    }
    assert {one.standing for one in seen_by_nobody.judged.reels} == {"held"}


def test_the_conductor_has_an_index_against_each_of_its_limits() -> None:
    found = done(made(), plant=plant())
    asked = {
        said(row.answer.question) for row in found.answers if row.scope == "run" and row.topic == "capability"
    }
    assert sum("conductor" in str(one) for one in asked) == 2
