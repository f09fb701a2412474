"""Does the line's gauge agree with cut samples from the laboratory?

Both must be of the same wire and the same angle: the place is unsure by u(s), so the wall's own variation over
u(s) is in every difference. Agreement is told as bias and limits of agreement, and as a line with errors in
both; a correlation says nothing of it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from pipeline.messages import message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Refused, Result

Floats = NDArray[np.float64]

FEWEST_PAIRS = 5
# So that a study gives the same intervals whenever it is judged.
SEED = 1
_RESAMPLED = 2000


@dataclass(frozen=True, slots=True)
class Agreement:
    """Bias and limits of agreement of paired measurements.

    Args:
        bias: mean of line less laboratory, with its t interval.
        spread: standard deviation of the differences.
        low_limit: lower limit of agreement, bias - 1.96 s.
        high_limit: upper limit of agreement.
        limit_sd: standard error of a limit: s sqrt(1/n + 1.96^2/(2(n - 1))).
        limit_sd_short: the shorter form sqrt(3 s^2/n), a little small.
        p: probability of such a bias by chance.
        grows: whether the difference depends on the size measured (slope of difference on mean, p < 0.05).
    """

    bias: Result
    spread: float
    low_limit: float
    high_limit: float
    limit_sd: float
    limit_sd_short: float
    p: float
    grows: bool


def agreement(line: Floats, laboratory: Floats, unit: str = "mm") -> Agreement | Refused:
    """Bias and limits of agreement between the line's gauge and the laboratory.

    Args:
        line: the gauge's readings of the sampled wire, averaged as the sample is.
        laboratory: the laboratory's results.
        unit: unit of both.

    Returns:
        The agreement, or a refusal with fewer than five pairs.

    Source:
        J.M. Bland, D.G. Altman, Lancet 1986 i 307 (from memory); Stat. Methods Med. Res. 8 (1999) 135-160.
    """
    known = np.isfinite(line) & np.isfinite(laboratory)
    n = int(known.sum())
    if n < FEWEST_PAIRS:
        return Refused(
            asks(Quantity.GAUGE_BIAS),
            message(Method.LIMITS_OF_AGREEMENT),
            message(Reason.TOO_FEW_PAIRS, n=n, fewest_pairs=FEWEST_PAIRS),
            n,
        )
    apart = (line - laboratory)[known]
    middle = 0.5 * (line + laboratory)[known]
    bias, s = float(apart.mean()), float(apart.std(ddof=1))
    half = float(stats.t.isf(0.025, n - 1)) * s / float(np.sqrt(n))
    p = float(stats.ttest_1samp(apart, 0.0).pvalue) if s > 0 else (1.0 if bias == 0 else 0.0)
    slope_p = float(stats.linregress(middle, apart).pvalue) if s > 0 and float(np.ptp(middle)) > 0 else 1.0
    result = Result(
        question=asks(Quantity.GAUGE_BIAS),
        estimate=bias,
        low=bias - half,
        high=bias + half,
        confidence=0.95,
        unit=unit,
        method=message(Method.PAIRED_DIFFERENCES),
        n=n,
        effective_n=None,
        known_m=None,
        unit_of_inference="section average",
        warnings=(message(Note.BIAS_GROWS),) if slope_p < 0.05 else (),
    )
    return Agreement(
        result,
        s,
        bias - 1.96 * s,
        bias + 1.96 * s,
        s * float(np.sqrt(1.0 / n + 1.96**2 / (2.0 * (n - 1)))),
        float(np.sqrt(3.0 * s * s / n)),
        p,
        slope_p < 0.05,
    )


@dataclass(frozen=True, slots=True)
class FittedLine:
    """y = intercept + slope x with errors in both.

    Args:
        slope: slope.
        intercept: intercept.
        slope_low: lower end of its 95 % interval.
        slope_high: upper end.
        intercept_low: lower end of the intercept's interval.
        intercept_high: upper end.
        misfit: weighted sum of squares of what is left; NaN where no uncertainties are given.
        n: pairs.
    """

    slope: float
    intercept: float
    slope_low: float
    slope_high: float
    intercept_low: float
    intercept_high: float
    misfit: float
    n: int


def _demings(x: Floats, y: Floats, ratio: float) -> tuple[Floats, Floats]:
    """Slopes and intercepts of one line a row of `x` and `y`; NaN where a row does not slope."""
    mx, my = x.mean(axis=1), y.mean(axis=1)
    a, b = x - mx[:, None], y - my[:, None]
    sxx, syy, sxy = (a * a).sum(axis=1), (b * b).sum(axis=1), (a * b).sum(axis=1)
    gap = syy - ratio * sxx
    slopes = (gap + np.sqrt(gap * gap + 4.0 * ratio * sxy * sxy)) / np.where(sxy != 0, 2.0 * sxy, np.nan)
    return slopes, my - slopes * mx


def deming(x: Floats, y: Floats, ratio: float = 1.0) -> FittedLine | Refused:
    """Straight line with errors in both and one ratio of their variances.

    b = (S_yy - l S_xx + sqrt((S_yy - l S_xx)^2 + 4 l S_xy^2)) / (2 S_xy), l = var_y/var_x; l = 1 is the
    orthogonal line. Ordinary regression on a noisy x draws the slope towards 0 and is not offered.

    Args:
        x: first method's results.
        y: second method's.
        ratio: variance of y's error over x's.

    Returns:
        The line, its intervals by a bootstrap of pairs (percentile, 2000 samples, one seed), or a refusal with fewer
        than five pairs or no spread.

    Source:
        W.E. Deming, Statistical Adjustment of Data (1943), from memory; K. Pearson (1901) for l = 1.
    """
    known = np.isfinite(x) & np.isfinite(y)
    x, y = x[known], y[known]
    n = int(x.size)
    if n < FEWEST_PAIRS or not (np.ptp(x) > 0 and np.ptp(y) > 0):
        return Refused(
            asks(Quantity.METHOD_LINE),
            message(Method.DEMING),
            message(Reason.TOO_FEW_DIFFERING_PAIRS, fewest_pairs=FEWEST_PAIRS, n=n),
            n,
        )
    slope, intercept = (float(one[0]) for one in _demings(x[None, :], y[None, :], ratio))
    draws = np.random.default_rng(SEED).integers(0, n, (_RESAMPLED, n))
    slopes, intercepts = _demings(x[draws], y[draws], ratio)
    low, high = (
        np.array([np.nanpercentile(slopes, q), np.nanpercentile(intercepts, q)]) for q in (2.5, 97.5)
    )
    return FittedLine(
        slope,
        intercept,
        float(low[0]),
        float(high[0]),
        float(low[1]),
        float(high[1]),
        float("nan"),
        n,
    )


def line_with_errors_in_both(x: Floats, y: Floats, sd_x: Floats, sd_y: Floats) -> FittedLine | Refused:
    """Straight line with each pair's own uncertainties in both directions, by York's iteration.

    W_i = w_xi w_yi / (w_xi + b^2 w_yi), solved for b until it moves by less than 1e-14 of itself.

    Args:
        x: first method's results.
        y: second method's.
        sd_x: standard uncertainty of each x.
        sd_y: standard uncertainty of each y.

    Returns:
        The line with normal 95 % intervals from York's standard errors, or a refusal.

    Source:
        D. York, Can. J. Phys. 44 (1966) 1079-1086; D. York et al., Am. J. Phys. 72 (2004) 367.
    """
    n = int(x.size)
    if n < 3 or not (np.ptp(x) > 0) or not (np.all(sd_x > 0) and np.all(sd_y > 0)):
        return Refused(
            asks(Quantity.METHOD_LINE),
            message(Method.ERRORS_IN_BOTH),
            message(Reason.TOO_FEW_PAIRS_WITH_UNCERTAINTY),
            n,
        )
    wx, wy = 1.0 / sd_x**2, 1.0 / sd_y**2
    b = float(np.polynomial.polynomial.polyfit(x, y, 1, w=np.sqrt(wy))[1])
    for _ in range(500):
        w = wx * wy / (wx + b * b * wy)
        xm, ym = float((w @ x) / w.sum()), float((w @ y) / w.sum())
        u, v = x - xm, y - ym
        beta = w * (u / wy + b * v / wx)
        new = float((w * beta) @ v) / float((w * beta) @ u)
        done = abs(new - b) <= 1e-14 * abs(new)
        b = new
        if done:
            break
    a = ym - b * xm
    fitted = xm + beta
    fm = float((w @ fitted) / w.sum())
    sd_b = float(1.0 / np.sqrt(w @ (fitted - fm) ** 2))
    sd_a = float(np.sqrt(1.0 / w.sum() + fm**2 * sd_b**2))
    misfit = float(w @ (y - a - b * x) ** 2)
    return FittedLine(b, a, b - 1.96 * sd_b, b + 1.96 * sd_b, a - 1.96 * sd_a, a + 1.96 * sd_a, misfit, n)
