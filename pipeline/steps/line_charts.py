"""Is the line steady: control charts of one value a reel, with limits from the plant's alarm budget.

The first reels of a product on a line set the limits and are looked back on (phase I); every later reel is held
against limits that no longer move (phase II). Single readings are never charted: neighbours repeat each other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from pipeline.assumed import Assumed
from pipeline.columns import WALL_CHANNELS
from pipeline.found import together
from pipeline.messages import Message, message
from pipeline.methods import ChartRule, Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Chart, Refused
from pipeline.sheets.plant_sheet import Charts
from pipeline.statistics.ewma_cusum import CusumChart, cusum_chart, ewma_chart
from pipeline.statistics.multivariate_charts import (
    WallBaseline,
    mewma_chart,
    t2_chart,
    t_squared,
    wall_baseline,
    wall_chart,
)
from pipeline.statistics.own_scores import own_scores
from pipeline.statistics.residual_charts import fit_autoregression, residual_chart
from pipeline.statistics.run_length import (
    alarm_budget,
    cusum_limit,
    ewma_width,
    false_alarms_per_day,
    mewma_limit,
    prediction_width,
    shewhart_width,
)
from pipeline.statistics.run_rules import (
    EIGHT_IN_A_ROW,
    FOUR_OF_FIVE,
    TWO_OF_THREE,
    RunRule,
    run_rules_arl,
    run_signals,
)
from pipeline.statistics.shewhart import individuals_chart, mean_charts
from pipeline.steps.chart_maker import FEWEST_REELS, ChartMaker, ChartOf, chart_asked
from pipeline.steps.charted import VALUE_OF, Charted, ChartFamily
from pipeline.steps.fault_charts import fault_charts
from pipeline.steps.line_reels import LineReel, subgroups_of, values_of

Array = NDArray[np.float64]

# Values charted one by one [mm].
INDIVIDUALS = (Charted.MEAN_WALL, Charted.THINNEST_WALL, Charted.WALL_SPREAD, Charted.DIAMETER)
MM = "mm"
# A lowest value is an extreme: one thin reel would pull an average of them down for many reels after it.
SMOOTHED = (Charted.MEAN_WALL, Charted.DIAMETER)
VECTOR = ("mean_wall_mm", "ecc_cos_mm", "ecc_sin_mm")
# Charts watched at once: what the alarm budget is shared among. Individuals, EWMA and CUSUM, errors of the
# autoregression, mean and spread of subgroups, T^2, multivariate EWMA and T^2 of the sensors, counts, gaps between
# faults by t-chart and CUSUM, reels between reels with a fault, share of a run's reels with one.
WATCHED = len(INDIVIDUALS) + 2 * len(SMOOTHED) + 1 + 2 + 3 + 5
EWMA_WEIGHT, CUSUM_REFERENCE, VECTOR_WEIGHT = 0.2, 0.5, 0.1
# Scores by the reels before stand as against a baseline without an end.
OF_SCORES = 10**6
# Runs a plant may have its individuals charts watch for, by the words of its sheet.
RUNS = {"two of three": TWO_OF_THREE, "four of five": FOUR_OF_FIVE, "eight in a row": EIGHT_IN_A_ROW}


@dataclass(frozen=True, slots=True)
class LineCharts:
    """Charts of one line and product, what could not be charted, and the alarm budget."""

    charts: tuple[ChartOf, ...]
    refused: tuple[Refused, ...]
    budget: Message


@dataclass(frozen=True, slots=True)
class _Limits:
    """Limits that keep to an average run length when centre and deviation are known."""

    shewhart: float
    ewma: float
    cusum: float
    vector: float


@cache
def _limits(arl0: float) -> _Limits:
    return _Limits(
        shewhart_width(arl0),
        ewma_width(arl0, EWMA_WEIGHT),
        cusum_limit(arl0, CUSUM_REFERENCE),
        mewma_limit(arl0, VECTOR_WEIGHT, len(VECTOR)),
    )


@cache
def _arl_with_runs(width: float, rules: tuple[RunRule, ...]) -> float:
    """Reels to a false alarm of limits and runs together, with centre and deviation known."""
    return run_rules_arl((RunRule(1, 1, width), *rules))


def line_charts(reels: Sequence[LineReel], settings: Charts) -> LineCharts:
    """Every chart of one line and product.

    Args:
        reels: its reels in the order they were made.
        settings: the plant's alarm budget and the number of reels that set the limits.
    """
    budget = alarm_budget(WATCHED, settings.reels_per_day, settings.false_alarms, settings.days)
    first = min(settings.baseline_reels, len(reels))
    maker = _LineMaker(tuple(reels), first, budget.arl0, settings)
    maker.individuals()
    for charted in SMOOTHED:
        maker.smoothed(charted)
    maker.residuals(Charted.MEAN_WALL)
    maker.subgroups()
    maker.vectors()
    maker.sensors()
    fault_charts(maker)
    told = together(budget.told, message(Note.LIMITS_SET_BY_FIRST, n=first))
    return LineCharts(tuple(maker.charts), tuple(maker.refused), told)


class _LineMaker(ChartMaker):
    """The charts of a line's walls and diameters."""

    def individuals(self) -> None:
        """One value a reel: phase I on the first reels, phase II on the later ones."""
        width = _limits(self.arl0).shewhart
        for charted in INDIVIDUALS:
            values = self.baseline(charted, ChartFamily.INDIVIDUALS)
            if values is None:
                continue
            one = self.keep(
                charted,
                ChartFamily.INDIVIDUALS,
                lambda v=values: individuals_chart(v[: self.first], width=width, unit=MM),  # type: ignore[misc]
                self.reels[: self.first],
            )
            later = values[self.first :]
            if one is None or not np.isfinite(later).any():
                continue
            # Reels that stood out of the first ones say nothing of what is usual.
            behind = values[: self.first].copy()
            behind[[each.item for each in one.signals]] = np.nan
            self.keep(
                charted,
                ChartFamily.INDIVIDUALS,
                lambda b=behind, v=later: self.predicted(b[np.isfinite(b)], v, MM),  # type: ignore[misc]
                self.reels[self.first :],
            )

    def predicted(self, behind: Array, later: Array, unit: str) -> Chart | Refused:
        """Phase II individuals, whose limits know from how few reels they are."""
        centre, sigma, known = float(behind.mean()), float(behind.std(ddof=1)), behind.size
        width = prediction_width(self.arl0, known)
        chart = individuals_chart(later, centre, sigma, width, unit=unit, baseline=known)
        if isinstance(chart, Refused):
            return chart
        told = message(Note.LIMITS_WIDENED, known=known)
        return self.with_runs(replace(chart, arl0=self.arl0, warnings=(*chart.warnings, told)), later)

    def with_runs(self, chart: Chart, values: Array) -> Chart:
        """The chart with the runs the plant has chosen to watch for, and what they cost in false alarms."""
        chosen = tuple(RUNS[one] for one in self.settings.rules)
        if not chosen:
            return chart
        arl0 = _arl_with_runs(_limits(self.arl0).shewhart, chosen)
        days, a_day = self.settings.days, self.settings.reels_per_day
        cost, alone = (days * false_alarms_per_day(one, a_day) for one in (arl0, self.arl0))
        told = message(
            Note.RUNS_WATCHED,
            runs=tuple(one.told for one in chosen),
            arl0=arl0,
            alone=self.arl0,
            cost=cost,
            cost_alone=alone,
            days=days,
            budget=self.settings.false_alarms,
        )
        found = run_signals(values, chart.details["centre"], chart.details["sigma"], chosen)
        signals = tuple(sorted((*chart.signals, *found), key=lambda one: one.item))
        return replace(chart, signals=signals, arl0=arl0, warnings=(*chart.warnings, told))

    def smoothed(self, charted: Charted) -> None:
        """EWMA and CUSUM of scores by the reels before, told in the scale of the first reels."""
        values = self.baseline(charted, ChartFamily.EWMA)
        if values is None:
            return
        found = individuals_chart(values[: self.first], unit=MM)
        if isinstance(found, Refused):
            return
        centre, sigma = found.details["centre"], found.details["sigma"]
        limits = _limits(self.arl0)
        for phase, part, reels in self.parts(centre + sigma * own_scores(values, remembering=True)):
            self.keep(
                charted,
                ChartFamily.EWMA,
                lambda p=part, f=phase: self.told(  # type: ignore[misc]
                    ewma_chart(p, centre, sigma, EWMA_WEIGHT, limits.ewma, arl0=self.arl0, unit=MM), f
                ),
                reels,
            )
            self.keep(
                charted,
                ChartFamily.CUSUM,
                lambda p=part, f=phase: self.told(  # type: ignore[misc]
                    _cusum(
                        cusum_chart(p, centre, sigma, CUSUM_REFERENCE, limits.cusum, self.arl0, MM), p, MM
                    ),
                    f,
                ),
                reels,
            )

    def residuals(self, charted: Charted) -> None:
        """Errors of an autoregression of the first reels: for reels that follow one another."""
        values = values_of(self.reels, VALUE_OF[charted])
        model = fit_autoregression(values[: self.first])
        if isinstance(model, Refused):
            self.refused.append(replace(model, question=chart_asked(charted, ChartFamily.RESIDUAL)))
            return
        # Each coefficient, chosen and fitted on the same few reels, costs about three of them.
        width = prediction_width(self.arl0, max(model.n - 3 - 3 * len(model.phi), 4))
        whole = residual_chart(values, model, width, MM)
        for phase, part, reels in self.parts(whole.plotted):
            start = 0 if phase == "I" else self.first
            self.keep(
                charted,
                ChartFamily.RESIDUAL,
                lambda m=model, f=phase, a=start, n=part.size: self.told(  # type: ignore[misc]
                    _slice(residual_chart(values, m, width, MM), a, a + n), f
                ),
                reels,
            )

    def subgroups(self) -> None:
        """Mean and spread of stretches within a reel; limits from within reels, so phase I only."""
        kept, rows = subgroups_of(self.reels[: self.first])
        reels = [self.reels[number] for number in kept]
        if len(reels) < FEWEST_REELS:
            reason = message(Reason.TOO_FEW_REELS_WITH_STRETCHES, reels=len(reels), fewest_reels=FEWEST_REELS)
            self.refused.append(
                Refused(
                    chart_asked(Charted.STRETCH_MEANS, ChartFamily.MEAN),
                    message(Method.MEAN_AND_SPREAD_CHARTS_OF_REELS),
                    reason,
                    len(reels),
                )
            )
            return
        found = mean_charts(rows, "standard deviation", "mm", self.arl0)
        if isinstance(found, Refused):
            self.refused.append(replace(found, question=chart_asked(Charted.STRETCH_MEANS, ChartFamily.MEAN)))
            return
        mean, spread = found
        if mean.warnings:
            # Reels that differ by more than their stretches would all alarm; the individuals chart is theirs.
            self.refused.append(
                Refused(
                    chart_asked(Charted.STRETCH_MEANS, ChartFamily.MEAN),
                    mean.method,
                    mean.warnings[0],
                    len(reels),
                )
            )
        else:
            self.keep(Charted.STRETCH_MEANS, ChartFamily.MEAN, lambda: mean, reels)
        self.keep(Charted.STRETCH_SPREAD, ChartFamily.SPREAD, lambda: spread, reels)

    def vectors(self) -> None:
        """Mean wall and the two parts of the offset together: T^2 and its moving average."""
        rows = np.column_stack([values_of(self.reels, one) for one in VECTOR])
        base = rows[: self.first]
        base = base[np.isfinite(base).all(axis=1)]
        if len(base) < FEWEST_REELS or np.linalg.matrix_rank(np.cov(base.T)) < len(VECTOR):
            reason = message(Reason.TOO_FEW_REELS_WITH_OFFSET, base=len(base), fewest_reels=FEWEST_REELS)
            self.refused.append(
                Refused(
                    chart_asked(Charted.WALL_VECTOR, ChartFamily.T2),
                    Message(ChartFamily.T2),
                    reason,
                    len(base),
                )
            )
            return
        alpha, centre, covariance = 1.0 / self.arl0, base.mean(axis=0), np.cov(base.T)

        def named(chart: Chart | Refused, part: Array) -> Chart | Refused:
            return chart if isinstance(chart, Refused) else _with_part(chart, part, centre, covariance)

        scores = own_scores(rows, remembering=True)
        known, apart = np.zeros(len(VECTOR)), np.eye(len(VECTOR))
        for (phase, part, reels), (_, scored, _) in zip(self.parts(rows), self.parts(scores), strict=False):
            self.keep(
                Charted.WALL_VECTOR,
                ChartFamily.T2,
                lambda p=part, u=scored, f=phase: named(  # type: ignore[misc]
                    t2_chart(p, alpha) if f == "I" else t2_chart(u, alpha, known, apart, OF_SCORES), p
                ),
                reels,
            )
            self.keep(
                Charted.WALL_VECTOR,
                ChartFamily.MEWMA,
                lambda u=scored, f=phase: self.told(  # type: ignore[misc]
                    mewma_chart(u, known, apart, VECTOR_WEIGHT, _limits(self.arl0).vector, self.arl0), f
                ),
                reels,
            )

    def sensors(self) -> None:
        """Every wall sensor's mean on a reel: T^2 by order around the wire, so that no alarm stays unexplained."""
        fitted = [one for one in WALL_CHANNELS if any(one in reel.values for reel in self.reels)]
        if not fitted:
            return
        rows = np.column_stack([values_of(self.reels, one) for one in fitted])
        base = wall_baseline(rows[: self.first])
        if not isinstance(base, WallBaseline):
            question = chart_asked(Charted.WALL_SENSORS, ChartFamily.T2_BY_ORDER)
            self.refused.append(replace(base, question=question))
            return
        for phase, part, reels in self.parts(rows):
            self.keep(
                Charted.WALL_SENSORS,
                ChartFamily.T2_BY_ORDER,
                lambda p=part, f=phase: self.told(wall_chart(p, base, 1.0 / self.arl0, f), f),  # type: ignore[misc]
                reels,
            )


def _slice(chart: Chart, start: int, stop: int) -> Chart:
    """Points `start` up to `stop` of a chart, with their signals."""
    return replace(
        chart,
        plotted=chart.plotted[start:stop],
        centre=chart.centre[start:stop],
        lower=chart.lower[start:stop],
        upper=chart.upper[start:stop],
        signals=tuple(
            replace(one, item=one.item - start, since=max(one.since - start, 0))
            for one in chart.signals
            if start <= one.item < stop
        ),
    )


def _cusum(found: CusumChart | Refused, values: Array, unit: str) -> Chart | Refused:
    """Both sums of a CUSUM as one line: the larger of the two, the lower sum below the axis."""
    if isinstance(found, Refused):
        return found
    plotted = np.where(found.above >= found.below, found.above, -found.below)
    n = plotted.size
    signals = tuple(
        replace(one, value=one.value if one.side == "above" else -one.value,
                limit=one.limit if one.side == "above" else -one.limit)
        for one in found.signals
    )  # fmt: skip
    return Chart(
        question=asks(Quantity.CONTROL_CHART),
        method=message(Method.TABULAR_CUSUM_BOTH_SIDES),
        phase="II",
        plotted=np.where(np.isfinite(values), plotted, np.nan),
        centre=np.zeros(n),
        lower=np.full(n, -found.limit),
        upper=np.full(n, found.limit),
        unit=unit,
        signals=signals,
        arl0=found.arl0,
        unit_of_inference="reel",
        assumptions=(
            Assumption(message(Assumed.POINTS_INDEPENDENT), None, message(Note.SEE_INDIVIDUALS_CHART)),
        ),
        warnings=found.warnings,
        details={"centre": found.centre, "reference": found.reference, "limit": found.limit},
    )


def _with_part(chart: Chart, rows: Array, centre: Array, covariance: Array) -> Chart:
    """T^2 signals with the part that makes most of them: the mean wall or the offset."""
    signals = []
    for one in chart.signals:
        row = rows[[one.item]]
        mean = float(t_squared(row[:, :1], centre[:1], covariance[:1, :1])[0])
        offset = float(t_squared(row[:, 1:], centre[1:], covariance[1:, 1:])[0])
        by = ChartRule.T2_BY_MEAN_WALL if mean >= offset else ChartRule.T2_BY_OFFSET
        signals.append(replace(one, rule=message(by, mean=mean, offset=offset)))
    return replace(chart, signals=tuple(signals))
