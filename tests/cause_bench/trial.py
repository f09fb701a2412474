"""One run with one cause: what the pages claim of it, as kinds and names, never as sentences."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from pipeline.length.steady_state import STEADY
from pipeline.messages import Message
from pipeline.nonconformance.cause import Cause as FindingCause
from pipeline.notes import Note
from pipeline.quantity import Quantity
from pipeline.results import Refused, Result
from pipeline.sheets.plant_sheet import read_plant_sheet
from pipeline.statistics.beyond_wander import WANDER_P
from pipeline.steps.answers import answers_of
from pipeline.steps.bench import Bench, bench_of
from pipeline.steps.judge import judge_run
from pipeline.steps.run_patterns import patterns_of
from pipeline.steps.stability import stability_sightings
from pipeline.tuning.centring import Centring, centring_of_run
from pipeline.tuning.line_run import LineRun, line_run
from pipeline.tuning.periods import LOSES_STEP, periods_of_line, periods_of_run
from pipeline.tuning.response import SettingAnswer, answer_to, at_the_die
from tests.cause_bench.causes import CAUSES, Claim, Planted
from tests.cause_bench.lines import PLACES, REELS, Place
from tests.other_lines.running import Plan, run_of
from tests.other_lines.writing import line_sheet_text, log_of, run_sheet_text, stated_covering, write_logs
from tests.release_matrix.judging import OnBench, measured_run
from tests.release_matrix.plants import plant_for

Claims = frozenset[Claim]


def planted(place: Place, cause: str, size: float, seed: int) -> Planted:
    """A cause on a line; every line, cause and seed has its own chance."""
    return CAUSES[cause].make(
        place, size, np.random.default_rng((seed, sum(map(ord, place.line.id + cause))))
    )


def bench_for(place: Place, what: Planted, seed: int, folder: Path) -> tuple[Bench, OnBench]:
    """The run written, loaded, placed and measured."""
    faster = ((_middle(place), 1.12),) if seed % 2 else ()
    plan = Plan(REELS, place.reel_m, speed_steps=faster, seed=seed)
    run = run_of(place.line, place.made, plan, what.wire)
    log = log_of(run)
    if what.edit is not None:
        log = what.edit(run, log)
    write_logs(folder, place.line, log)
    text = run_sheet_text(run, "R1", log, stated_covering(run), extra=what.run_text)
    (folder / "run.toml").write_text(text)
    (folder / "line.toml").write_text(_with_elements(line_sheet_text(place.line), place))
    (folder / "plant.toml").write_text(plant_for(place.line, place.made).text)
    found = measured_run(folder)
    assert isinstance(found, OnBench), found.refused
    sheets, day = found.loaded.sheets, found.loaded.shift_date
    plant = read_plant_sheet(folder / "plant.toml")
    bench = bench_of(
        sheets.run,
        sheets.line,
        plant,
        sheets.product,
        day,
        found.placed,
        found.measured,
        found.checks,
        (day,),
    )
    return bench, found


def _middle(place: Place) -> float:
    return 0.55 * REELS * place.reel_m


def _with_elements(text: str, place: Place) -> str:
    """The line sheet with the elements of the bench in place of the line's own."""
    return text.split("[[line.elements]]", 1)[0] + place.elements_text


def tuning_of(bench: Bench, found: OnBench) -> LineRun:
    """The run as tuning takes it."""
    return line_run(
        "R1",
        datetime(2026, 5, 12, tzinfo=UTC),
        "wire",
        bench.product.conductor_mm,
        found.loaded.logs.readings,
        bench.measured.recorded(),
        found.loaded.logs.flagged,
        bench.placed.placement,
        bench.line,
        bench.placed.reels,
    )


def claims_of(bench: Bench, found: OnBench) -> Claims:
    """What is claimed of a run's causes on its page and in tuning."""
    patterns = patterns_of(bench)
    judged = judge_run(bench, (), stability_sightings(bench, patterns))
    rows = (*patterns, *answers_of(bench, judged))
    said = {claim for row in rows for claim in _of_answer(row.answer)}
    said |= {claim for one in judged.findings for claim in _of_finding(one.cause)}
    run = tuning_of(bench, found)
    return frozenset(said | set(_of_tuning(run, bench)))


def _of_answer(answer: Result | Refused) -> Iterator[Claim]:
    if isinstance(answer, Refused):
        return
    quantity, about = answer.question.quantity, answer.question.about
    if quantity in (Quantity.PERIOD, Quantity.PERIOD_THROUGH_GAPS):
        yield period_claim(answer)
    elif quantity is Quantity.CHANGE_POINT:
        yield ("wall level" if about == "mean_wall_mm" else "centre"), _noted(answer)
    elif quantity is Quantity.ANNOUNCED_CHANGE and answer.details["shows"]:
        kind = "wall level" if answer.question.arguments["channel"] == "mean_wall_mm" else "centre"
        yield kind, str(answer.question.arguments["what"]).removesuffix(" lot")
    elif quantity is Quantity.DRIFT and answer.details["shows"]:
        yield ("wall drift" if about == "mean_wall_mm" else "centre"), ""
    elif quantity in (Quantity.FAULT_REPEAT, Quantity.FAULT_REPEAT_ANY):
        told = [one for one in answer.warnings if isinstance(one, Message)]
        names = [
            str(each.arguments["element"])
            for one in told
            for each in one.arguments.get("elements", ())  # type: ignore[union-attr]
            if isinstance(each, Message)
        ]
        yield "roll faults", names[0] if len(names) == 1 else ""


def period_claim(answer: Result) -> Claim:
    """What a run's page claims of a period."""
    hunts = any(isinstance(one, Message) and one.code == Note.SWING_HUNTS for one in answer.warnings)
    return ("hunting", "wall") if hunts else ("period", _element(answer))


def _noted(answer: Result) -> str:
    told = [one for one in answer.warnings if isinstance(one, str) and "compound lot" in one]
    return "insulation compound" if told else ""


def _element(answer: Result) -> str:
    for one in answer.warnings:
        if isinstance(one, Message) and one.code == Note.PERIOD_FITS:
            turns = one.arguments["turns"]
            return str(turns[0].arguments["element"])  # type: ignore[index,union-attr]
    return ""


def _of_finding(cause: FindingCause) -> Iterator[Claim]:
    if cause.kind == "roll":
        yield "roll faults", cause.of


def _of_tuning(run: LineRun, bench: Bench) -> Iterator[Claim]:
    for one in periods_of_line([periods_of_run(run, bench.line)]):
        yield (
            ("hunting", "wall")
            if one.element == LOSES_STEP
            else ("period", one.element if one.harmonic else "")
        )
    gauge = bench.line.instrument("wall gauge")
    assert gauge is not None
    found = centring_of_run(run, gauge.first_angle_deg, gauge.uncertainty_mm, gauge.sensors or 1)
    if isinstance(found, Centring):
        if found.beyond_noise and found.angle_half_deg < 180.0:
            yield "die offset", f"{found.thin_deg:.1f}"
        if found.drift_p < WANDER_P:
            yield "centre", ""
    seconds, wall = at_the_die(run)
    if "melt_temperature_c" in run.machine:
        others = {n: v for n, v in run.machine.items() if n in ("line_speed_m_s", "screw_speed_rpm")}
        answer = answer_to(
            seconds, run.machine["melt_temperature_c"], wall, "melt_temperature_c", "mean wall", "mm per degC",
            "open", others, float("nan"), run.phase == STEADY,
        )  # fmt: skip
        # What was told as an association counts too: a reader takes it for a cause.
        if isinstance(answer, SettingAnswer) and answer.kind != "not shown":
            yield "melt gain", f"{1000.0 * answer.gain.low:.4f} {1000.0 * answer.gain.high:.4f}"


def claims(place: str, cause: str, size: float, seed: int, folder: Path) -> tuple[Claims, Planted]:
    """What is claimed of a run with a cause, and what was planted."""
    what = planted(PLACES[place], cause, size, seed)
    return claims_of(*bench_for(PLACES[place], what, seed, folder)), what
