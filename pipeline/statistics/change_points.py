"""When did the wall or the eccentricity change, by how much, and what changed on the run sheet then?

PELT over squared error with a penalty from the long-run variance (plain variance calls changes that are mere
autocorrelation), and the CUSUM test for one change. R. Killick, P. Fearnhead & I. A.
Eckley, J. Amer. Statist. Assoc. 107 (2012) 1590; J. Bai, Econometric Theory 13 (1997) 315 for the interval.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from pipeline.arguments import checked
from pipeline.errors import Complaint, MethodRefusal
from pipeline.level_noise import best_split, beyond_chance, correlations, half_width, variance_of_difference
from pipeline.messages import Message, message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Refused
from pipeline.samples import positive, readings, share
from pipeline.statistics.segmentation import long_run_variance, pelt, place_quantile

METHOD = message(Method.PELT)
FEWEST = 20
# Simulated shifts, however many were called (tests/statistics/interval_coverage_found.csv).
HELD = message(Note.HELD_CHANGE_POINT)


@dataclass(frozen=True, slots=True)
class Shift:
    """Level of one value before and after a change.

    Args:
        before: level before.
        after: level after.
        size: after less before.
        low: lower end of the interval of the size.
        high: upper end.
    """

    before: float
    after: float
    size: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class ChangePoint:
    """One change.

    Args:
        item: first item after the change, from 0 in the order handed in.
        at: where it stands (m, or the item's number where no places were given).
        low: lower end of the interval of the place.
        high: upper end.
        shifts: what changed, one for each value (two for an eccentricity vector).
    """

    item: int
    at: float
    low: float
    high: float
    shifts: tuple[Shift, ...]


@dataclass(frozen=True, slots=True)
class Changes:
    """All changes found, in order.

    Args:
        changes: the changes.
        method: the method with its source.
        confidence: coverage the intervals aim at.
        penalty: cost of one more change, in units of the long-run variance.
        long_run_sd: root of the long-run variance of each value.
        white_sd: standard deviation of its scatter from reading to reading.
        n: items with a value.
        warnings: sentences a reader must see beside them.
        apart: items left out because they stand apart from the levels on both sides.
    """

    changes: tuple[ChangePoint, ...]
    method: Message
    confidence: float
    penalty: float
    long_run_sd: tuple[float, ...]
    white_sd: tuple[float, ...]
    n: int
    warnings: tuple[Message, ...]
    apart: int = 0

    @property
    def shown(self) -> tuple[ChangePoint, ...]:
        """The changes whose size is not nothing: where its interval holds zero, no level differs from the other."""
        return tuple(one for one in self.changes if one.shifts[0].low * one.shifts[0].high > 0.0)


@checked
def find_changes(
    values: ArrayLike,
    at_m: ArrayLike | None = None,
    confidence: float = 0.95,
    shortest: int = 5,
    long_run_sd: Sequence[float] | None = None,
) -> Changes | Refused:
    """Where the level of one value, or of several together, changed.

    The penalty is (p + 1) ln n long-run variances for p values: 2 s^2 (1 + phi)/(1 - phi) ln n for one. A place's
    interval is Bai's: +/- q LRV / size^2; a size's is that of a difference of means of a first-order
    autoregression whose correlation is not known but weighed by its restricted likelihood.

    Args:
        values: section averages in order (not single readings); a second column for a second value; an item with
            not-a-number is left out.
        at_m: place of each item [m]; without it, places are item numbers.
        confidence: coverage of the intervals.
        shortest: least items of a level; a stretch that stands apart for fewer is left out and told.
        long_run_sd: root of the long-run variance of each value from a run known to be steady. Without it the changes
            must stand out of wanders without a change that remember as these values do.

    Stops being true for drifts, which come out as stairs. Source: Killick et al. 2012; Bai 1997.
    """
    share(confidence, "confidence")
    rows, place, number = _rows(values, at_m)
    n, p = rows.shape
    lost = len(np.asarray(values)) - n
    question = asks(Quantity.CHANGE_POINT)
    if n < FEWEST:
        return Refused(
            question,
            METHOD,
            message(Reason.TOO_FEW_ITEMS_FOR_CHANGES, n=n, fewest=FEWEST),
            n,
        )
    variance = [long_run_variance(rows[:, j]) for j in range(p)]
    if min(one for one, _ in variance) <= 0.0:
        return Refused(question, METHOD, message(Reason.VALUES_DO_NOT_MOVE), n)
    scale = np.sqrt([one for one, _ in variance])
    if long_run_sd is not None:
        if len(long_run_sd) != p:
            raise MethodRefusal(
                Complaint("long_run_sd", f"{len(long_run_sd)} for {p} values", "Give one for each value")
            )
        scale = np.array([positive(one, "long_run_sd") for one in long_run_sd])
    penalty = (p + 1) * math.log(n)
    whole = (rows - np.median(rows, axis=0)) / scale
    # What stands at a level of its own for fewer items belongs to neither neighbour: a segment that had to hold some
    # of both would have a level that was never there.
    brief = _brief(pelt(whole, penalty), n, shortest)
    if n - int(brief.sum()) < FEWEST:
        brief[:] = False
    kept = np.flatnonzero(~brief)
    rows, place, number = rows[kept], place[kept], number[kept]
    starts = pelt(whole[kept], penalty, shortest)
    known = long_run_sd is not None
    if not known:
        split = best_split(rows, shortest)
        if not beyond_chance(rows, starts or (split,)):
            starts = ()
        elif not starts:
            # The penalty's variance may hold the change itself; the likelihood ratio does not.
            starts = (split,)
    edges = (0, *starts, len(rows))
    spread = scale if known else _left_over_sd(rows, edges)
    half = _half_if_known(scale, edges, confidence) if known else _half_of_sizes(rows, edges, confidence)
    changes = tuple(
        _change(rows, place, spread, edges[i : i + 3], half[i], confidence) for i in range(len(starts))
    )
    changes = tuple(
        replace(
            one,
            item=int(number[one.item]),
            low=min(one.low, float(place[one.item - 1])) if apart else one.low,
        )
        for one, apart in zip(changes, (kept[list(starts)] - kept[[s - 1 for s in starts]]) > 1, strict=True)
    )
    said = (message(Note.ITEMS_LEFT_OUT, lost=lost),) if lost else ()
    if brief.any():
        told = message(Note.ITEMS_STAND_APART, n=int(brief.sum()), shortest=shortest)
        said = (*said, told)
    if changes:
        said = (*said, HELD)
    return Changes(
        changes,
        METHOD,
        confidence,
        penalty,
        tuple(scale.tolist()),
        tuple(math.sqrt(w) for _, w in variance),
        n,
        said,
        int(brief.sum()),
    )


def _brief(starts: Sequence[int], n: int, shortest: int) -> NDArray[np.bool_]:
    """Items of segments of fewer than `shortest`."""
    edges = np.array([0, *starts, n])
    return np.repeat(np.diff(edges) < shortest, np.diff(edges))


def _half_if_known(
    scale: NDArray[np.float64], edges: Sequence[int], confidence: float
) -> NDArray[np.float64]:
    """Half width of every change's size, one row a change and one column a value, long-run sd known."""
    items = np.diff(edges)
    z = float(stats.norm.ppf((1 + confidence) / 2))
    return np.asarray(z * scale * np.sqrt(1 / items[:-1] + 1 / items[1:])[:, None], dtype=np.float64)


def _half_of_sizes(rows: NDArray[np.float64], edges: Sequence[int], confidence: float) -> NDArray[np.float64]:
    """Half width of every change's size, one row a change and one column a value.

    The difference of two means of a first-order autoregression, its variance averaged over the correlations that
    the departures from the levels leave possible, each weighed by its restricted likelihood; Student's t.
    """
    half = np.zeros((len(edges) - 2, rows.shape[1]))
    if len(edges) < 3:
        return half
    items, free = np.diff(edges), len(rows) - len(edges) + 1
    share_of = variance_of_difference(items[:-1], items[1:])
    for j in range(rows.shape[1]):
        weight, variance = correlations(rows[:, j], edges)
        for i in range(len(half)):
            half[i, j] = half_width(np.sqrt(variance * share_of[i]), weight, free, confidence)
    return half


def _left_over_sd(rows: NDArray[np.float64], edges: Sequence[int]) -> NDArray[np.float64]:
    """Root of the long-run variance about the levels found: s^2 (1 + r) / (1 - r), r the lag-1 correlation."""
    rest = rows.copy()
    for start, end in pairwise(edges):
        rest[start:end] -= rest[start:end].mean(axis=0)
    levels, n = len(edges) - 1, len(rows)
    variance = (rest**2).sum(axis=0) / max(n - levels, 1)
    r = (rest[1:] * rest[:-1]).sum(axis=0) / np.maximum((rest**2).sum(axis=0), 1e-300)
    # The means taken out pull the correlation down by about 1/n for each level.
    r = np.clip(r + levels / n, 0.0, 0.98)
    return np.asarray(np.sqrt(variance * (1 + r) / (1 - r)), dtype=np.float64)


def _rows(
    values: ArrayLike, at_m: ArrayLike | None
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.int64]]:
    """Known rows, their places, and which of the items handed in they are."""
    rows = np.asarray(values, dtype=np.float64)
    rows = rows[:, None] if rows.ndim == 1 else rows
    if rows.ndim != 2 or np.isinf(rows).any():
        raise MethodRefusal(
            Complaint("values", "is not a table of finite numbers", "Give one row for each item")
        )
    place = np.arange(len(rows), dtype=np.float64) if at_m is None else readings(at_m, "at_m")
    if place.size != len(rows):
        raise MethodRefusal(
            Complaint("at_m", f"{place.size} places for {len(rows)} items", "Give one for each item")
        )
    known = ~(np.isnan(rows).any(axis=1) | np.isnan(place))
    if (np.diff(place[known]) < 0).any():
        raise MethodRefusal(Complaint("at_m", "runs backwards", "Give items in the order of the wire"))
    return rows[known], place[known], np.flatnonzero(known)


def _change(
    rows: NDArray[np.float64],
    place: NDArray[np.float64],
    scale: NDArray[np.float64],
    edges: Sequence[int],
    half: NDArray[np.float64],
    confidence: float,
) -> ChangePoint:
    start, here, end = edges
    before, after = rows[start:here].mean(axis=0), rows[here:end].mean(axis=0)
    size = after - before
    strength = float(((size / scale) ** 2).sum())
    reach = math.ceil(place_quantile(confidence) / strength)
    low, high = max(here - reach, start), min(here + reach, end - 1)
    shifts = tuple(
        Shift(float(b), float(a), float(s), float(s - h), float(s + h))
        for b, a, s, h in zip(before, after, size, half, strict=True)
    )
    return ChangePoint(here, float(place[here]), float(place[low]), float(place[high]), shifts)


@dataclass(frozen=True, slots=True)
class OneChange:
    """The CUSUM test for one change.

    Args:
        change: the change at the place that splits the values best.
        statistic: largest |sum of departures from the mean| / (sqrt(n) long-run sd).
        p_value: chance of that without a change.
        n: items used.
    """

    change: ChangePoint
    statistic: float
    p_value: float
    n: int


@checked
def one_change(
    values: ArrayLike, at_m: ArrayLike | None = None, confidence: float = 0.95
) -> OneChange | Refused:
    """Test for a single change of the level, with its place and size.

    max_k |S_k - (k/n) S_n| / (sqrt(n) s), s^2 the long-run variance; the p-value is Kolmogorov's.

    Args:
        values: section averages in order; an item with not-a-number is left out.
        at_m: place of each item [m].
        confidence: coverage of the intervals.

    Source: Ploberger & Kraemer, Econometrica 60 (1992) 271 (from memory); place by least squares, interval of Bai
    1997.
    """
    share(confidence, "confidence")
    rows, place, _ = _rows(values, at_m)
    n = len(rows)
    question, method = asks(Quantity.CHANGE_POINT), message(Method.CUSUM_TEST)
    if n < FEWEST or rows.shape[1] != 1:
        return Refused(question, method, message(Reason.ONE_VALUE_AN_ITEM, fewest=FEWEST, n=n), n)
    variance, _ = long_run_variance(rows[:, 0])
    if variance <= 0.0:
        return Refused(question, method, message(Reason.VALUES_DO_NOT_MOVE), n)
    k = np.arange(1, n)
    departure = np.cumsum(rows[:, 0] - rows[:, 0].mean())[:-1]
    statistic = float(np.abs(departure).max()) / math.sqrt(n * variance)
    here = int((departure**2 / (k * (n - k))).argmax()) + 1
    edges = (0, here, n)
    half = _half_of_sizes(rows, edges, confidence)
    change = _change(rows, place, _left_over_sd(rows, edges), edges, half[0], confidence)
    return OneChange(change, statistic, float(stats.kstwobign.sf(statistic)), n)
