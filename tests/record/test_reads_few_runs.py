"""A reel, a place on it and a lot ask about the runs concerned alone, and about all of them together."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from pipeline.lots.complaint import Marks
from pipeline.record.complaint_on_file import answer_complaint
from pipeline.record.reel_and_lot import lot_on_file, reel_and_standing
from pipeline.record.standing import standings_of_run, standings_of_runs
from pipeline.store.database import Store, open_to_read
from pipeline.store.sql_files import statement

FROM_OUTER_END = Marks(0.0, rising=True, unit="m")
# Questions about one judgement or run, which grow with what it has on file. Samples are left out: they may speak of any
# run that has a lot of theirs.
OF_ONE = (
    *("findings_of_assessment", "placed_reels_of_assessment", "lacks_of_assessment", "gaps_of_assessment"),
    *("acts_of_run", "places_of_run", "current_run"),
)


class Asked:
    """Which questions were asked how often, and about which runs and judgements.

    Args:
        monkeypatch: a context of it, in which all that is asked is noted.
    """

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.statements = 0
        self.about: set[Any] = set()
        rows_of = Store._rows
        wanted = {statement(f"questions/{one}").partition("\n")[0] for one in OF_ONE}

        def noted(store: Store, text: str, parameters: dict[str, Any]) -> list[dict[str, Any]]:
            self.statements += 1
            if text.partition("\n")[0] in wanted:
                (value,) = parameters.values()
                self.about |= set(value) if isinstance(value, list) else {value}
            return rows_of(store, text, parameters)

        monkeypatch.setattr(Store, "_rows", noted)


def known_by(store: Store, *runs: str) -> set[Any]:
    """The keys by which runs and their newest judgements are asked about."""
    heads = [row for row in store.ask("questions/current_runs") if row["run_id"] in runs]
    return {head[name] for head in heads for name in ("run_id", "assessment_id")}


def test_a_lot_asks_about_its_runs_together(judged_store: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with open_to_read(judged_store) as store:
        runs: dict[str, set[str]] = {}
        for lot in (row["lot"] for row in store.ask("questions/lot_ids")):
            runs[lot] = {row["run_id"] for row in store.ask("questions/lot_runs", lot=lot)}
        one, many = min(runs, key=lambda lot: len(runs[lot])), max(runs, key=lambda lot: len(runs[lot]))
        assert len(runs[one]) == 1 and len(runs[many]) > 5
        times = {}
        for lot in (one, many):
            with monkeypatch.context() as patch:
                asked = Asked(patch)
                lot_on_file(store, lot)
            assert asked.about == known_by(store, *runs[lot])
            times[lot] = asked.statements
    # A run with samples in its lots asks five times about those; all else is asked about the runs together.
    assert times[many] - times[one] <= 5 * len(runs[many])


def test_runs_asked_together_stand_as_each_asked_alone(judged_store: Path, states: Path) -> None:
    for folder in (judged_store, states):
        with open_to_read(folder) as store:
            names = [row["run_id"] for row in store.ask("questions/current_runs")]
            together = standings_of_runs(store, names)
            assert {name: together.get(name, {}) for name in names} == {
                name: standings_of_run(store, name) for name in names
            }
            assert sum(map(len, together.values())) > 10


def test_a_reel_and_a_place_on_it_ask_about_their_run_alone(
    judged_store: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with open_to_read(judged_store) as store:
        finding = next(
            row
            for head in store.ask("questions/current_runs")
            for row in store.ask("questions/findings_of_assessment", assessment_id=head["assessment_id"])
            if row["cause"] == "roll"
        )
        reel = store.ask("questions/reel", reel_id=finding["reel_id"])[0]
        alike = [
            row["finding_id"]
            for head in store.ask("questions/current_runs")
            for row in store.ask("questions/findings_of_assessment", assessment_id=head["assessment_id"])
            if (row["cause"], row["cause_of"]) == (finding["cause"], finding["cause_of"])
        ]
        own = known_by(store, finding["run_id"])
        with monkeypatch.context() as patch:
            asked = Asked(patch)
            middle = reel["to_m"] - (finding["from_m"] + finding["to_m"]) / 2.0
            answer = answer_complaint(store, reel["reel_id"], middle, FROM_OUTER_END)
        assert asked.about == own
        statements = asked.statements
        with monkeypatch.context() as patch:
            asked = Asked(patch)
            reel_and_standing(store, reel["reel_id"])
        assert asked.about == own
    assert (
        max(statements, asked.statements) < 100
    )  # kept: with 18 runs on file, of which one is asked about, 60
    assert finding["finding_id"] in answer.finding_ids["here"]
    # Every finding of the cause, on whichever run, is told: those here, and those elsewhere.
    told = (*answer.finding_ids["here"], *answer.finding_ids["same cause"])
    assert set(alike) <= set(told) and len(alike) > 3
    assert set(answer.finding_ids["same cause"]) <= set(alike)
