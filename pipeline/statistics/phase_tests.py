"""Do faults stand at one place of a turn? Tests of the phases of faults at a given period.

Rayleigh, Z^2_m, H, the test against a direction known beforehand (V) and Kuiper's. J. H. Zar, Biostatistical
Analysis, 5th ed. (2010), chapter 27; de Jager, Raubenheimer & Swanepoel, A&A 221 (1989) 180.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from pipeline.arguments import checked
from pipeline.samples import positive, whole_readings

FEW = 30
"""Number of faults below which H's p-value is simulated: the law is for many (own choice)."""


@dataclass(frozen=True, slots=True)
class PhaseTest:
    """One test of phases.

    Args:
        method: the test with its source.
        statistic: its value.
        p_value: how often faults placed anywhere reach that value.
        n: faults.
        resultant: length of the mean phase vector, 0 (spread) to 1 (all at one place of the turn).
        mean_turn: the mean phase as a share of a turn, 0 to 1.
    """

    method: str
    statistic: float
    p_value: float
    n: int
    resultant: float
    mean_turn: float


def _vectors(at_m: ArrayLike, period_m: float, harmonics: int) -> NDArray[np.complex128]:
    """Sum of the phase vectors of each harmonic, 1 to `harmonics`."""
    at = whole_readings(at_m, "at_m")
    turns = at / positive(period_m, "period_m", "m")
    order = np.arange(1, harmonics + 1)
    return np.asarray(np.exp(2j * np.pi * np.outer(order, turns)).sum(axis=1), dtype=np.complex128)


def _test(method: str, statistic: float, p_value: float, n: int, first: complex) -> PhaseTest:
    return PhaseTest(
        method=method,
        statistic=statistic,
        p_value=min(1.0, max(0.0, p_value)),
        n=n,
        resultant=abs(first) / n if n else 0.0,
        mean_turn=float(np.angle(first) / (2 * np.pi)) % 1.0 if n else 0.0,
    )


@checked
def rayleigh_p(n: ArrayLike, resultant_sum: ArrayLike) -> NDArray[np.float64]:
    """P-value of Rayleigh's test: exp(sqrt(1 + 4n + 4(n^2 - R^2)) - (1 + 2n)).

    Args:
        n: number of phases.
        resultant_sum: length R of their vector sum.

    Source: D. Wilkie, Appl. Statist. 32 (1983) 311; Zar 2010, eq. 27.4.
    """
    count, total = np.asarray(n, dtype=np.float64), np.asarray(resultant_sum, dtype=np.float64)
    root = np.sqrt(1 + 4 * count + 4 * np.maximum(count**2 - total**2, 0.0))
    return np.asarray(np.minimum(1.0, np.exp(root - (1 + 2 * count))), dtype=np.float64)


@checked
def rayleigh_test(at_m: ArrayLike, period_m: float) -> PhaseTest:
    """Rayleigh's z = n Rbar^2 at one period named beforehand.

    Args:
        at_m: positions of the faults [m].
        period_m: the period [m].

    Stops being true where two opposite places of a turn are marked, or faults come in bunches.
    """
    vector = _vectors(at_m, period_m, 1)
    n = np.asarray(at_m).size
    z = abs(vector[0]) ** 2 / n if n else 0.0
    p_value = float(rayleigh_p(n, abs(vector[0]))) if n else 1.0
    return _test("Rayleigh test (Zar 2010, eq. 27.4)", float(z), p_value, n, complex(vector[0]))


@checked
def z2_test(at_m: ArrayLike, period_m: float, harmonics: int = 2) -> PhaseTest:
    """Z^2_m = (2/n) sum over the first m harmonics of |sum exp(i k phase)|^2, chi-square with 2m degrees.

    Args:
        at_m: positions of the faults [m].
        period_m: the period [m].
        harmonics: m.

    Source: Buccheri et al., A&A 128 (1983) 245 (from memory). Large n; below about 30 faults use `h_test`.
    """
    vector = _vectors(at_m, period_m, harmonics)
    n = np.asarray(at_m).size
    value = float(2 / n * (np.abs(vector) ** 2).sum()) if n else 0.0
    return _test(
        f"Z^2 test, {harmonics} harmonics", value, float(stats.chi2.sf(value, 2 * harmonics)), n, vector[0]
    )


@checked
def h_test(at_m: ArrayLike, period_m: float, seed: int = 1, simulations: int = 4999) -> PhaseTest:
    """H = max over m = 1..20 of (Z^2_m - 4m + 4), for marks of any shape.

    p = exp(-0.4 H); below 30 faults by simulation, with a floor of 1 / (simulations + 1).

    Args:
        at_m: positions of the faults [m].
        period_m: the period [m].
        seed: start of the random numbers.
        simulations: how often chance is played for few faults.

    Source: de Jager, Raubenheimer & Swanepoel 1989; de Jager & Buesching, A&A 517 (2010) L9 for the p-value.
    """
    at = whole_readings(at_m, "at_m")
    turns = at / positive(period_m, "period_m", "m")
    value = float(_h(turns[None, :])[0])
    first = complex(_vectors(at, period_m, 1)[0])
    if at.size >= FEW or at.size == 0:
        p_value, how = math.exp(-0.4 * value), "p = exp(-0.4 H)"
    else:
        played = _h(np.random.default_rng(seed).uniform(size=(simulations, at.size)))
        p_value = (1 + int((played >= value - 1e-9).sum())) / (1 + simulations)
        how = "simulated"
    return _test(f"H test ({how})", value, p_value, at.size, first)


def _h(turns: NDArray[np.float64]) -> NDArray[np.float64]:
    """H of each row of phases, given in turns."""
    n = max(turns.shape[1], 1)
    z2, best = np.zeros(turns.shape[0]), np.full(turns.shape[0], -np.inf)
    step = np.exp(2j * np.pi * turns)
    power = np.ones_like(step)
    for harmonic in range(1, 21):
        power = power * step
        z2 = z2 + 2 / n * np.abs(power.sum(axis=1)) ** 2
        best = np.maximum(best, z2 - 4 * harmonic + 4)
    return best


@checked
def look_elsewhere(p_value: float, trials: float) -> float:
    """P-value after as many independent tries: 1 - (1 - p)^M.

    Args:
        p_value: p-value of the best try.
        trials: how many independent tries M; over a range of frequencies (f2 - f1) x total length at least.

    Source: Sidak, J. Amer. Statist. Assoc. 62 (1967) 626; for Rayleigh's test over a range, `event_repeats` counts
    the tries more exactly.
    """
    return float(-np.expm1(max(trials, 1.0) * np.log1p(-min(max(p_value, 0.0), 1 - 1e-16))))


@checked
def v_test(at_m: ArrayLike, period_m: float, turn: float) -> PhaseTest:
    """Test that faults stand at a place of the turn known beforehand (a weld, a seam): u = V sqrt(2/n).

    V = R cos(mean phase - known phase); the p-value is the normal's upper tail at u. The statistic is u.

    Args:
        at_m: positions of the faults [m].
        period_m: the period [m].
        turn: the known place, as a share of a turn.

    Source: Zar 2010, section 27.1, modified Rayleigh test.

    No page asks for it: where on a turn a mark stands is not on a line sheet; it carries the published
    example.
    """
    vector = complex(_vectors(at_m, period_m, 1)[0])
    n = np.asarray(at_m).size
    u = (vector * np.exp(-2j * np.pi * turn)).real * math.sqrt(2 / n) if n else 0.0
    return _test("V test (Zar 2010, section 27.1)", float(u), float(stats.norm.sf(u)), n, vector)


@checked
def kuiper_p(statistic: float) -> float:
    """Upper tail of Kuiper's V* for many phases: 2 sum (4 j^2 v^2 - 1) exp(-2 j^2 v^2).

    Args:
        statistic: V* = V (sqrt(n) + 0.155 + 0.24 / sqrt(n)).

    Source: M. A. Stephens, J. R. Statist. Soc. B 32 (1970) 115.

    No page asks for it: faults on a turn are tried by Rayleigh, Z2 and H, each paid for; it carries the
    published table of another.
    """
    if statistic < 0.4:
        return 1.0
    j = np.arange(1, 101)
    term = (j * statistic) ** 2
    return float(min(1.0, 2 * ((4 * term - 1) * np.exp(-2 * term)).sum()))


@checked
def kuiper_test(at_m: ArrayLike, period_m: float) -> PhaseTest:
    """Kuiper's V* = (D+ + D-)(sqrt(n) + 0.155 + 0.24/sqrt(n)) of the phases, for marks of any shape.

    Args:
        at_m: positions of the faults [m].
        period_m: the period [m].

    Source: Stephens 1970. Good from n = 8.

    No page asks for it: faults on a turn are tried by Rayleigh, Z2 and H, each paid for; this is another way.
    """
    at = whole_readings(at_m, "at_m")
    turns = np.sort((at / positive(period_m, "period_m", "m")) % 1.0)
    n = turns.size
    first = complex(_vectors(at, period_m, 1)[0])
    if n == 0:
        return _test("Kuiper test (Stephens 1970)", 0.0, 1.0, 0, first)
    rank = np.arange(1, n + 1)
    value = float((rank / n - turns).max() + (turns - (rank - 1) / n).max())
    star = value * (math.sqrt(n) + 0.155 + 0.24 / math.sqrt(n))
    return _test("Kuiper test (Stephens 1970)", star, kuiper_p(star), n, first)
