"""How often does such an interval hold the truth on wire like this? One look-up in the table of trials.

The table, ``coverage_grid.csv``, is what ``tests/statistics/coverage_trials.py`` found on invented wire of known truth,
from readings to the printed pair. A case is what can be seen of the wire: how many readings, how far they repeat each
other, and of what kind they are. Where no trial is like the case, or the interval held too seldom in one, there is no
interval.
"""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pipeline.messages import Code, message
from pipeline.notes import Note
from pipeline.reasons import Reason
from pipeline.results import Refused, Result

if TYPE_CHECKING:
    from pipeline.statistics.autocorrelation import EffectiveN

# A share under this is no interval; between it and 95 % the share itself is told (chosen here).
LEAST = 0.90
# Faults of a reel in the trials of fault rates (chosen here).
FAULTS_A_REEL = 3.0
# Faults from which on their scatter shows clusters of four (chosen here, by the trials).
ENOUGH_TO_SCATTER = 20
# Normal readings of which one run in so many has one as far out as stands for a notch (chosen here).
ALONE = 1000
# Readings from which on bunches of notches, one in 2,000 readings, show in 98 of 100 runs (chosen here).
ENOUGH_TO_SHOW_NOTCHES = 12_000
# Reels from which on a skewness of 1 shows, and share under which there is no index of reels (chosen here): few show
# too little of themselves to leave short cases out, so their share is told.
ENOUGH_TO_SHOW_SKEWNESS = 60
LEAST_OF_REELS = 0.85
# Answers a cell must have: the standard error of a share of 95 % is then under 2.5 % (chosen here).
FEWEST = 80


class TriedInterval(Code):
    """An interval that pages print."""

    REEL_RISK = "risk of a reel"
    INDEX_OF_REELS = "index of reels"
    INDEX_OF_READINGS = "index of readings"
    DRIFT = "drift"
    FAULT_RATE = "fault rate of reels"
    FAULT_RATE_OF_RUN = "fault rate of a run"
    FAULT_RATIO = "ratio of fault rates"


class TriedKind(Code):
    """What readings or counts look like."""

    NORMAL = "normal"
    SKEWED_THIN = "skewed thin"
    SKEWED_THICK = "skewed thick"
    BOUNDED = "bounded"
    RARE_NOTCHES = "rare notches"
    DIFFERENT_LEVELS = "reels of different level"
    CLUSTERS = "clusters"


@dataclass(frozen=True, slots=True)
class TriedCell:
    """One row of the table.

    Args:
        figure: whose interval.
        kind: of the invented readings.
        lag_one: their correlation.
        size: thousands of readings, a metre apart, or reels.
        repetitions: how many runs were invented.
        answered: how many of them gave an interval.
        held: share of these that held the truth.
        seed: of the random numbers.
        date: when it was found.
    """

    figure: TriedInterval
    kind: TriedKind
    lag_one: float
    size: float
    repetitions: int
    answered: int
    held: float
    seed: int
    date: str

    @property
    def standard_error(self) -> float:
        """Of the share; NaN where nothing was answered."""
        if self.answered == 0:
            return math.nan
        return math.sqrt(max(self.held * (1.0 - self.held), 0.5 / self.answered) / self.answered)


@cache
def cells() -> tuple[TriedCell, ...]:
    """The table of trials."""
    text = files("pipeline.steps").joinpath("coverage_grid.csv").read_text(encoding="utf-8")
    return tuple(
        TriedCell(
            TriedInterval(row["figure"]),
            TriedKind(row["kind"]),
            float(row["lag_one"]),
            float(row["size"]),
            int(row["repetitions"]),
            int(row["answered"]),
            float(row["held"] or "nan"),
            int(row["seed"]),
            row["date"],
        )
        for row in csv.DictReader(text.splitlines())
    )


def kind_of(values: NDArray[np.float64]) -> TriedKind:
    """What readings look like, by skewness and kurtosis: limits half-way between the kinds tried (chosen here)."""
    # Skewness and excess kurtosis as SciPy works them, whose checks cost ten times the sums.
    off = values - values.mean()
    square = off * off
    variance = float(square.mean())
    skewness = float((square * off).mean()) / variance**1.5
    kurtosis = float((square * square).mean()) / variance**2 - 3.0
    # A gamma law has a kurtosis of 1.5 times its squared skewness.
    if kurtosis - 1.5 * skewness**2 > (0.2 if abs(skewness) < 0.5 else 1.0):
        return TriedKind.RARE_NOTCHES
    if kurtosis < -0.7:
        return TriedKind.BOUNDED
    if abs(skewness) > 0.5:
        return TriedKind.SKEWED_THIN if skewness < 0.0 else TriedKind.SKEWED_THICK
    return TriedKind.RARE_NOTCHES if _stands_alone(values) else TriedKind.NORMAL


def _stands_alone(values: NDArray[np.float64]) -> bool:
    """Whether a reading lies farther out than that of so many independent normal ones would but once in `ALONE`."""
    middle = np.median(values)
    off = np.abs(values - middle)
    from scipy import stats  # here, so that pages start without it

    spread = float(np.median(off)) / float(stats.norm.ppf(0.75))
    return bool(off.max() > spread * float(stats.norm.isf(0.5 / (ALONE * values.size))))


def kinds_like(values: NDArray[np.float64], sense: str = "at least") -> tuple[TriedKind, ...]:
    """The kinds that readings may be of as seen from a limit.

    Notches that come singly or in bunches look the same; in few readings that look normal there may be such as do not
    show.

    Args:
        values: readings, none unknown.
        sense: "at least" or "at most"; trials were made against a lower limit.
    """
    kind = kind_of(values)
    if kind is TriedKind.RARE_NOTCHES:
        return kind, TriedKind.CLUSTERS
    if kind is TriedKind.NORMAL and values.size < ENOUGH_TO_SHOW_NOTCHES:
        return kind, TriedKind.RARE_NOTCHES, TriedKind.CLUSTERS
    return (_turned(kind, sense),)


def _turned(kind: TriedKind, sense: str) -> TriedKind:
    """The kind as it looks from the limit: from an upper one, thin and thick change places."""
    skewed = {TriedKind.SKEWED_THIN: TriedKind.SKEWED_THICK, TriedKind.SKEWED_THICK: TriedKind.SKEWED_THIN}
    return skewed.get(kind, kind) if sense == "at most" else kind


def kinds_of_reels(values: NDArray[np.float64], sense: str = "at least") -> tuple[TriedKind, ...]:
    """What values of reels may be, which show only their skewness: beyond one standard error or not.

    Few that look normal may come from either skewed kind.

    Args:
        values: one a reel, none unknown.
        sense: "at least" or "at most"; trials were made against a lower limit.
    """
    from scipy import stats  # here, so that pages start without it

    skewness = float(stats.skew(values))
    if abs(skewness) > math.sqrt(6.0 / values.size):
        return (_turned(TriedKind.SKEWED_THIN if skewness < 0.0 else TriedKind.SKEWED_THICK, sense),)
    if values.size < ENOUGH_TO_SHOW_SKEWNESS:
        return TriedKind.NORMAL, TriedKind.SKEWED_THIN, TriedKind.SKEWED_THICK
    return (TriedKind.NORMAL,)


def lag_one_of(worth: EffectiveN) -> float:
    """Lag one of the first-order autoregression that so many readings would be worth the same: (f - 1)/(f + 1)."""
    factor = worth.n / worth.for_mean
    return (factor - 1.0) / (factor + 1.0)


def cells_like(
    figure: TriedInterval, kinds: tuple[TriedKind, ...], lags: tuple[float, ...], size: float
) -> tuple[TriedCell, ...] | None:
    """The cells around a case: next smaller and next larger in size and correlation; None outside what was tried.

    What is estimated lies beyond the largest tried now and then: up to an (1 - lag one) of .65 times its own is let
    pass (chosen here).

    Args:
        figure: whose interval.
        kinds: kinds the case may be of.
        lags: correlations of neighbours it may have.
        size: thousands of readings, or reels.
    """
    near = around(figure, kinds, lags, size)
    if near is None:
        return None
    return tuple(
        one
        for one in cells()
        if one.figure is figure and one.kind in kinds and one.size in near[0] and one.lag_one in near[1]
    )


def around(
    figure: TriedInterval, kinds: tuple[TriedKind, ...], lags: tuple[float, ...], size: float
) -> tuple[frozenset[float], frozenset[float]] | None:
    """The tried sizes and correlations next to a case; None outside what was tried.

    Args:
        figure: whose interval.
        kinds: kinds the case may be of.
        lags: correlations of neighbours it may have.
        size: thousands of readings, or reels.
    """
    of_kind = [one for one in cells() if one.figure is figure and one.kind in kinds]
    sizes, tried = {one.size for one in of_kind}, {one.lag_one for one in of_kind}
    if not of_kind or size < 0.8 * min(sizes) or 1.0 - max(lags) < 0.65 * (1.0 - max(tried)):
        return None
    near = set().union(*(_around(tried, one) for one in lags))
    return frozenset(_around(sizes, size)), frozenset(near)


def _around(tried: set[float], value: float) -> set[float]:
    """The tried values next to one, on both sides; the nearest where it lies at it or beyond them all."""
    nearest = min(tried, key=lambda one: abs(one - value))
    below, above = [one for one in tried if one <= value], [one for one in tried if one > value]
    if abs(nearest - value) <= 0.1 * nearest or not (below and above):
        return {nearest}
    return {max(below), min(above)}


def rate_as_held(
    answer: Result | Refused, figure: TriedInterval, scatter: Result | Refused
) -> Result | Refused:
    """A fault rate or a ratio of two with the share of trials that held it, by its faults and how they scatter.

    Never refused for its share: a count on a length stands, and the share says how far its interval can be trusted.

    Args:
        answer: what the method gave.
        figure: whose interval it is.
        scatter: variance over mean of the counts; refused where so few show nothing.
    """
    if isinstance(answer, Refused):
        return answer
    kinds: tuple[TriedKind, ...] = (TriedKind.NORMAL, TriedKind.DIFFERENT_LEVELS, TriedKind.CLUSTERS)
    if isinstance(scatter, Result):
        if scatter.details["p_value"] < 0.05:
            kinds = kinds[1:]
        elif answer.n >= ENOUGH_TO_SCATTER:
            kinds = kinds[:2]
    smallest = min(one.size for one in cells() if one.figure is figure)
    return as_held(answer, figure, kinds, (0.0,), max(answer.n / FAULTS_A_REEL, smallest), 0.0)


def shares_told(like: tuple[TriedCell, ...]) -> list[float]:
    """The shares of cells around a case that count: of enough answers, or of few that held clearly too seldom.

    Args:
        like: the cells; none counts where none has enough answers.
    """
    enough = [one.held for one in like if one.answered >= FEWEST]
    poor = [one.held for one in like if one.answered and one.held + 2.0 * one.standard_error < LEAST]
    return enough + poor if enough else []


def as_held(
    answer: Result | Refused,
    figure: TriedInterval,
    kinds: tuple[TriedKind, ...],
    lags: tuple[float, ...],
    size: float,
    refuse_under: float = LEAST,
) -> Result | Refused:
    """The answer with the share of trials like it that held the truth; refused where too few did, or none was made.

    Args:
        answer: what the method gave.
        figure: whose interval it is.
        kinds: kinds the case may be of.
        lags: correlations of neighbours it may have.
        size: thousands of readings, or reels.
        refuse_under: share under which there is no interval.
    """
    if isinstance(answer, Refused):
        return answer
    held = shares_told(cells_like(figure, kinds, lags, size) or ())
    if not held:
        reason = message(Reason.NO_TRIAL_LIKE_THIS, lag_one=max(lags))
        return Refused(answer.question, answer.method, reason, answer.n)
    least, most = min(held), max(held)
    if least < refuse_under:
        reason = message(Reason.INTERVAL_HELD_TOO_SELDOM, least=100.0 * least)
        return Refused(answer.question, answer.method, reason, answer.n)
    note = message(Note.HELD_IN_TRIALS, least=100.0 * least, most=100.0 * most)
    return replace(
        answer,
        warnings=(*answer.warnings, note),
        details={**answer.details, "held_least": least, "held_most": most},
    )
