"""Is one fault rate really higher than another, and by how much?

Two Poisson rates are compared by one method fixed beforehand, and always with the interval of their ratio:
near p = 0.05 the methods disagree, and choosing among them after the fact is no test.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special, stats

from pipeline.arguments import checked
from pipeline.departures import scatter_of_faults
from pipeline.errors import Complaint, MethodRefusal
from pipeline.messages import Message, message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Refused, Result
from pipeline.samples import counts, positive, share

RateTest = Literal["mid-p", "E-test", "conditional exact"]
SOURCES: dict[str, Message] = {
    "mid-p": message(Method.CONDITIONAL_MID_P),
    "E-test": message(Method.E_TEST),
    "conditional exact": message(Method.CONDITIONAL_EXACT),
}
QUESTION = asks(Quantity.FAULT_RATE_RATIO)


class RateRatio(NamedTuple):
    """Interval of a ratio of two rates."""

    low: float
    high: float


@checked
def compare_rates(
    count_1: int,
    known_1_m: float,
    count_2: int,
    known_2_m: float,
    test: RateTest = "mid-p",
    confidence: float = 0.95,
    dispersion: Result | Refused | None = None,
) -> Result | Refused:
    """Ratio of two fault rates with its exact interval and the p-value of the one method chosen.

    Given all n = n1 + n2 faults, n1 is binomial with p = R E1 / (R E1 + E2), R the ratio of the rates, E the
    lengths. The interval is Clopper and Pearson's for p, turned into R. `details` holds `p_value` and the
    mid-p interval, `mid_p_low` and `mid_p_high`.

    Args:
        count_1: separate faults on the first length.
        known_1_m: first length, with a working detector [m].
        count_2: separate faults on the second length.
        known_2_m: second length, with a working detector [m].
        test: the method, fixed in the plant's specification; mid-p by default (own choice).
        confidence: coverage aimed at.
        dispersion: variance over mean of counts about the rate of their own side, phi, as of
            `pipeline.statistics.event_clustering.dispersion_of_counts`; None or refused: not checked, and said so.

    Where faults scatter more than Poisson's, each count is worth 1/phi of itself, and the quantiles and the p-value
    are those of Student's t on the lengths counted (quasi-likelihood, McCullagh and Nelder 1989, section 6.2).
    Source: Przyborowski & Wilenski, Biometrika 31 (1940) 313-323; Clopper & Pearson, Biometrika 26 (1934).
    """
    if test not in SOURCES:
        raise MethodRefusal(Complaint("test", f"'{test}' is not known", f"Give one of: {', '.join(SOURCES)}"))
    share(confidence, "confidence")
    n1, n2 = (int(n) for n in counts([count_1, count_2], "count_1, count_2"))
    e1, e2 = positive(known_1_m, "known_1_m", "m"), positive(known_2_m, "known_2_m", "m")
    if n1 + n2 == 0:
        return Refused(
            question=QUESTION,
            method=SOURCES[test],
            reason=message(Reason.NO_FAULT_ON_EITHER),
            n=0,
        )
    scatter, phi, freedom = scatter_of_faults(dispersion)
    if phi > 1.0:
        wide = 1.0 - 2.0 * float(stats.norm.sf(stats.t.isf((1.0 - confidence) / 2.0, freedom)))
        exact = half = _exact_ratio(n1 / phi, n2 / phi, e1, e2, wide)
        p_value = _p_of_scattered(n1, n2, e1, e2, phi, freedom)
    else:
        exact = _exact_ratio(n1, n2, e1, e2, confidence)
        half = _mid_p_ratio(n1, n2, e1, e2, confidence)
        p_value = rate_p_value(n1, e1, n2, e2, test)
    return Result(
        question=QUESTION,
        estimate=math.inf if n2 == 0 else (n1 / e1) / (n2 / e2),
        low=exact.low,
        high=exact.high,
        confidence=confidence,
        unit="",
        method=message(Method.RATE_RATIO, test=SOURCES[test]),
        n=n1 + n2,
        effective_n=None,
        known_m=known_1_m + known_2_m,
        unit_of_inference="event",
        assumptions=(scatter,),
        warnings=_marginal(p_value, exact, confidence),
        details={"p_value": p_value, "mid_p_low": half.low, "mid_p_high": half.high, "dispersion": phi},
    )


def _p_of_scattered(n1: int, n2: int, e1: float, e2: float, phi: float, freedom: float) -> float:
    """Two-sided p-value that both rates are equal: the score test over phi, F on 1 and so many degrees."""
    expected = (n1 + n2) * e1 / (e1 + e2)
    score = (n1 - expected) ** 2 / (expected * e2 / (e1 + e2)) / phi
    return float(stats.f.sf(score, 1, freedom))


def _marginal(p_value: float, exact: RateRatio, confidence: float) -> tuple[Message, ...]:
    """A sentence where the test and the exact interval do not say the same."""
    by_test = p_value < 1.0 - confidence
    by_interval = not exact.low <= 1.0 <= exact.high
    if by_test == by_interval:
        return ()
    said = message(
        Note.TEST_AND_INTERVAL_DISAGREE,
        p_value=p_value,
        low=exact.low,
        high=exact.high,
        confidence=100 * confidence,
    )
    return (said,)


@checked
def rate_p_value(count_1: int, known_1: float, count_2: int, known_2: float, test: RateTest) -> float:
    """Two-sided p-value that both rates are equal.

    Args:
        count_1: faults on the first length.
        known_1: the first length, in any unit.
        count_2: faults on the second length.
        known_2: the second length, in the same unit.
        test: 'mid-p', 'E-test' or 'conditional exact'.

    Source: as `compare_rates`; the E-test is scipy.stats.poisson_means_test.
    """
    if test == "E-test":
        return float(stats.poisson_means_test(count_1, known_1, count_2, known_2).pvalue)
    fair = known_1 / (known_1 + known_2)
    n = count_1 + count_2
    if test == "conditional exact":
        return float(stats.binomtest(count_1, n, fair).pvalue)
    return float(_mid_p(np.array([count_1]), np.array([n]), fair)[0])


def _mid_p(count_1: NDArray[np.int64], n: NDArray[np.int64], fair: float) -> NDArray[np.float64]:
    point = stats.binom.pmf(count_1, n, fair)
    above = stats.binom.sf(count_1, n, fair) + point / 2
    return np.asarray(np.minimum(1.0, 2 * np.minimum(above, 1 - above)), dtype=np.float64)


def _exact_ratio(n1: float, n2: float, e1: float, e2: float, confidence: float) -> RateRatio:
    tail = (1 - confidence) / 2
    low = 0.0 if n1 == 0 else float(stats.beta.ppf(tail, n1, n2 + 1))
    high = 1.0 if n2 == 0 else float(stats.beta.ppf(1 - tail, n1 + 1, n2))
    return RateRatio(_ratio_of(low, e1, e2), _ratio_of(high, e1, e2))


def _mid_p_ratio(n1: int, n2: int, e1: float, e2: float, confidence: float) -> RateRatio:
    """Interval that holds the ratios which the mid-p test does not reject; by bisection on p."""
    tail = (1 - confidence) / 2

    def above(p: float) -> float:
        # P(more than n1) and half of P(n1): the mean of P(more) and P(as many or more), each an incomplete beta.
        more = float(special.betainc(n1 + 1, n2, p)) if n2 else 0.0
        return (more + (float(special.betainc(n1, n2 + 1, p)) if n1 else 1.0)) / 2.0

    low, high = 0.0, 1.0
    if n1 > 0:
        low = _bisect(lambda p: above(p) - tail)
    if n2 > 0:
        high = _bisect(lambda p: above(p) - (1 - tail))
    return RateRatio(_ratio_of(low, e1, e2), _ratio_of(high, e1, e2))


def _bisect(rising: Callable[[float], float]) -> float:
    return float(optimize.brentq(rising, 1e-15, 1 - 1e-15, xtol=1e-14))


def _ratio_of(p: float, e1: float, e2: float) -> float:
    return math.inf if p >= 1.0 else p / (1 - p) * e2 / e1


@checked
def power_of_comparison(
    rate_1_per_km: float,
    rate_2_per_km: float,
    known_1_m: float,
    known_2_m: float,
    test: Literal["mid-p", "conditional exact"] = "mid-p",
) -> float:
    """Chance that the comparison finds the difference, summed exactly over all pairs of counts.

    Args:
        rate_1_per_km: true rate of the first [1/km].
        rate_2_per_km: true rate of the second [1/km].
        known_1_m: length of the first [m].
        known_2_m: length of the second [m].
        test: the method.

    Source: derived; the sum is over the product of two Poisson distributions.
    """
    e1, e2 = positive(known_1_m, "known_1_m", "m") / 1000, positive(known_2_m, "known_2_m", "m") / 1000
    rates = positive(rate_1_per_km, "rate_1_per_km", "1/km"), positive(rate_2_per_km, "rate_2_per_km", "1/km")
    means = rates[0] * e1, rates[1] * e2
    first, second = (np.arange(int(stats.poisson.ppf(1 - 1e-9, mean)) + 1) for mean in means)
    weight = stats.poisson.pmf(first, means[0])[:, None] * stats.poisson.pmf(second, means[1])
    n = first[:, None] + second
    fair = e1 / (e1 + e2)
    ours = np.broadcast_to(first[:, None], n.shape)
    p_value = _mid_p(ours, n, fair) if test == "mid-p" else _small_p(n, fair)
    return float(weight[(p_value < 0.05) & (n > 0)].sum())


def _small_p(n: NDArray[np.int64], fair: float) -> NDArray[np.float64]:
    """p-values of the conditional exact test for every pair of counts, one total at a time."""
    p_value = np.ones(n.shape)
    first = np.broadcast_to(np.arange(n.shape[0])[:, None], n.shape)
    for total in range(int(n.max()) + 1):
        at = n == total
        point = stats.binom.pmf(np.arange(total + 1), total, fair)
        rank = np.sort(point)
        cumulated = np.append(0.0, np.cumsum(rank))
        found = np.searchsorted(rank, point * (1 + 1e-7), side="right")
        p_value[at] = np.minimum(1.0, cumulated[found])[first[at]]
    return p_value
