"""Do faults come where the wall was thin, more often than by chance?

Event coincidence with both directions, and its null made by shifting one series around the reel, which keeps
the clusters of both: a Poisson null calls any two clustered series related. Donges et al., Eur. Phys. J.
Special Topics 225 (2016) 471, arXiv 1508.03534 (formula from memory).

Where do events lie once the lengths without a working detector are taken out?

Chance spreads events only over wire that was tested, so tests of chance work on the tested stretches joined
end to end. Derived; needs no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from pipeline.arguments import checked
from pipeline.errors import Complaint, MethodRefusal
from pipeline.messages import Measure, Message, message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Refused
from pipeline.samples import positive, positive_readings, readings, share, whole_readings


@dataclass(frozen=True, slots=True)
class KnownPositions:
    """Events on the joined known length.

    Args:
        at_m: position of each event on the joined length, in the order handed in [m]; not-a-number for an
            event outside the known length or without a position.
        known_m: the joined length [m].
        outside: events outside the known length or without a position.
        warnings: what a reader must know about those.
    """

    at_m: NDArray[np.float64]
    known_m: float
    outside: int
    warnings: tuple[str, ...]


@checked
def join_known(at_m: ArrayLike, known: ArrayLike) -> KnownPositions:
    """Positions on the known stretches joined end to end.

    Args:
        at_m: positions on the wire [m]; not-a-number where not known.
        known: stretches with a working detector, one row each: from [m], to [m]; in order, not overlapping.
    """
    place = readings(at_m, "at_m")
    stretch = np.asarray(known, dtype=np.float64)
    if stretch.size == 0:
        stretch = np.zeros((0, 2))
    if stretch.ndim != 2 or stretch.shape[1] != 2 or not np.isfinite(stretch).all():
        raise MethodRefusal(
            Complaint(
                "known", "is not a list of stretches", "Give one row for each stretch: from and to, in m"
            )
        )
    if (np.diff(stretch.ravel()) < 0).any():
        raise MethodRefusal(
            Complaint(
                "known",
                "stretches overlap or run backwards",
                "Give them in the order of the wire, each ending where or before the next begins",
            )
        )
    size = stretch[:, 1] - stretch[:, 0]
    before = np.concatenate([[0.0], np.cumsum(size)])
    number = np.searchsorted(stretch[:, 0], place, side="right") - 1
    held = np.clip(number, 0, max(size.size - 1, 0))
    joined = np.full(place.shape, np.nan)
    if size.size:
        inside = (number >= 0) & (place <= stretch[held, 1])
        joined[inside] = before[held[inside]] + place[inside] - stretch[held[inside], 0]
    outside = int(np.isnan(joined).sum())
    said = (
        f"{outside} of {place.size} events lie outside the known length or have no position and are left out "
        "of the test."
    )
    return KnownPositions(joined, float(before[-1]), outside, (said,) if outside else ())


QUESTION = asks(Quantity.FAULT_PRECURSORS)
METHOD = message(Method.EVENT_COINCIDENCE)


class Share(NamedTuple):
    """A share with its exact interval (Clopper-Pearson)."""

    estimate: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Coincidence:
    """How often faults and earlier events lie together.

    Args:
        faults: number of faults.
        faults_with: faults with an earlier event within the window.
        precursor: their share of the faults (of the faults, how many had a thin spot).
        events: number of earlier events.
        events_with: earlier events with a fault within the window.
        without: share of faults without any such event: contamination, or damage after the gauge.
        expected: faults with an event within the window that chance alone makes, mean of the shifts.
        p_value: how often shifting makes as many or more.
        poisson_p: the p-value for events that fall independently; true only for events without clusters.
        window_m: how far apart a fault and an event may lie [m].
        shifts: how often the series were shifted.
        known_m: length of the reels [m].
        warnings: sentences a reader must see beside the figures.
    """

    faults: int
    faults_with: int
    precursor: Share
    events: int
    events_with: int
    without: Share
    expected: float
    p_value: float
    poisson_p: float
    window_m: float
    shifts: int
    known_m: float
    warnings: tuple[Message, ...]


@checked
def poisson_coincidence_p(
    faults: int, events: int, covered_m: float, length_m: float, at_least: int
) -> float:
    """Chance that as many faults meet an event, both falling independently.

    p = 1 - (1 - covered / length)^events for one fault, then binomial over the faults.

    Args:
        faults: number of faults.
        events: number of events.
        covered_m: wire that one event's window covers [m].
        length_m: length of the wire [m].
        at_least: faults with an event.

    Stops being true for events in clusters. Source: Donges et al. 2016.
    """
    meets = 1.0 - (1.0 - min(covered_m / length_m, 1.0)) ** events
    return float(stats.binom.sf(at_least - 1, faults, meets))


@checked
def coincidence(
    faults_m: Sequence[ArrayLike],
    events_m: Sequence[ArrayLike],
    reel_m: ArrayLike,
    window_m: float,
    position_sd_m: float = 0.0,
    confidence: float = 0.95,
    shifts: int = 1999,
    seed: int = 1,
) -> Coincidence | Refused:
    """Faults that lie within a window of an earlier event, against the same series shifted around each reel.

    Args:
        faults_m: for each reel the positions of its faults on the joined known length, from 0 [m].
        events_m: for each reel the positions of the thin or thick spots on the same length [m].
        reel_m: known length of each reel [m].
        window_m: how far apart, either way, a fault and an event may lie [m]; not under the combined
            uncertainty of their positions.
        position_sd_m: that combined standard uncertainty [m].
        confidence: coverage of the intervals of the shares.
        shifts: how often chance is played; the p-value is not under 1 / (shifts + 1).
        seed: start of the random numbers.

    Stops being true where both series drift along the reel in the same way (both at the start, say): shifting
    around the reel does not keep such a trend.
    """
    share(confidence, "confidence")
    positive(window_m, "window_m", "m")
    length = positive_readings(reel_m, "reel_m", "m")
    a, b = _on_reels(faults_m, length, "faults_m"), _on_reels(events_m, length, "events_m")
    n_a, n_b = sum(one.size for one in a), sum(one.size for one in b)
    if n_a == 0 or n_b == 0:
        reason = message(Reason.NO_COINCIDENCE_WITHOUT_BOTH, n_a=n_a, n_b=n_b)
        return Refused(QUESTION, METHOD, reason, n_a)
    with_event = sum(_near(x, y, window_m) for x, y in zip(a, b, strict=True))
    with_fault = sum(_near(y, x, window_m) for x, y in zip(a, b, strict=True))
    played = _shifted(a, b, length, window_m, shifts, np.random.default_rng(seed))
    total = float(length.sum())
    return Coincidence(
        faults=n_a,
        faults_with=with_event,
        precursor=_share(with_event, n_a, confidence),
        events=n_b,
        events_with=with_fault,
        without=_share(n_a - with_event, n_a, confidence),
        expected=float(played.mean()),
        p_value=(1 + int((played >= with_event).sum())) / (1 + shifts),
        poisson_p=poisson_coincidence_p(n_a, n_b, 2 * window_m, total, with_event),
        window_m=window_m,
        shifts=shifts,
        known_m=total,
        warnings=_warnings(window_m, position_sd_m, played, n_a),
    )


def _on_reels(
    at_m: Sequence[ArrayLike], length: NDArray[np.float64], where: str
) -> list[NDArray[np.float64]]:
    if len(at_m) != length.size:
        raise MethodRefusal(
            Complaint(
                where, f"{len(at_m)} reels stand against {length.size} lengths", "Give one for each reel"
            )
        )
    placed = [np.sort(whole_readings(one, f"{where}[{i}]")) for i, one in enumerate(at_m)]
    for i, one in enumerate(placed):
        if one.size and (one[0] < 0 or one[-1] > length[i]):
            raise MethodRefusal(
                Complaint(
                    f"{where}[{i}]",
                    f"{one[0] if one[0] < 0 else one[-1]:g} m is outside the reel's known {length[i]:g} m",
                    "Give positions on the joined known length, from 0",
                )
            )
    return placed


def _near(a: NDArray[np.float64], b: NDArray[np.float64], window_m: float) -> int:
    """How many of `a` have one of `b` (sorted) within the window, either way."""
    if a.size == 0 or b.size == 0:
        return 0
    first = np.searchsorted(b, a - window_m, side="left")
    last = np.searchsorted(b, a + window_m, side="right")
    return int((last > first).sum())


def _shifted(
    a: Sequence[NDArray[np.float64]],
    b: Sequence[NDArray[np.float64]],
    length: NDArray[np.float64],
    window_m: float,
    shifts: int,
    rng: np.random.Generator,
) -> NDArray[np.int64]:
    """Faults with an event near after each shift; faults are moved, which is the same as moving the "
    "events."""
    total = np.zeros(shifts, dtype=np.int64)
    for x, y, size in zip(a, b, length, strict=True):
        by = rng.uniform(0, size, shifts)
        if x.size == 0 or y.size == 0:
            continue
        around = np.concatenate([y - size, y, y + size])
        moved = (x[None, :] + by[:, None]) % size
        first = np.searchsorted(around, moved - window_m, side="left")
        last = np.searchsorted(around, moved + window_m, side="right")
        total += (last > first).sum(axis=1)
    return total


def _share(count: int, n: int, confidence: float) -> Share:
    exact = stats.binomtest(count, n).proportion_ci(confidence, method="exact")
    return Share(count / n, float(exact.low), float(exact.high))


def _warnings(
    window_m: float, position_sd_m: float, played: NDArray[np.int64], faults: int
) -> tuple[Message, ...]:
    said = []
    if window_m < 2 * position_sd_m:
        said.append(
            message(
                Note.WINDOW_UNDER_UNCERTAINTY,
                window_m=Measure(window_m, "m"),
                position_sd_m=Measure(position_sd_m, "m"),
            )
        )
    if played.mean() > faults / 2:
        said.append(message(Note.WINDOW_TOO_WIDE))
    return tuple(said)
