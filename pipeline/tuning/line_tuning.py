"""Everything a process engineer may ask of one line and one product, from the runs on hand, in one record."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.errors import Complaint, MethodRefusal
from pipeline.messages import Message, message
from pipeline.results import Refused
from pipeline.sheets.line_sheet import Tooling
from pipeline.statistics.against_record import Observed
from pipeline.statistics.turning_elements import ExpectedLine
from pipeline.tuned import Tuned
from pipeline.tuning.before_after import QUANTITIES, BeforeAfter, before_and_after, reel_facts
from pipeline.tuning.bolt_advice import CentringAdvice, centring_advice
from pipeline.tuning.bolt_response import Response, learn_response, steps_of
from pipeline.tuning.centring import Centring, centring_of_run
from pipeline.tuning.covering_target import CoveringTarget, covering_target
from pipeline.tuning.draw import Draw, draw_of
from pipeline.tuning.giveaway import Giveaway, Price, giveaway
from pipeline.tuning.good_starts import GoodStarts, good_starts
from pipeline.tuning.line_run import LineRun
from pipeline.tuning.mass_balance import SpecificOutput, gauge_check, specific_output
from pipeline.tuning.needed_mean import Unknowns
from pipeline.tuning.own_variation import SetApart, set_apart, split_found, without_a_target
from pipeline.tuning.periods import LinePeriod, periods_of_line, periods_of_run
from pipeline.tuning.reel_wall import ReelWall, reel_walls
from pipeline.tuning.response import SettingAnswer, answers_of_runs
from pipeline.tuning.settings import SettingAdvice, ways_to_target
from pipeline.tuning.start_up import Start, starts_of
from pipeline.tuning.target import METHOD, QUESTION, Target, borne_out, failed_reels, smallest_target
from pipeline.tuning.target_loss import TargetLoss, target_loss
from pipeline.tuning.tuning_question import TuningQuestion, noise_from_stops
from pipeline.tuning.wall_parts import SpreadShares, spread_shares
from pipeline.tuning.what_if import HALF_CENTRED, WhatIf, remedies, what_if
from pipeline.words import counted


@dataclass(frozen=True, slots=True)
class LineTuning:
    """What the runs say of one line and product.

    Args:
        line_id: the line.
        product: the product.
        target: smallest mean wall.
        apart: reels with wire found nonconforming and whether they are in the target; None where there are none.
        overwall: what today's overwall is in plastic and money; None without a target.
        overwall_interval: lower and upper end of it as giveaway; None without a target.
        what_ifs: what remedies are worth.
        loss: the target that costs least.
        covering: smallest covering; None for a single layer.
        shares: where the spread of the thinnest wall comes from; None without reels.
        centring: how the conductor lay, by run.
        centring_now: what to do about the latest run's centring; None where it could not be told.
        bolts: what the bolts do.
        periods: what repeats.
        hidden: elements whose swing the readings could not show.
        draws: how the tooling stands to the product.
        settings: ways to bring the wall to the target; empty where nothing should be moved.
        answers: how the wall goes with each setting.
        outputs: specific output by run.
        balance: what the mass balance says of runs.
        starts: starts, in the order of time.
        good_starts: what short starts have in common.
        before_after: figures before and after the change asked about.
        noise_mm: noise of one wall sensor, as used or measured on standing wire [mm]; None if not known.
        warnings: what to read beside all of it.
        failed: reels on file found bad for their wall, beside which no less wall is advised; None where none was.
    """

    line_id: str
    product: str
    target: Target | Refused
    apart: SetApart | None
    overwall: Giveaway | None
    overwall_interval: tuple[Giveaway, Giveaway] | None
    what_ifs: tuple[WhatIf | Refused, ...]
    loss: TargetLoss | Refused | None
    covering: CoveringTarget | Refused | None
    shares: SpreadShares | None
    centring: Mapping[str, Centring | Refused]
    centring_now: CentringAdvice | None
    bolts: Response | Refused
    periods: tuple[LinePeriod, ...]
    hidden: tuple[ExpectedLine, ...]
    draws: tuple[Draw, ...]
    settings: tuple[SettingAdvice, ...]
    answers: tuple[SettingAnswer | Refused, ...]
    outputs: Mapping[str, SpecificOutput | Refused]
    balance: tuple[Message, ...]
    starts: tuple[Start, ...]
    good_starts: GoodStarts | Refused
    before_after: tuple[BeforeAfter | Refused, ...]
    noise_mm: float | None
    warnings: tuple[Message, ...]
    failed: Observed | None


def tuning_of_line(runs: Sequence[LineRun], asked: TuningQuestion) -> LineTuning:
    """All of it, for runs of one product on one line.

    Args:
        runs: the runs, in any order.
        asked: what is known beside them.

    Raises:
        MethodRefusal: no run, or runs of several products.
    """
    ordered = sorted(runs, key=lambda one: one.started)
    _check(ordered)
    gauge = asked.line.instrument("wall gauge")
    sensors = (gauge.sensors if gauge is not None else None) or 1
    noise = asked.noise_mm if asked.noise_mm is not None else noise_from_stops(ordered, sensors)
    everyday = [one for one in ordered if one.run_id not in asked.trials]
    latest = (everyday or ordered)[-1]
    conductor = latest.conductor_mm
    reels, told = reel_walls(everyday)
    told = (*_told_of_trials(ordered, asked), *told)
    unknowns = _unknowns(asked, noise, gauge is not None and gauge.sees == "insulation and covering")
    every = len(reels)
    target, apart, reels = _target(reels, asked, unknowns, sensors)
    target = borne_out(target, asked.observed)
    failed = failed_reels(asked.observed)
    if isinstance(target, Refused) and apart is not None:
        apart = without_a_target(apart, target, every)
    found = [periods_of_run(one, asked.line) for one in ordered]
    periods = periods_of_line(found)
    swings = [one for one in periods if one.channel == "mean wall"]
    what_ifs: tuple[WhatIf | Refused, ...] = ()
    if isinstance(target, Target):
        what_ifs = tuple(
            what_if(
                name, change, reels, target, asked.limits, asked.price, conductor, asked.risks, unknowns,
                sensors=sensors, seed=asked.seed,
            )
            for name, change in remedies(
                reels, swings, asked.found_m if apart is not None and apart.kept else None
            ).items()
        )  # fmt: skip
    centring = {one.run_id: _centring(one, asked, noise, sensors) for one in ordered}
    bolts = _bolts(ordered, asked)
    outputs = {one.run_id: specific_output(one, asked.price.density_g_cm3) for one in ordered}
    starts = _starts(ordered, asked)
    return LineTuning(
        asked.line.id,
        latest.product,
        target,
        apart,
        *_worth(target, conductor, asked.price),
        what_ifs,
        target_loss(target, asked.price, conductor) if isinstance(target, Target) else None,
        _covering(asked, target, conductor),
        spread_shares(reels, swings, noise, sensors) if reels else None,
        centring,
        _centring_now(centring[latest.run_id], asked, bolts, what_ifs),
        bolts,
        periods,
        tuple({(one.element, one.harmonic): one for run in found for one in run.hidden}.values()),
        _draws(asked, latest, target, conductor),
        _settings(latest, target, asked, failed),
        answers_of_runs(ordered, {one.run_id: asked.loops.get(one.run_id, asked.loop) for one in ordered}),
        outputs,
        gauge_check({name: one for name, one in outputs.items() if isinstance(one, SpecificOutput)}),
        starts,
        good_starts(starts, seed=asked.seed),
        _before_after(ordered, asked),
        noise,
        told,
        failed,
    )


def _target(
    reels: tuple[ReelWall, ...], asked: TuningQuestion, unknowns: Unknowns, sensors: int
) -> tuple[Target | Refused, SetApart | None, tuple[ReelWall, ...]]:
    """The target, what was set apart, and the reels it stands on."""

    def of(some: tuple[ReelWall, ...]) -> Target | Refused:
        if asked.missing:
            # A target under a wall that nobody entered would advise wire that may fail it.
            reason = message(Tuned.LIMIT_MISSING, missing=asked.missing)
            return Refused(QUESTION, METHOD, reason, len(some))
        return smallest_target(
            some, asked.limits, asked.risks, unknowns, sensors=sensors, draws=asked.draws, seed=asked.seed
        )

    others, found = split_found(reels, asked.found_m)
    if not found:
        return of(reels), None, reels
    without, with_them = of(others), of(reels)
    apart = set_apart(found, without, with_them, asked.limits, len(reels))
    left = tuple(one for one in reels if one.reel_id not in apart.reels)
    if not apart.reels:
        return with_them, apart, left
    return (of(left) if apart.kept else without), apart, left


def _told_of_trials(runs: Sequence[LineRun], asked: TuningQuestion) -> tuple[Message, ...]:
    trials = [one.run_id for one in runs if one.run_id in asked.trials]
    return (message(Tuned.TRIALS, runs=trials),) if trials else ()


def _check(runs: Sequence[LineRun]) -> None:
    products = sorted({one.product for one in runs})
    if len(products) != 1:
        raise MethodRefusal(
            Complaint(
                "tuning: runs",
                f"{counted(len(runs), 'run')} of {len(products)} products were given"
                + (f" ({', '.join(products)})" if products else ""),
                "Ask for one product at a time; what one teaches does not hold for another",
            )
        )


def _unknowns(asked: TuningQuestion, noise: float | None, sees_both: bool) -> Unknowns:
    if asked.covering is None or not sees_both:
        return Unknowns(noise, asked.small_scale_mm)
    return Unknowns(noise, asked.small_scale_mm, asked.covering.uncertainty_mm, asked.covering.offset_mm)


def _worth(
    target: Target | Refused, conductor_mm: float, price: Price
) -> tuple[Giveaway | None, tuple[Giveaway, Giveaway] | None]:
    """Today's overwall as plastic and money, with its interval."""
    if isinstance(target, Refused):
        return None, None
    now = target.today.estimate
    return giveaway(now, now - target.overwall.estimate, conductor_mm, price), (
        giveaway(now, now - target.overwall.low, conductor_mm, price),
        giveaway(now, now - target.overwall.high, conductor_mm, price),
    )


def _covering(
    asked: TuningQuestion, target: Target | Refused, conductor_mm: float
) -> CoveringTarget | Refused | None:
    if asked.covering is None or asked.covering_price is None:
        return None
    wall = target.today.estimate if isinstance(target, Target) else 0.0
    return covering_target(
        asked.covering, asked.limits, conductor_mm + 2.0 * wall, asked.covering_price, asked.risks.reel
    )


def _centring(run: LineRun, asked: TuningQuestion, noise: float | None, sensors: int) -> Centring | Refused:
    gauge = asked.line.instrument("wall gauge")
    angle = gauge.first_angle_deg if gauge is not None else 0.0
    # Where noise was never measured the gauge's stated uncertainty stands in; it is no smaller.
    used = noise if noise is not None else (gauge.uncertainty_mm if gauge is not None else 0.0)
    turned = [one.at_m for one in asked.adjustments.get(run.run_id, ())]
    # What the centre did before bolts were turned says nothing of where it is now.
    from_m = max(turned) + asked.purge_m if turned else None
    return centring_of_run(run, angle, used, sensors, from_m)


def _bolts(runs: Sequence[LineRun], asked: TuningQuestion) -> Response | Refused:
    gauge = asked.line.instrument("wall gauge")
    angle = gauge.first_angle_deg if gauge is not None else 0.0
    steps = [
        step
        for run in runs
        for step in steps_of(run, asked.adjustments.get(run.run_id, ()), angle, asked.purge_m)
    ]
    return learn_response(steps, asked.line.bolts)


def _centring_now(
    found: Centring | Refused,
    asked: TuningQuestion,
    bolts: Response | Refused,
    what_ifs: Sequence[WhatIf | Refused],
) -> CentringAdvice | None:
    if isinstance(found, Refused):
        return None
    gauge = asked.line.instrument("wall gauge")
    worth = next(
        (one.told for one in what_ifs if isinstance(one, WhatIf) and one.remedy == HALF_CENTRED), None
    )
    learned = bolts if isinstance(bolts, Response) else None
    station = gauge.station_m if gauge is not None else 0.0
    return centring_advice(found, asked.line.bolts, learned, station, asked.purge_m, worth)


def _draws(
    asked: TuningQuestion, run: LineRun, target: Target | Refused, conductor_mm: float
) -> tuple[Draw, ...]:
    """Tooling of this product; its dimensions are the product's at today's walls."""
    if isinstance(target, Refused):
        return ()
    over = conductor_mm + 2.0 * target.today.estimate
    found = []
    for one in asked.line.tooling:
        if not _same_product(one, run.product):
            continue
        if one.layer == "insulation":
            found.append(draw_of(one, over, conductor_mm))
        elif asked.covering is not None:
            found.append(draw_of(one, over + 2.0 * asked.covering.mean_mm, over))
    return tuple(found)


def _same_product(tooling: Tooling, product: str) -> bool:
    return product.startswith(f"{tooling.construction} {tooling.size}")


def _settings(
    run: LineRun, target: Target | Refused, asked: TuningQuestion, failed: Observed | None
) -> tuple[SettingAdvice, ...]:
    """Ways to the advised target; none where today's wall lies between the target and what is advised.

    None to less wall either, beside reels that failed.
    """
    if isinstance(target, Refused) or not run.wall_counts.any():
        return ()
    now = run.mean_wall_mm()
    wanted = target.advised_mm
    if target.ceiling_mm is not None and target.ceiling_mm < wanted:
        return ()
    if target.result.estimate <= now <= wanted or (failed is not None and wanted < now):
        return ()
    return ways_to_target(
        now,
        wanted,
        run.conductor_mm,
        float(np.median(run.speed_m_s[run.wall_counts])),
        run.level("screw_speed_rpm"),
        run.level("melt_pressure_bar"),
        asked.line.ceilings,
        asked.melt_exponent,
        covering_mm=None if asked.covering is None else asked.covering.mean_mm,
    )


def _starts(runs: Sequence[LineRun], asked: TuningQuestion) -> tuple[Start, ...]:
    lowest = {
        name: max((one.value for one in asked.limits if one.requirement == name), default=None)
        for name in ("minimum wall at any point", "minimum average wall")
    }
    return tuple(
        start
        for run in runs
        for start in starts_of(
            run,
            lowest["minimum wall at any point"] if run.has_offset else None,
            lowest["minimum average wall"],
            asked.circumstances.get(run.run_id, {}),
        )
    )


def _before_after(runs: Sequence[LineRun], asked: TuningQuestion) -> tuple[BeforeAfter | Refused, ...]:
    if asked.changed is None:
        return ()
    facts = asked.facts or [
        one for run in runs for one in reel_facts(run, asked.circumstances.get(run.run_id, {}))
    ]
    return tuple(before_and_after(facts, asked.changed, name) for name in QUANTITIES)
