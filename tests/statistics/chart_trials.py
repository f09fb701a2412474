"""Points from one false alarm to the next, simulated for every kind of control chart, with what is computed for it.

Charts without memory are run as they are on many batches, and the share of points that signal is counted. Charts with
memory are run on many rows at once by their recursion; one row of it is compared with the chart itself, point by
point and up to its first signal. All data are invented and nothing in them changes: every signal is false.

``python -m tests.statistics.chart_trials REPETITIONS`` prints the kept table.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats
from scipy.signal import lfilter

from pipeline.results import Chart, Refused
from pipeline.statistics.count_charts import share_chart, u_chart
from pipeline.statistics.ewma_cusum import CusumChart, cusum_chart, ewma_chart
from pipeline.statistics.multivariate_charts import mewma_chart, t2_chart, wall_baseline, wall_chart
from pipeline.statistics.rare_event_charts import g_chart, gap_chart, gap_cusum, gap_cusum_arl
from pipeline.statistics.residual_charts import Autoregression, residual_chart
from pipeline.statistics.run_length import (
    cusum_arl,
    cusum_limit,
    ewma_arl,
    ewma_width,
    mewma_arl0,
    mewma_limit,
    prediction_width,
    shewhart_width,
)
from pipeline.statistics.run_rules import (
    BEYOND_LIMIT,
    FOUR_RULES,
    TWO_OF_THREE,
    RunRule,
    run_rules_arl,
    run_signals,
)
from pipeline.statistics.shewhart import individuals_chart, mean_charts

Array = NDArray[np.float64]
Random = np.random.Generator
ARL0 = 100.0


@dataclass(frozen=True, slots=True)
class Simulated:
    """What is computed and what came of a simulation, in points (or faults) from one false alarm to the next."""

    computed: float
    simulated: float
    error: float


def _shares(computed: float, alarms: list[int], points: int) -> Simulated:
    """From the number of signals in batches of so many points; the error counts that a batch shares its limits."""
    share = np.array(alarms) / points
    mean, error = float(share.mean()), float(share.std(ddof=1)) / math.sqrt(share.size)
    return Simulated(computed, 1.0 / mean, error / mean**2)


def _lengths(computed: float, lengths: Array) -> Simulated:
    return Simulated(computed, float(lengths.mean()), float(lengths.std(ddof=1)) / math.sqrt(lengths.size))


def _chart(made: object) -> Chart:
    assert isinstance(made, Chart), made
    return made


def _until(
    step: Callable[[Array, Array, int], tuple[Array, NDArray[np.bool_]]],
    draw: Callable[[Random, int], Array],
    start: Array,
    random: Random,
) -> Array:
    """Points until each row signals; the state of rows that did is dropped."""
    state, lengths, t = start, [], 0
    while len(state):
        t += 1
        state, signal = step(state, draw(random, len(state)), t)
        lengths += [float(t)] * int(signal.sum())
        state = state[~signal]
    return np.array(lengths)


def _first(chart: Chart | CusumChart | Refused) -> int:
    assert not isinstance(chart, Refused)
    return chart.signals[0].item + 1


# --- without memory ---------------------------------------------------------------------------------------


def individuals(n: int, random: Random) -> Simulated:
    """Limits known."""
    width = shewhart_width(ARL0)
    alarms = [
        len(_chart(individuals_chart(x, 0.0, 1.0, width)).signals) for x in random.standard_normal((n, 200))
    ]
    return _shares(ARL0, alarms, 200)


def individuals_predicted(baseline: int) -> Callable[[int, Random], Simulated]:
    """Limits from so few reels, over baselines."""

    def run(n: int, random: Random) -> Simulated:
        width, alarms = prediction_width(ARL0, baseline), []
        for x in random.standard_normal((n, baseline + 200)):
            behind = x[:baseline]
            made = individuals_chart(
                x[baseline:], behind.mean(), behind.std(ddof=1), width, baseline=baseline
            )
            alarms.append(len(_chart(made).signals))
        return _shares(ARL0, alarms, 200)

    return run


def _subgroups(which: int) -> Callable[[int, Random], Simulated]:
    def run(n: int, random: Random) -> Simulated:
        alarms = []
        for _ in range(max(n // 10, 20)):
            made = mean_charts(random.standard_normal((2000, 5)), "standard deviation", arl0=ARL0)
            assert not isinstance(made, Refused)
            alarms.append(len(made[which].signals))
        return _shares(ARL0, alarms, 2000)

    return run


def residuals(n: int, random: Random) -> Simulated:
    """Model known, lag-one .8."""
    model = Autoregression(0.0, (0.8,), 1.0, 10**6)
    width, alarms = shewhart_width(ARL0), []
    for row in lfilter([1.0], [1.0, -0.8], random.standard_normal((n, 201)), axis=1):
        found = residual_chart(row, model, width).signals
        alarms.append(len(found))
    return _shares(ARL0, alarms, 200)


def t2_first(n: int, random: Random) -> Simulated:
    """Phase I: 60 vectors of 3 against themselves."""
    alarms = [len(_chart(t2_chart(random.standard_normal((60, 3)), 1 / ARL0)).signals) for _ in range(2 * n)]
    return _shares(ARL0, alarms, 60)


def t2_second(n: int, random: Random) -> Simulated:
    """Phase II: 60 new vectors of 3 against a baseline of 40, drawn anew each time."""
    alarms = []
    for _ in range(2 * n):
        base, new = random.standard_normal((40, 3)), random.standard_normal((60, 3))
        made = t2_chart(new, 1 / ARL0, base.mean(axis=0), np.cov(base.T), 40)
        alarms.append(len(_chart(made).signals))
    return _shares(ARL0, alarms, 60)


def wall_parts(n: int, random: Random) -> Simulated:
    """Eight sensors split by order, a baseline of 40 drawn anew each time; a reel may signal in several parts."""
    alarms = []
    for _ in range(2 * n):
        base = wall_baseline(0.4 + 0.005 * random.standard_normal((40, 8)))
        assert not isinstance(base, Refused)
        made = wall_chart(0.4 + 0.005 * random.standard_normal((60, 8)), base, 1 / ARL0)
        alarms.append(len({one.item for one in made.signals}))
    return _shares(ARL0, alarms, 60)


def wall_parts_first(n: int, random: Random) -> Simulated:
    """Eight sensors split by order, looking back on the 40 reels that set the limits."""
    alarms = []
    for _ in range(2 * n):
        walls = 0.4 + 0.005 * random.standard_normal((40, 8))
        base = wall_baseline(walls)
        assert not isinstance(base, Refused)
        alarms.append(len(wall_chart(walls, base, 1 / ARL0, "I").signals))
    return _shares(ARL0, alarms, 40)


def shares_of_runs(n: int, random: Random) -> Simulated:
    """Runs of 10 to 60 reels, one in eight bad, the share known; what the limits reach is computed exactly."""
    pieces = random.integers(10, 60, 200)
    alarms, computed = [], math.nan
    for _ in range(n):
        made = _chart(share_chart(random.binomial(pieces, 0.125), pieces, 1 / ARL0, 0.125))
        alarms.append(len(made.signals))
        assert made.arl0 is not None
        computed = made.arl0
    return _shares(computed, alarms, 200)


def counts(n: int, random: Random) -> Simulated:
    """Reels of unequal length, 1 to 6 faults expected, the rate known; what the limits reach is computed exactly.

    The chart withholds its figure where its counts fail the test of Poisson scatter, which one batch in twenty does by
    chance. Signals of those batches count all the same.
    """
    lengths = 1000.0 * random.uniform(1.0, 6.0, 200)
    alarms, computed = [], []
    for _ in range(n):
        made = _chart(u_chart(random.poisson(lengths / 1000.0), lengths, 1 / ARL0, 1.0))
        alarms.append(len(made.signals))
        computed += [] if made.arl0 is None else [made.arl0]
    assert len(set(computed)) == 1
    assert stats.binom.sf(n - len(computed) - 1, n, 0.05) > 1e-4
    return _shares(computed[0], alarms, 200)


def _gaps(together: int) -> Callable[[int, Random], Simulated]:
    def run(n: int, random: Random) -> Simulated:
        alarms = [
            len(_chart(gap_chart(x, 500.0, together, 1 / ARL0)).signals)
            for x in random.exponential(500.0, (n, 200 * together))
        ]
        return _shares(ARL0, alarms, 200)

    return run


def good_between(n: int, random: Random) -> Simulated:
    """One reel in twenty bad; the limits fall on whole reels, so the average is not 1 over alpha."""
    alarms, computed = [], math.nan
    for x in random.geometric(0.05, (n, 200)) - 1:
        made = _chart(g_chart(x, 0.05, 0.005))
        alarms.append(len(made.signals))
        assert made.arl0 is not None
        computed = made.arl0
    return _shares(computed, alarms, 200)


# --- with memory ------------------------------------------------------------------------------------------


def _ewma(as_drawn: bool) -> Callable[[int, Random], Simulated]:
    def run(n: int, random: Random) -> Simulated:
        w = 0.2
        width = ewma_width(ARL0, w)
        row = random.standard_normal(3000)
        made = _chart(ewma_chart(row, 0.0, 1.0, w, width))
        assert np.allclose(made.plotted, lfilter([w], [1.0, w - 1.0], row))

        def step(z: Array, x: Array, t: int) -> tuple[Array, NDArray[np.bool_]]:
            z = (1 - w) * z + w * x
            limit = made.upper[min(t - 1, 2999)] if as_drawn else made.upper[-1]
            return z, np.abs(z) > limit

        return _lengths(ewma_arl(w, width), _until(step, Random.standard_normal, np.zeros(10 * n), random))

    return run


def cusum(n: int, random: Random) -> Simulated:
    """Both sides, reference .5."""
    limit = cusum_limit(ARL0, 0.5)

    def step(s: Array, x: Array, _: int) -> tuple[Array, NDArray[np.bool_]]:
        s = np.maximum(0.0, s + np.column_stack([x, -x]) - 0.5)
        return s, (s > limit).any(axis=1)

    row = random.standard_normal(3000)
    state, by_hand = np.zeros((1, 2)), 0
    for t, x in enumerate(row, start=1):
        state, signal = step(state, np.array([x]), t)
        if signal[0]:
            by_hand = t
            break
    assert by_hand == _first(cusum_chart(row, 0.0, 1.0, 0.5, limit))
    return _lengths(
        cusum_arl(0.5, limit), _until(step, Random.standard_normal, np.zeros((10 * n, 2)), random)
    )


def mewma(n: int, random: Random) -> Simulated:
    """Three variables, weight .1."""
    w, p = 0.1, 3
    limit = mewma_limit(ARL0, w, p)

    def step(z: Array, x: Array, _: int) -> tuple[Array, NDArray[np.bool_]]:
        z = (1 - w) * z + w * x
        return z, (z**2).sum(axis=1) * (2 - w) / w > limit

    rows = random.standard_normal((3000, p))
    made = mewma_chart(rows, np.zeros(p), np.eye(p), w, limit, ARL0)
    z = lfilter([w], [1.0, w - 1.0], rows, axis=0)
    assert np.allclose(made.plotted, (z**2).sum(axis=1) * (2 - w) / w)
    drawn = _until(step, lambda r, m: r.standard_normal((m, p)), np.zeros((10 * n, p)), random)
    return _lengths(mewma_arl0(w, limit, p), drawn)


def gap_sums(n: int, random: Random) -> Simulated:
    """Exponential CUSUM of gaps, in faults, for five times the rate."""
    row = random.exponential(500.0, 3000)
    made = gap_cusum(row, 500.0, 5.0, ARL0)
    k, h = made.reference_m / 500.0, made.limit_m / 500.0

    def step(s: Array, x: Array, _: int) -> tuple[Array, NDArray[np.bool_]]:
        s = np.maximum(0.0, s + k - x)
        return s, s > h

    state, first = np.zeros(1), 0
    for t, x in enumerate(row):
        state, signal = step(state, np.array([x / 500.0]), t)
        if signal[0]:
            first = t
            break
    assert first == made.signals[0].item
    drawn = _until(step, Random.standard_exponential, np.zeros(10 * n), random)
    return _lengths(gap_cusum_arl(k, h), drawn)


def _rules(rules: tuple[RunRule, ...]) -> Callable[[int, Random], Simulated]:
    def run(n: int, random: Random) -> Simulated:
        lengths = []
        while len(lengths) < n:
            # A row that ends before its signal is drawn on: run lengths must not be cut off.
            row = np.zeros(0)
            while True:
                row = np.append(row, random.standard_normal(600))
                found = run_signals(row, 0.0, 1.0, rules)
                if found:
                    break
            lengths.append(float(found[0].item + 1))
        return _lengths(run_rules_arl(rules), np.array(lengths))

    return run


TRIALS: dict[str, Callable[[int, Random], Simulated]] = {
    "individuals chart": individuals,
    "individuals chart, limits of 12 reels": individuals_predicted(12),
    "individuals chart, limits of 100 reels": individuals_predicted(100),
    "mean chart": _subgroups(0),
    "s chart": _subgroups(1),
    "residual chart": residuals,
    "T^2 chart, phase I": t2_first,
    "T^2 chart, phase II": t2_second,
    "T^2 of wall sensors by order": wall_parts,
    "T^2 of wall sensors by order, phase I": wall_parts_first,
    "u-chart": counts,
    "p-chart": shares_of_runs,
    "chart of single gaps": _gaps(1),
    "chart of sums of five gaps": _gaps(5),
    "g-chart": good_between,
    "EWMA chart, limits run in": _ewma(False),
    "EWMA chart, limits as drawn": _ewma(True),
    "CUSUM chart": cusum,
    "multivariate EWMA": mewma,
    "CUSUM of gaps": gap_sums,
    "one point beyond 3": _rules((BEYOND_LIMIT,)),
    "limits and two of three beyond 2": _rules((BEYOND_LIMIT, TWO_OF_THREE)),
    "all four run rules": _rules(FOUR_RULES),
}


def simulate(name: str, repetitions: int, seed: int = 1) -> Simulated:
    """Run a trial with random numbers of its own."""
    return TRIALS[name](repetitions, np.random.default_rng([seed, sum(map(ord, name))]))


if __name__ == "__main__":
    print("chart,repetitions,computed,simulated,standard_error")
    for one in TRIALS:
        found = simulate(one, int(sys.argv[1]))
        print(
            f'"{one}",{sys.argv[1]},{found.computed:.3f},{found.simulated:.3f},{found.error:.3f}', flush=True
        )
