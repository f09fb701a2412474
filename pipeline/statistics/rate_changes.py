"""When did a fault rate change, and from what to what?

One change of a Poisson rate along counts with unequal length behind them. A. E. Raftery & V. E. Akman, Biometrika
73 (1986) 85.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from pipeline.arguments import checked
from pipeline.errors import Complaint, MethodRefusal
from pipeline.messages import message
from pipeline.methods import Method
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Refused
from pipeline.samples import counts as whole_counts
from pipeline.samples import positive_readings, share


@dataclass(frozen=True, slots=True)
class RateChange:
    """One change of a fault rate.

    Args:
        item: first item after the change.
        low: first item of the interval of the place (95 % or as asked, of the posterior).
        high: last item of it.
        before_per_km: rate before [1/km].
        after_per_km: rate after [1/km].
        twice_log_ratio: twice the log likelihood ratio against no change.
        p_value: chance of that without a change, by simulation.
        n: faults.
        posterior: probability of each item from 1 on to be the first after the change, given that there is one.
    """

    item: int
    low: int
    high: int
    before_per_km: float
    after_per_km: float
    twice_log_ratio: float
    p_value: float
    n: int
    posterior: NDArray[np.float64]


@checked
def rate_change(
    counts: ArrayLike, known_m: ArrayLike, confidence: float = 0.95, simulations: int = 999, seed: int = 1
) -> RateChange | Refused:
    """When a fault rate changed: maximum likelihood over all places, p-value by spreading the faults by chance.

    The interval holds the middle `confidence` of the posterior of the place (Jeffreys' prior on both rates, every
    place alike).

    Args:
        counts: separate faults of each item (reel, shift), in order.
        known_m: known length of each item [m].
        confidence: probability of the interval.
        simulations: how often chance is played.
        seed: start of the random numbers.

    Stops being true for clustered faults: a cluster looks like a change. Source: A. E. Raftery & V. E. Akman,
    Biometrika 73 (1986) 85; method: derived.
    """
    share(confidence, "confidence")
    c, km = whole_counts(counts, "counts"), positive_readings(known_m, "known_m", "m") / 1000
    if c.size != km.size:
        raise MethodRefusal(
            Complaint("known_m", f"{km.size} lengths for {c.size} counts", "Give one for each")
        )
    n = int(c.sum())
    if c.size < 4 or n < 4:
        reason = message(Reason.TOO_FEW_FAULTS_FOR_A_CHANGE, n=n, n_2=c.size)
        return Refused(asks(Quantity.FAULT_RATE_CHANGE), message(Method.POISSON_CHANGE), reason, n)
    ratio = _log_ratio(c, km)
    best = int(ratio.argmax())
    played = np.random.default_rng(seed).multinomial(n, km / km.sum(), simulations)
    reached = int((_log_ratio(played, km).max(axis=1) >= ratio[best] - 1e-9).sum())
    first, length = np.cumsum(c)[:-1], np.cumsum(km)[:-1]
    second, rest = n - first, km.sum() - length
    log = special.gammaln(first + 0.5) - (first + 0.5) * np.log(length)
    log = log + special.gammaln(second + 0.5) - (second + 0.5) * np.log(rest)
    posterior = np.exp(log - log.max())
    posterior = posterior / posterior.sum()
    mass = np.cumsum(posterior)
    tail = (1 - confidence) / 2
    return RateChange(
        item=best + 1,
        low=int(np.searchsorted(mass, tail)) + 1,
        high=int(np.searchsorted(mass, 1 - tail)) + 1,
        before_per_km=float(first[best] / length[best]),
        after_per_km=float(second[best] / rest[best]),
        twice_log_ratio=float(2 * ratio[best]),
        p_value=(1 + reached) / (1 + simulations),
        n=n,
        posterior=np.asarray(posterior, dtype=np.float64),
    )


def _log_ratio(c: NDArray[np.float64] | NDArray[np.int64], km: NDArray[np.float64]) -> NDArray[np.float64]:
    """Log likelihood ratio of a change before each item from 1 on, against none."""
    first = np.cumsum(c, axis=-1, dtype=np.float64)[..., :-1]
    n = np.asarray(c.sum(axis=-1, keepdims=True), dtype=np.float64)
    length = np.cumsum(km)[:-1]
    whole = km.sum()
    later = n - first
    one = special.xlogy(first, first / length) + special.xlogy(later, later / (whole - length))
    return np.asarray(one - special.xlogy(n, n / whole), dtype=np.float64)
