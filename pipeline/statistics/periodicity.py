"""Does the wall or the diameter swing with a fixed length along the wire, and how much?

Welch's spectrum over uniform length against a background that is red, as every extrusion's is: a white
background calls periods that are not there. P. D. Welch, IEEE Trans. Audio 15 (1967) 70.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import interpolate, linalg, optimize, stats

from pipeline.arguments import checked
from pipeline.assumed import Assumed
from pipeline.errors import Complaint, MethodRefusal
from pipeline.fourier_sums import NearSums, pays, strength
from pipeline.messages import Measure, Message, message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Refused, Result
from pipeline.samples import positive, readings, share

QUESTION = asks(Quantity.PERIOD)
METHOD = message(Method.WELCH_RED)
FEWEST = 64
KNOT_BINS = 12
STEADY = 0.7
"""Share of a swing's power that one sinusoid over the whole length must explain to be called steady."""
WANDERS = message(Note.SWING_LOSES_STEP)


@dataclass(frozen=True, slots=True)
class Spectrum:
    """Averaged spectrum over length and what each bin would be without a period.

    Args:
        frequency: frequency of each bin [1/m].
        power: power density of each bin [unit^2 m].
        background: power density without any period, as fitted [unit^2 m].
        p_value: chance that a bin of mere background reaches its power.
        averages: independent pieces averaged, overlap accounted for.
        left_out_m: length in pieces with a missing reading, not used [m].
    """

    frequency: NDArray[np.float64]
    power: NDArray[np.float64]
    background: NDArray[np.float64]
    p_value: NDArray[np.float64]
    averages: float
    left_out_m: float


@dataclass(frozen=True, slots=True)
class Periods:
    """The periods found, and the spectrum they were found in.

    Args:
        found: one result for each period, the surest first: estimate in m; `details` holds amplitude,
            its interval, `period_sd_m`, `p_value` over all bins, `share_of_variance`, `coherence`, `comb` (number
            of the comb of harmonics it belongs to) and `harmonic` (its place in it).
        spectrum: the spectrum.
        verdict: the answer.
        warnings: sentences a reader must see beside it.
    """

    found: tuple[Result, ...]
    spectrum: Spectrum
    verdict: Message
    warnings: tuple[Message, ...]


@checked
def spectrum(values: ArrayLike, step_m: float, segments: int = 16) -> Spectrum | Refused:
    """Welch spectrum (Hann, half overlap, trend removed in each piece) with its red background.

    Bins: P / S is chi-square with 2K degrees over 2K, K = 18 n^2 / (19 n - 1) for n half-overlapping pieces; as S
    is fitted too, F with 2K and 24K degrees is used.

    Args:
        values: values at equal steps; pieces with not-a-number are left out.
        step_m: the step [m].
        segments: pieces the length is cut into; 16 by default.

    Source: Welch 1967 (effective number of pieces for the Hann window: Percival & Walden, Spectral Analysis,
    1993, section 6.17, from memory). A drift slower than three pieces cannot be told from a period.
    """
    x = readings(values, "values")
    step = positive(step_m, "step_m", "m")
    size = int(2 * x.size // (segments + 1))
    if size < FEWEST // 2:
        reason = message(
            Reason.TOO_FEW_FOR_PIECES, n=x.size, segments=segments, fewest=FEWEST // 4 * (segments + 1)
        )
        return Refused(QUESTION, METHOD, reason, x.size)
    windows = np.lib.stride_tricks.sliding_window_view(x, size)[:: size // 2]
    whole = windows[~np.isnan(windows).any(axis=1)]
    if len(whole) < 4:
        reason = message(Reason.TOO_FEW_WHOLE_PIECES, whole=len(whole), windows=len(windows))
        return Refused(QUESTION, METHOD, reason, x.size)
    power = _averaged(whole, step)
    if power.max() <= 1e-20 * (float(np.abs(whole).max()) ** 2 * step + 1e-300):
        return Refused(QUESTION, METHOD, message(Reason.READINGS_DO_NOT_MOVE), x.size)
    n = len(whole)
    averages = 18 * n * n / (19 * n - 1) if n > 1 else 1.0
    frequency: NDArray[np.float64] = np.asarray(np.fft.rfftfreq(size, step), dtype=np.float64)
    # The trend takes bin 0 and most of bin 1; two readings a turn show no amplitude, nor do the bins beside.
    use = slice(2, -3)
    frequency, power = frequency[use].astype(np.float64), power[use]
    background = _background(frequency, power, averages)
    # The background is itself estimated, from about 12 bins a knot: F in place of chi-square.
    p_value = stats.f.sf(power / background, 2 * averages, 2 * averages * KNOT_BINS)
    return Spectrum(
        frequency,
        power,
        background,
        np.asarray(p_value),
        averages,
        float(np.isnan(x).sum() * step),
    )


def _averaged(pieces: NDArray[np.float64], step: float) -> NDArray[np.float64]:
    size = pieces.shape[1]
    along = np.arange(size) - (size - 1) / 2
    flat = pieces - pieces.mean(axis=1, keepdims=True)
    flat = flat - np.outer(flat @ along / (along @ along), along)
    taper = np.hanning(size + 1)[:size]
    amplitude = np.abs(np.fft.rfft(flat * taper, axis=1)) ** 2
    return np.asarray(2 * step * amplitude.mean(axis=0) / (taper @ taper), dtype=np.float64)


def _background(
    frequency: NDArray[np.float64], power: NDArray[np.float64], averages: float
) -> NDArray[np.float64]:
    """Smooth log spectrum by least absolute error: cubic splines over log frequency, 12 bins a knot at least.

    A line is one to three bins wide and moves no median; red, flat and humped backgrounds are followed.
    """
    place = np.log(frequency)
    breaks = _breaks(frequency)
    knots = np.concatenate([[place[0]] * 3, place[breaks], [place[-1]] * 3])
    # Four splines reach each bin, so the normal equations are a narrow band.
    splines = interpolate.BSpline.design_matrix(place, knots, 3)
    reach, count = splines.data.reshape(-1, 4), splines.shape[1]
    of = splines.indices.reshape(-1, 4)
    log = np.log(np.maximum(power, 1e-300))
    weight = np.ones(log.size)
    coefficient: NDArray[np.float64] = np.zeros(count)
    for _ in range(60):
        band, right = np.zeros((4, count)), np.zeros(count)
        for one in range(4):
            part = weight * reach[:, one]
            right += np.bincount(of[:, one], part * log, count)
            for other in range(one, 4):
                band[other - one] += np.bincount(of[:, one], part * reach[:, other], count)
        fresh = np.asarray(linalg.solveh_banded(band, right, lower=True), dtype=np.float64)
        done = float(np.abs(fresh - coefficient).max()) < 1e-4
        coefficient = fresh
        if done:
            break
        weight = 1 / np.maximum(np.abs(log - (reach * coefficient[of]).sum(axis=1)), 0.02)
    # The median of chi-square over its degrees lies below its mean of 1.
    middle = math.log(float(stats.chi2.ppf(0.5, 2 * averages)) / (2 * averages))
    return np.asarray(np.exp((reach * coefficient[of]).sum(axis=1) - middle), dtype=np.float64)


def _breaks(frequency: NDArray[np.float64]) -> list[int]:
    """Bins at which the pieces of the spline meet: 12 bins and a factor of 1.6 apart at least."""
    breaks, last = [0], frequency.size - 1
    while True:
        here = breaks[-1]
        there = max(here + KNOT_BINS, int(np.searchsorted(frequency, 1.6 * frequency[here])))
        if there >= last - KNOT_BINS // 2:
            return [*breaks, last]
        breaks.append(there)


@checked
def find_periods(
    values: ArrayLike, step_m: float, level: float = 0.01, segments: int = 16, unit: str = "mm"
) -> Periods | Refused:
    """Periods whose power stands above a red background, with amplitude and interval.

    Bins below level over all bins together (Sidak) are called; neighbouring bins are one period. The period and
    amplitude then come from least squares of one sinusoid over the whole length.

    Args:
        values: values at equal steps along the wire; not-a-number where there is none.
        step_m: the step [m].
        level: chance of calling any period where there is none; 0.01 by default (own choice).
        segments: pieces of the averaged spectrum.
        unit: unit of the values.

    What lies above half the reading rate is seen at a false period: see the alias table. Source: Welch 1967;
    sd of the frequency sqrt(6) / (pi L) (s / A) / sqrt(N) (Cramer-Rao bound).
    """
    share(level, "level")
    seen = spectrum(values, step_m, segments)
    if isinstance(seen, Refused):
        return seen
    x = readings(values, "values")
    bins = seen.p_value.size
    overall = -np.expm1(bins * np.log1p(-np.minimum(seen.p_value, 1 - 1e-16)))
    peaks = _peaks(overall, seen.power / seen.background, level)
    fits = [_fitted(x, step_m, seen, peak, float(overall[peak])) for peak in peaks]
    found = _combs([one for one in fits if one.details["amplitude"] > 0])
    seldom = message(Note.PERIODS_NOT_SEEN, step_m=Measure(2 * step_m, "m"), step_m_2=Measure(step_m, "m"))
    warnings = [seldom]
    if seen.left_out_m > 0:
        warnings.append(message(Note.WIRE_LEFT_OUT, left_out_m=Measure(seen.left_out_m, "m")))
    return Periods(found, seen, _verdict(found, unit), tuple(warnings))


def _peaks(overall: NDArray[np.float64], ratio: NDArray[np.float64], level: float) -> list[int]:
    """Strongest bin of each run of called bins; bins within two of a stronger one belong to it."""
    called = np.flatnonzero(overall < level)
    kept: list[int] = []
    for peak in called[np.argsort(-ratio[called])].tolist():
        if all(abs(peak - other) > 2 for other in kept):
            kept.append(peak)
    return kept


@dataclass(frozen=True, slots=True)
class Sinusoid:
    """Least-squares sinusoid value = level + amplitude sin(2 pi f s + phase).

    Args:
        frequency: f [1/m].
        level: mean level.
        amplitude: amplitude, half the swing from top to bottom.
        phase: phase [rad].
        residual_sd: standard deviation left, N - 4 degrees of freedom.
        n: readings.
    """

    frequency: float
    level: float
    amplitude: float
    phase: float
    residual_sd: float
    n: int


@checked
def fit_sinusoid(at_m: ArrayLike, values: ArrayLike, lowest: float, highest: float) -> Sinusoid:
    """Sinusoid of any frequency between two, by least squares: a grid of frequencies, then refinement.

    Args:
        at_m: positions [m].
        values: readings there, none missing.
        lowest: lowest frequency [1/m].
        highest: highest frequency [1/m].

    Uncertainties suppose independent errors; with red noise use the noise near the line (`find_periods` does).
    Derived: Cramer-Rao bound.
    """
    at, x = readings(at_m, "at_m"), readings(values, "values")
    length = float(np.ptp(at))
    if x.size < 5 or length == 0.0:
        raise MethodRefusal(
            Complaint(
                "values", f"{x.size} readings over {length:g} m fit no sinusoid", "Give at least 5 places"
            )
        )
    if (np.diff(at) < 0.0).any():
        order = np.argsort(at, kind="stable")
        at, x = at[order], x[order]
    middle = float(at.mean())
    steps = max(2, math.ceil((highest - lowest) * length * 10))
    grid = np.linspace(lowest, highest, steps + 1)
    about, flat = at - middle, x - x.mean()
    near = NearSums(about, flat, lowest, highest) if pays(about, grid) else None
    power = strength(about, flat, grid) if near is None else np.abs(near.weighed(grid))
    start = int(power.argmax())
    span = grid[min(start + 1, steps)] - grid[max(start - 1, 0)]
    inner = (max(lowest, grid[start] - span), min(highest, grid[start] + span))
    best = float(
        optimize.minimize_scalar(
            (near or NearSums(about, flat, *inner)).left, bounds=inner, options={"xatol": 1e-12}
        ).x
    )
    (level, sine, cosine), total = _linear(about, x, best)
    residual = math.sqrt(total / max(x.size - 4, 1))
    amplitude = math.hypot(sine, cosine)
    phase = (math.atan2(cosine, sine) - 2 * math.pi * best * middle) % (2 * math.pi)
    return Sinusoid(best, level, amplitude, phase, residual, x.size)


def _linear(
    at: NDArray[np.float64], x: NDArray[np.float64], f: float
) -> tuple[tuple[float, float, float], float]:
    """Level, sine and cosine part by least squares, and the squares left over."""
    angle = 2 * np.pi * f * at
    sine, cosine = np.sin(angle), np.cos(angle)
    n, s, c, mixed, ss = (
        at.size,
        float(sine.sum()),
        float(cosine.sum()),
        float(sine @ cosine),
        float(sine @ sine),
    )
    squares = np.array([[n, s, c], [s, ss, mixed], [c, mixed, n - ss]])
    a, b, d = np.linalg.lstsq(squares, np.array([x.sum(), sine @ x, cosine @ x]), rcond=None)[0]
    sine *= b
    cosine *= d
    left = x - a - sine - cosine
    return (float(a), float(b), float(d)), float(left @ left)


def _fitted(x: NDArray[np.float64], step: float, seen: Spectrum, peak: int, p_value: float) -> Result:
    bin_width = float(seen.frequency[1] - seen.frequency[0])
    centre = float(seen.frequency[peak])
    known = ~np.isnan(x)
    at = np.arange(x.size) * step
    fit = fit_sinusoid(at[known], x[known], max(centre - bin_width, bin_width / 4), centre + bin_width)
    # Noise near the line decides: background density turned into the variance of equal white noise.
    noise = math.sqrt(float(seen.background[peak]) / (2 * step))
    a_sd = noise * math.sqrt(2 / fit.n)
    f_sd = math.sqrt(6 / fit.n) / (math.pi * step * x.size) * noise / max(fit.amplitude, 1e-300)
    period, p_sd = 1 / fit.frequency, f_sd / fit.frequency**2
    # Hann: a line of amplitude A adds A^2/2 over an equivalent width of 1.5 bins.
    incoherent = max(float(seen.power[peak] - seen.background[peak]), 0.0) * bin_width * 1.5
    coherence = min(1.0, fit.amplitude**2 / 2 / incoherent) if incoherent > 0 else 1.0
    return Result(
        question=QUESTION,
        estimate=period,
        low=period - 1.96 * p_sd,
        high=period + 1.96 * p_sd,
        confidence=0.95,
        unit="m",
        method=message(Method.WELCH_AND_SINUSOID),
        n=fit.n,
        effective_n=None,
        known_m=float(known.sum() * step),
        unit_of_inference="section average",
        assumptions=(
            Assumption(message(Assumed.SWING_KEEPS_STEP), None, message(Note.SEE_COHERENCE)),
            Assumption(message(Assumed.BACKGROUND_SMOOTH), None, message(Note.NOT_CHECKED)),
        ),
        warnings=(WANDERS,) if coherence < STEADY else (),
        details={
            "amplitude": fit.amplitude,
            "amplitude_low": max(fit.amplitude - 1.96 * a_sd, 0.0),
            "amplitude_high": fit.amplitude + 1.96 * a_sd,
            "period_sd_m": p_sd,
            "p_value": p_value,
            "share_of_variance": fit.amplitude**2 / 2 / float(np.nanvar(x)),
            "coherence": coherence,
        },
    )


def _combs(found: list[Result]) -> tuple[Result, ...]:
    """Numbers the periods by the comb of harmonics they belong to: f close to a whole multiple of a lower f."""
    longest_first = sorted(found, key=lambda one: -one.estimate)
    bases: list[Result] = []
    marked = []
    for one in longest_first:
        comb, harmonic = len(bases) + 1, 1
        for number, base in enumerate(bases, start=1):
            order = round(base.estimate / one.estimate)
            off = abs(base.estimate - order * one.estimate)
            if order >= 2 and off <= 3 * math.hypot(
                base.details["period_sd_m"], order * one.details["period_sd_m"]
            ):
                comb, harmonic = number, order
                break
        if harmonic == 1:
            bases.append(one)
        marked.append(replace(one, details={**one.details, "comb": float(comb), "harmonic": float(harmonic)}))
    return tuple(sorted(marked, key=lambda one: (one.details["p_value"], -one.details["amplitude"])))


def _verdict(found: tuple[Result, ...], unit: str) -> Message:
    if not found:
        return message(Reason.NO_PERIOD)
    told = [
        message(
            Note.HARMONIC_PERIOD if one.details["harmonic"] > 1 else Note.ONE_PERIOD,
            period=Measure(one.estimate, "m"),
            amplitude=Measure(one.details["amplitude"], unit),
            **({"harmonic": int(one.details["harmonic"])} if one.details["harmonic"] > 1 else {}),
        )
        for one in found
    ]
    return message(Note.PERIODS_FOUND, n=len(found), periods=told)
