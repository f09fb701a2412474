"""A run's folder put through load, place, measure and judge, in this process and without a store."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from pipeline.errors import ReelproofError
from pipeline.sheets.plant_sheet import read_plant_sheet
from pipeline.steps.bench import bench_of, rules_of
from pipeline.steps.judge import judge_run
from pipeline.steps.line_checks import LineChecks, check_line
from pipeline.steps.load import Loaded, load_run, read_run_sheets
from pipeline.steps.measure import Measured, measure_run
from pipeline.steps.place import Placed, place_run
from pipeline.steps.plausible import implausible
from pipeline.steps.run_patterns import patterns_of
from pipeline.steps.stability import stability_sightings
from pipeline.wording.say import plain


@dataclass(frozen=True)
class Answer:
    """What the program says of a run: a refusal in words, or a standing with its reasons for each reel."""

    refused: str = ""
    standings: Mapping[str, str] = field(default_factory=dict)
    reasons: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


@dataclass(frozen=True)
class OnBench:
    """A run loaded, placed and measured, to be judged by one plant sheet after another."""

    loaded: Loaded
    placed: Placed
    measured: Measured
    checks: LineChecks


def measured_run(folder: Path) -> OnBench | Answer:
    """A run up to its judgement; the refusal where there is one."""
    try:
        sheets = read_run_sheets(folder / "run.toml")
        loaded = load_run(sheets)
        logs, run, line, product = loaded.logs, sheets.run, sheets.line, sheets.product
        lacks = implausible(logs.readings, run, line, product)
        if lacks:
            return Answer(refused=" ".join(plain(one.told) for one in lacks))
        placed = place_run(logs.readings, logs.events, logs.flagged, run, line)
        measured = measure_run(
            logs.readings,
            logs.flagged,
            placed,
            line,
            run.covering,
            product.conductor_mm,
            product.covering is not None,
            line.mass_balance(run.product.construction, run.product.size),
            sheets.plant.spark_test,
        )
        checks = check_line(
            logs.readings, logs.flagged, placed.placement, measured, run, line, product.conductor_mm
        )
    except ReelproofError as fault:
        return Answer(refused=" ".join(str(one) for one in fault.complaints))
    return OnBench(loaded, placed, measured, checks)


def judged_run(on_bench: OnBench | Answer, plant_text: str, folder: Path) -> Answer:
    """The judgement of a run on the bench by a plant sheet."""
    if isinstance(on_bench, Answer):
        return on_bench
    path = folder / "plant.toml"
    path.write_text(plant_text)
    sheets = on_bench.loaded.sheets
    try:
        plant = read_plant_sheet(path)
        rules_of(plant)
        day = on_bench.loaded.shift_date
        bench = bench_of(
            sheets.run,
            sheets.line,
            plant,
            sheets.product,
            day,
            on_bench.placed,
            on_bench.measured,
            on_bench.checks,
            (day,),
        )
        judged = judge_run(bench, (), stability_sightings(bench, patterns_of(bench)))
    except ReelproofError as fault:
        return Answer(refused=" ".join(str(one) for one in fault.complaints))
    return Answer(
        "",
        {one.reel.id: one.standing for one in judged.reels},
        {
            one.reel.id: tuple(
                plain(each.told)
                for each in (*(found for found in one.findings if found.holds_release), *one.lacks)
            )
            for one in judged.reels
        },
    )
