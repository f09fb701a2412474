"""Does a value with gaps in its record swing with a fixed length?

Lomb-Scargle periodogram with Baluev's false-alarm probability. That probability is for white noise only, so the
readings are prewhitened by a first-order autoregression over uneven steps before it is used. R. V. Baluev, MNRAS
385 (2008) 1279; J. D. Scargle, Astrophys. J. 263 (1982) 835.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import optimize, signal, special

from pipeline.arguments import checked
from pipeline.assumed import Assumed
from pipeline.errors import Complaint, MethodRefusal
from pipeline.messages import Measure, message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Refused, Result
from pipeline.samples import positive, readings

QUESTION = asks(Quantity.PERIOD)
METHOD = message(Method.LOMB_SCARGLE)
FEWEST = 20


@checked
def baluev_fap(power: float, n: int, highest: float, at_m: ArrayLike) -> float:
    """False-alarm probability of the standard Lomb-Scargle power z over all frequencies up to the highest.

    1 - (1 - F1) exp(-tau), F1 = (1 - z)^((N-3)/2), tau = g W (1 - z)^((N-4)/2) sqrt((N-1) z / 2),
    W = f_max sqrt(4 pi var t), g = sqrt(2/(N-1)) Gamma((N-1)/2) / Gamma((N-2)/2).

    Args:
        power: z, the share of the variance a sinusoid with its own level explains, 0 to 1.
        n: readings N.
        highest: highest frequency looked at [1/m].
        at_m: positions of the readings [m].

    White noise only; an upper bound that is close where the probability is small. Source: Baluev 2008.
    """
    if not 0.0 <= power <= 1.0:
        raise MethodRefusal(Complaint("power", f"{power:g} was given", "Give the standard power, 0 to 1"))
    if n < 5:
        raise MethodRefusal(Complaint("n", f"{n} readings was given", "Give at least 5"))
    left = 1.0 - power
    if left == 0.0:
        return 0.0
    single = left ** ((n - 3) / 2)
    factor = math.sqrt(2 / (n - 1)) * math.exp(
        float(special.gammaln((n - 1) / 2) - special.gammaln((n - 2) / 2))
    )
    spread = positive(highest, "highest", "1/m") * math.sqrt(
        4 * math.pi * float(np.var(readings(at_m, "at_m")))
    )
    crossings = factor * spread * left ** ((n - 4) / 2) * math.sqrt((n - 1) * power / 2)
    return -math.expm1(math.log1p(-min(single, 1 - 1e-16)) - crossings)


@dataclass(frozen=True, slots=True)
class Whitened:
    """Readings after the part that follows from the reading before was taken out.

    Args:
        at_m: positions, the first reading left out [m].
        values: one-step errors, all of one variance.
        memory_m: length over which the readings' correlation falls to 1/e [m]; 0 for none.
        lag_one: correlation of neighbouring errors that is left.
    """

    at_m: NDArray[np.float64]
    values: NDArray[np.float64]
    memory_m: float
    lag_one: float


@checked
def prewhiten(at_m: ArrayLike, values: ArrayLike) -> Whitened:
    """One-step errors of a first-order autoregression over uneven steps, its memory by maximum likelihood.

    e_i = (x_i - r_i x_{i-1}) / sqrt(1 - r_i^2), r_i = exp(-step_i / memory).

    Args:
        at_m: positions, rising [m].
        values: readings there, none missing.
    """
    at, x = readings(at_m, "at_m"), readings(values, "values")
    step = np.diff(at)
    away = x - x.mean()

    def errors(log_memory: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        keep = np.exp(-step / math.exp(log_memory))
        room = np.sqrt(np.maximum(1 - keep**2, 1e-12))
        return (away[1:] - keep * away[:-1]) / room, room

    def minus_log_likelihood(log_memory: float) -> float:
        error, room = errors(log_memory)
        return float(error.size / 2 * math.log(float(error @ error) / error.size) + np.log(room).sum())

    usual = float(np.median(step[step > 0])) if (step > 0).any() else 1.0
    bounds = (math.log(usual / 20), math.log(max(float(np.ptp(at)), usual) * 2))
    best = float(optimize.minimize_scalar(minus_log_likelihood, bounds=bounds, method="bounded").x)
    error, _ = errors(best)
    flat = error - error.mean()
    left = float(flat[1:] @ flat[:-1] / (flat @ flat))
    memory = math.exp(best)
    return Whitened(at[1:], error, memory if memory > usual / 4 else 0.0, left)


_TABLE = 1_000_000  # readings times frequencies worked at once


@checked
def gappy_period(at_m: ArrayLike, values: ArrayLike, shortest_m: float, longest_m: float) -> Result | Refused:
    """The strongest period between two lengths, with its false-alarm probability over all of them.

    Args:
        at_m: positions, rising; any spacing [m].
        values: readings there; not-a-number where there is none.
        shortest_m: shortest period looked at [m].
        longest_m: longest period looked at [m].

    Stops being true for noise that a first-order autoregression does not describe (told in `assumptions`).
    Source: Baluev 2008; sd of the frequency as for even readings (Cramer-Rao bound).
    """
    at, x = readings(at_m, "at_m"), readings(values, "values")
    if at.size != x.size:
        raise MethodRefusal(Complaint("at_m", f"{at.size} places for {x.size} values", "Give one for each"))
    known = ~(np.isnan(at) | np.isnan(x))
    at, x = at[known], x[known]
    if at.size and (np.diff(at) <= 0).any():
        raise MethodRefusal(
            Complaint("at_m", "does not rise from each reading to the next", "Give each place once, in order")
        )
    if positive(longest_m, "longest_m", "m") <= positive(shortest_m, "shortest_m", "m"):
        raise MethodRefusal(
            Complaint("longest_m", f"{longest_m:g} m is not above {shortest_m:g} m", "Give a longer length")
        )
    if at.size < FEWEST:
        return Refused(
            QUESTION,
            METHOD,
            message(Reason.TOO_FEW_READINGS, n=at.size, fewest=FEWEST),
            at.size,
        )
    if float(np.ptp(x)) == 0.0:
        return Refused(QUESTION, METHOD, message(Reason.READINGS_DO_NOT_MOVE), at.size)
    span = float(np.ptp(at))
    if span < 2 * longest_m:
        reason = message(
            Reason.PERIOD_NEEDS_TWO_TURNS, longest_m=Measure(longest_m, "m"), span=Measure(span, "m")
        )
        return Refused(QUESTION, METHOD, reason, at.size)
    usual = float(np.median(np.diff(at)))
    white = prewhiten(at, x)
    grid = np.linspace(
        1 / longest_m, 1 / shortest_m, math.ceil((1 / shortest_m - 1 / longest_m) * span * 8) + 2
    )
    power = _power(white.at_m, white.values, grid)
    frequency, top = _refined(white, grid, int(power.argmax()))
    fap = baluev_fap(top, white.values.size, float(grid[-1]), white.at_m)
    return _answer(at, x, frequency, fap, top, white, usual, shortest_m)


def _refined(white: Whitened, grid: NDArray[np.float64], best: int) -> tuple[float, float]:
    """The frequency between the grid's neighbours where the power is greatest, and that power.

    The grid's step is coarser than the uncertainty of a strong period.
    """
    bounds = (float(grid[max(best - 1, 0)]), float(grid[min(best + 1, grid.size - 1)]))
    found = optimize.minimize_scalar(
        lambda f: -float(_power(white.at_m, white.values, np.array([f, f]))[0]),
        bounds=bounds,
        options={"xatol": 1e-12},
    )
    return float(found.x), -float(found.fun)


def _power(
    at: NDArray[np.float64], x: NDArray[np.float64], frequency: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Standard power of each frequency: share of the variance explained by a sinusoid with its own level."""
    angular = 2 * np.pi * frequency
    # The library makes tables of readings by frequencies: a part at a time, so that a day's fit into memory.
    step = max(1, _TABLE // max(at.size, 1))
    # Of one frequency alone it returns no array.
    parts = [
        np.atleast_1d(
            signal.lombscargle(at, x, angular[start : start + step], normalize=True, floating_mean=True)
        )
        for start in range(0, angular.size, step)
    ]
    return np.clip(np.concatenate(parts, dtype=np.float64), 0.0, 1.0)


def _answer(
    at: NDArray[np.float64],
    x: NDArray[np.float64],
    frequency: float,
    fap: float,
    power: float,
    white: Whitened,
    usual: float,
    shortest_m: float,
) -> Result:
    design = np.column_stack(
        [np.ones(at.size), np.sin(2 * np.pi * frequency * at), np.cos(2 * np.pi * frequency * at)]
    )
    part, *_ = np.linalg.lstsq(design, x, rcond=None)
    amplitude = math.hypot(float(part[1]), float(part[2]))
    n = white.values.size
    # In the prewhitened readings the sinusoid's own amplitude over the noise is sqrt(2 z / (1 - z)).
    ratio = math.sqrt(2 * power / max(1 - power, 1e-12))
    f_sd = math.sqrt(6 / n) / (math.pi * float(np.ptp(at)) * ratio) if ratio > 0 else math.inf
    period, p_sd = 1 / frequency, f_sd / frequency**2
    said = []
    if shortest_m < 2 * usual:
        said.append(
            message(Note.PERIOD_MAY_BE_AN_ALIAS, usual=Measure(usual, "m"), usual_2=Measure(2 * usual, "m"))
        )
    if fap > 0.05:
        said.append(message(Note.STRONGEST_OF_CHANCE))
    return Result(
        question=QUESTION,
        estimate=period,
        low=period - 1.96 * p_sd,
        high=period + 1.96 * p_sd,
        confidence=0.95,
        unit="m",
        method=METHOD,
        n=at.size,
        effective_n=None,
        known_m=None,
        unit_of_inference="section average",
        assumptions=(
            Assumption(
                message(Assumed.NOISE_AUTOREGRESSIVE),
                abs(white.lag_one) < 2.6 / math.sqrt(n),
                message(
                    Note.MEMORY_OF_THE_NOISE, memory_m=Measure(white.memory_m, "m"), lag_one=white.lag_one
                ),
            ),
        ),
        warnings=tuple(said),
        details={"amplitude": amplitude, "period_sd_m": p_sd, "p_value": fap, "power": power},
    )
