"""How much plastic is on the wire, how much wire was scrap, and what a total wall leaves open?

These describe the wire that was read, not a process: their intervals hold what the gauges, the covering and the
density leave unsure.

For how long did the spark test stress the wire, how fast could the line have run, and what may it have missed?
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.assumed import Assumed
from pipeline.length import intervals
from pipeline.length.reel_places import place_on_reel
from pipeline.length.reels import WRITTEN_TO_M
from pipeline.length.spark_exposure import SparkExposure, chance_of_detection
from pipeline.messages import Measure, Message, message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.products.table_rows import Figure
from pipeline.quantity import Asked, Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Refused, Result
from pipeline.sheets.run_sheet import Covering
from pipeline.steps.answer_row import AnswerRow
from pipeline.steps.bench import Bench
from pipeline.steps.evidence import Mask, Seen
from pipeline.wall.mass import Scrap, insulation_area_mm2, mass_kg_km, mass_per_um_g_km, scrap_of_run
from pipeline.wall.two_layers import insulation_bounds

_METHOD = message(Method.TIME_IN_ELECTRODE)


def spark_answers(bench: Bench) -> tuple[AnswerRow, ...]:
    """The spark test's exposure of the run and of each reel; nothing where the log has no test voltage."""
    exposure, reels = bench.measured.spark, bench.placed.reels
    if exposure is None or not reels:
        return ()
    spans = [("run", bench.run.id, reels[0].from_m, reels[-1].to_m)]
    spans += [("reel", one.id, one.from_m, one.to_m) for one in reels]
    return tuple(
        AnswerRow(scope, subject, "spark exposure", _exposure(bench, exposure, from_m, to_m))
        for scope, subject, from_m, to_m in spans
    )


def _exposure(
    bench: Bench, exposure: SparkExposure | Refused, from_m: float, to_m: float
) -> Result | Refused:
    question = asks(Quantity.SPARK_EXPOSURE)
    if isinstance(exposure, Refused):
        return Refused(question, _METHOD, exposure.reason, exposure.n)
    least = exposure.least_within(from_m, to_m)
    tester = bench.line.instrument("spark tester")
    if least is None or tester is None:
        return Refused(question, _METHOD, message(Reason.NO_POINT_PASSED), 0)
    within = {
        "tested_m": intervals.length_m(intervals.within(exposure.tested, from_m, to_m)),
        "under_exposed_m": intervals.length_m(intervals.within(exposure.under_exposed, from_m, to_m)),
        "no_voltage_m": intervals.length_m(intervals.within(exposure.no_voltage, from_m, to_m)),
        "over_stressed_m": intervals.length_m(intervals.within(exposure.over_stressed, from_m, to_m)),
    }
    untested = (to_m - from_m) - within["tested_m"]
    details = {
        **within,
        "untested_m": untested,
        f"asked_{exposure.unit}": exposure.cycles_asked,
        "fastest_speed_m_s": exposure.fastest_m_s,
    }
    chance = bench.plant.spark_test.chance_per_crest
    if chance is not None and exposure.unit == "cycles":
        details["chance_of_detection_at_least"] = chance_of_detection(2.0 * least, chance)
    # The electrode's ends are told to a step of the length counter.
    share = min(bench.placed.placement.resolution_m / tester.window_m, 1.0)
    return Result(
        question=question,
        estimate=least,
        low=least * (1.0 - share),
        high=least * (1.0 + share),
        confidence=0.95,
        unit=exposure.unit,
        method=_METHOD,
        n=int(exposure.at_m.size),
        effective_n=None,
        known_m=within["tested_m"],
        unit_of_inference="reading",
        assumptions=(
            Assumption(
                message(Assumed.ELECTRODE_AS_STATED),
                None,
                message(Note.ELECTRODE_LONG, length=Measure(tester.window_m, "m")),
            ),
        ),
        warnings=_spark_told(untested, within["over_stressed_m"]),
        details=details,
    )


def _spark_told(untested: float, stood: float) -> tuple[Message, ...]:
    told = []
    if untested > 0.05:
        told.append(message(Note.UNTESTED_WIRE, untested=Measure(untested, "m")))
    if stood > 0.05:
        told.append(message(Note.STOOD_IN_ELECTRODE, stood=Measure(stood, "m")))
    told.append(message(Note.CLEAN_COUNT_IS_NO_PROOF))
    return tuple(told)


_EVEN = 1.0 / float(np.sqrt(3.0))
NO_WALL = message(Reason.NO_MEAN_WALL)


def wire_answers(bench: Bench) -> tuple[AnswerRow, ...]:
    """Mass, scrap, and the bounds of the insulation under a covering."""
    run = bench.run.id
    rows = [AnswerRow("run", run, "mass", one) for one in mass_answers(bench)]
    rows += [AnswerRow("run", run, "scrap", one) for one in scrap_answers(bench)]
    return (*rows, *bounds_answers(bench), *spark_answers(bench))


def _density_sd(density: Figure) -> float:
    """Standard uncertainty of a density taken as even over its range [g/cm3]."""
    return 0.5 * (density.high - density.low) * _EVEN


def _wall_sd(bench: Bench, readings: int) -> float:
    """Standard uncertainty of a mean wall over that many readings: the gauge's lasting part and its noise [mm]."""
    known = bench.measured.uncertainty["mean_wall_mm"]
    return known.of_mean_mm(float(readings))


def _told(bench: Bench) -> tuple[Message, ...]:
    told = []
    if bench.run.covering is not None:
        told.append(message(Note.INSULATION_ONLY))
    if bench.product.conductor.make != "solid":
        told.append(message(Note.STRAND_VALLEYS_NOT_COUNTED))
    return tuple(told)


def mass_answers(bench: Bench) -> tuple[Result | Refused, ...]:
    """Insulation in kg per km on the wire of the reels, and how much of it is over the least the limit asks for."""
    asked = asks(Quantity.INSULATION_MASS)
    method = message(Method.MASS_BY_MEAN_WALL)
    seen, reels = bench.measured.seen.get("mean_wall_mm"), bench.placed.reels
    inside = np.zeros(0, dtype=np.bool_)
    if seen is not None and reels:
        inside = seen.fit_for_statistics & (seen.at_m >= reels[0].from_m) & (seen.at_m < reels[-1].to_m)
    if seen is None or not bool(inside.any()):
        return (Refused(asked, method, NO_WALL, 0),)
    conductor, density = bench.product.conductor_mm, bench.product.insulation.density
    n, wall = int(inside.sum()), _mean_along(seen, inside)
    kg_km = mass_kg_km(insulation_area_mm2(wall, conductor), density.value)
    per_mm = mass_per_um_g_km(wall, conductor, density.value)
    sd_wall, sd_density = _wall_sd(bench, n), _density_sd(density) / density.value
    known_m = float(seen.widths()[inside].sum())
    note = Assumption(
        message(Assumed.DENSITY_IN_RANGE),
        None,
        message(Note.DENSITY, record=density.record, name=density.name),
    )
    found = [_mass(asked, method, kg_km, float(np.hypot(per_mm * sd_wall, kg_km * sd_density)), n, known_m)]
    least = [one.value for one in bench.limits if one.requirement == "minimum average wall"]
    if least:
        over = kg_km - mass_kg_km(insulation_area_mm2(max(least), conductor), density.value)
        more = asks(Quantity.INSULATION_EXCESS_MASS, limit=Measure(max(least), "mm"))
        sd = float(np.hypot(per_mm * sd_wall, over * sd_density))
        found.append(_mass(more, method, over, sd, n, known_m))
    return tuple(_with(one, note, _told(bench)) for one in found)


def _mean_along(seen: Seen, inside: Mask) -> float:
    """Mean along the wire: each reading weighs by the wire it speaks for."""
    widths = seen.widths()[inside]
    values = seen.value[inside]
    return float(np.average(values, weights=widths)) if widths.sum() > 0 else float(values.mean())


def _mass(asked: Asked, method: Message, value: float, sd: float, n: int, known_m: float) -> Result:
    return Result(
        question=asked,
        estimate=value,
        low=value - 1.96 * sd,
        high=value + 1.96 * sd,
        confidence=0.95,
        unit="kg/km",
        method=method,
        n=n,
        effective_n=None,
        known_m=known_m,
        unit_of_inference="section average",
    )


def _with(answer: Result, note: Assumption, told: tuple[Message, ...]) -> Result:
    return replace(answer, assumptions=(*answer.assumptions, note), warnings=(*answer.warnings, *told))


def scrap_answers(bench: Bench) -> tuple[Result | Refused, ...]:
    """Wire of the run on no reel, in metres and in kilograms of insulation."""
    loose = bench.placed.loose
    length = sum(one.to_m - one.from_m for one in loose)
    # Ends at a reel change are written by hand; the ends of the run are the log's own.
    changes = {at for reel in bench.placed.reels for at in (reel.from_m, reel.to_m)}
    ends = changes & {at for one in loose for at in (one.from_m, one.to_m)}
    sd = WRITTEN_TO_M * _EVEN * float(np.sqrt(len(ends)))
    metres = Result(
        question=asks(Quantity.SCRAP_LENGTH),
        estimate=length,
        low=max(length - 1.96 * sd, 0.0),
        high=length + 1.96 * sd,
        confidence=0.95,
        unit="m",
        method=message(Method.RUN_LESS_REELS),
        n=len(loose),
        effective_n=None,
        known_m=None,
        unit_of_inference="event",
        details={f"{one.what} m": one.to_m - one.from_m for one in loose},
    )
    return metres, _scrap_kg(bench, length, sd)


def _scrap_kg(bench: Bench, length: float, length_sd: float) -> Result | Refused:
    asked = asks(Quantity.SCRAP_MASS)
    method = message(Method.MASS_OF_LOOSE_WIRE)
    seen, density = bench.measured.seen.get("mean_wall_mm"), bench.product.insulation.density
    if seen is None or not bool(seen.fit.any()):
        return Refused(asked, method, NO_WALL, 0)
    conductor = bench.product.conductor_mm
    walls = np.where(seen.fit, seen.value, np.nan)
    step = max(seen.extent_m, 1e-3)
    parts: tuple[Scrap, ...] = scrap_of_run(
        bench.placed.loose, seen.at_m, walls, conductor, density.value, step
    )
    kg = sum(one.insulation_kg or 0.0 for one in parts)
    read = sum(one.wall_known_m for one in parts)
    usual = float(np.median(walls[np.isfinite(walls)]))
    spread = float(np.nanstd(walls))
    # Loose wire whose wall was not read has the run's mean wall, give or take the run's own spread.
    unread = 1.0 - read / length if length > 0 else 0.0
    wall_sd = float(np.hypot(_wall_sd(bench, int(np.isfinite(walls).sum())), unread * spread))
    share = np.array(
        [
            mass_per_um_g_km(usual, conductor, density.value)
            * wall_sd
            / mass_kg_km(insulation_area_mm2(usual, conductor), density.value),
            _density_sd(density) / density.value,
            length_sd / length if length > 0 else 0.0,
        ]
    )
    sd = kg * float(np.sqrt((share**2).sum()))
    return Result(
        question=asked,
        estimate=kg,
        low=max(kg - 1.96 * sd, 0.0),
        high=kg + 1.96 * sd,
        confidence=0.95,
        unit="kg",
        method=method,
        n=len(parts),
        effective_n=None,
        known_m=read,
        unit_of_inference="event",
        assumptions=(
            Assumption(
                message(Assumed.DENSITY_IN_RANGE),
                None,
                message(Note.DENSITY, record=density.record, name=density.name),
            ),
        ),
        warnings=_told(bench),
        details={"wall_known_m": read},
    )


def bounds_answers(bench: Bench) -> tuple[AnswerRow, ...]:
    """The insulation's thinnest wall under a covering read with it: bounded, not measured."""
    covering, gauge = bench.run.covering, bench.line.instrument("wall gauge")
    seen, reels = bench.measured.seen.get("thinnest_wall_mm"), bench.placed.reels
    layered = gauge is not None and gauge.sees == "insulation and covering"
    if covering is None or not layered or seen is None or not reels:
        return ()
    spans = [("run", bench.run.id, reels[0].from_m, reels[-1].to_m)]
    spans += [("reel", one.id, one.from_m, one.to_m) for one in reels]
    return tuple(
        AnswerRow(
            scope, subject, "insulation thinnest", _bounds(bench, seen, covering, subject, from_m, to_m)
        )
        for scope, subject, from_m, to_m in spans
    )


def _bounds(
    bench: Bench, seen: Seen, covering: Covering, subject: str, from_m: float, to_m: float
) -> Result | Refused:
    asked = asks(Quantity.INSULATION_MINIMUM)
    method = message(Method.OFFSETS_AS_VECTORS)
    inside = seen.rows_within(from_m, to_m)
    if inside.size == 0:
        return Refused(asked, method, NO_WALL, 0)
    mean = bench.measured.frame["mean_wall_mm"].to_numpy()
    offset = bench.measured.frame["eccentricity_mm"].to_numpy()
    at = inside[int(np.argmin(mean[inside] - offset[inside]))]
    u = bench.measured.uncertainty["mean_wall_mm"].total_mm
    bounds = insulation_bounds(float(mean[at]) + covering.mean_mm, float(offset[at]), covering)
    worst, best = bounds.thinnest_at_worst_mm, bounds.thinnest_at_best_mm
    between = {"worst": Measure(worst, "mm"), "best": Measure(best, "mm")}
    at_m = float(seen.at_m[at])
    if subject == bench.run.id:
        told = message(Note.BOUNDED_ON_RUN, at=Measure(at_m, "m"), **between)
    else:
        outer_m = place_on_reel(at_m, to_m)
        ends = {"at": Measure(outer_m, "m"), "from_core": Measure(to_m - from_m - outer_m, "m")}
        told = message(Note.BOUNDED_ON_REEL, **ends, **between)
    return Result(
        question=asked,
        estimate=float(mean[at] - offset[at]),
        low=bounds.thinnest_at_worst_mm - 1.96 * u,
        high=bounds.thinnest_at_best_mm + 1.96 * u,
        confidence=0.95,
        unit="mm",
        method=method,
        n=int(inside.size),
        effective_n=None,
        known_m=seen.known_m(from_m, to_m),
        unit_of_inference="reading",
        assumptions=(
            Assumption(message(Assumed.COVERING_AS_STATED), None, message(Note.BASIS, basis=bounds.basis)),
        ),
        warnings=(told,),
        details={
            "at_m": float(seen.at_m[at]),
            "at_worst_mm": bounds.thinnest_at_worst_mm,
            "at_best_mm": bounds.thinnest_at_best_mm,
        },
    )
