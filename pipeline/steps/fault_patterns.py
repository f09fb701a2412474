"""Do the spark faults of a run come in bunches, grow along a reel, or follow thin spots, and how many stay hidden?

Positions are those on the tested wire, its untested stretches taken out, so that a gap in the test is no gap
between faults.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import polars as pl

from pipeline.assumed import Assumed
from pipeline.errors import ReelproofError
from pipeline.length.reels import PlacedReel
from pipeline.messages import Measure, Message, message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Asked, Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Refused, Result, refused_by
from pipeline.sheets.line_sheet import Instrument
from pipeline.statistics.event_clustering import (
    ChanceTest,
    close_pairs,
    dispersion_of_counts,
    gap_clustering,
    trend_along,
)
from pipeline.statistics.event_coincidence import Coincidence, coincidence, join_known
from pipeline.statistics.event_rate import event_rate
from pipeline.statistics.spark_merge import hidden_faults, merge_reach_m
from pipeline.steps.answer_row import AnswerRow
from pipeline.steps.bench import Bench
from pipeline.steps.evidence import Floats, Seen
from pipeline.steps.held_share import TriedInterval, rate_as_held

TOPIC = "fault patterns"
# Tested wire over which faults are counted for their scatter, and within which two make a close pair [m] (chosen
# here: long against the electrode, short against a reel).
CELL_M, PAIR_M = 100.0, 10.0
SCATTER = message(Method.SCATTER_OF_COUNTS, cell_m=Measure(CELL_M, "m"))
# Faults a reel must have for its trend to be told, and how far a thin spot may lie from a fault [m] (chosen here).
FEWEST_ON_A_REEL, WINDOW_M = 5, 2.0
# Share of readings that count as a thin spot or a diameter event (chosen here).
EVENT_SHARE = 0.002


def fault_patterns(bench: Bench) -> tuple[AnswerRow, ...]:
    """Everything the places of a run's spark faults say; nothing where no spark test is logged.

    Args:
        bench: the run.
    """
    spark = bench.measured.seen.get("spark_kv")
    tester = bench.line.instrument("spark tester")
    if spark is None or tester is None:
        return ()
    places, sd_m = places_of_faults(bench)
    found: list[Result | Refused] = [_hidden(bench, spark, tester, places)]
    joined = join_known(places, spark.known)
    on_wire = np.sort(joined.at_m[np.isfinite(joined.at_m)])
    found.append(_bunches(on_wire, joined.known_m))
    found += [one for reel in bench.placed.reels if (one := _trend(spark, reel, places)) is not None]
    for name in ("thinnest_wall_mm", "diameter_mm"):
        seen = bench.measured.seen.get(name)
        if seen is not None:
            found.append(_coincides(bench, seen, places, sd_m))
    return tuple(AnswerRow("run", bench.run.id, TOPIC, one) for one in found)


def scatter_of_faults(
    places: Floats, known: Floats, reels: Sequence[tuple[float, float]]
) -> Result | Refused:
    """Variance over mean of fault counts on equal lengths of tested wire, or on reels, whichever is larger.

    Args:
        places: where the faults lie on the wire [m].
        known: stretches that were tested [m].
        reels: where each reel begins and ends [m].
    """
    spans = [(a, b, np.clip(known, a, b)) for a, b in reels]
    tested = [part[part[:, 1] > part[:, 0]] for *_, part in spans]
    length = np.array([float((one[:, 1] - one[:, 0]).sum()) for one in tested])
    counts = np.array([int(((places >= a) & (places < b)).sum()) for a, b, _ in spans])
    every = np.concatenate([*tested, np.empty((0, 2))])
    joined = join_known(places, every) if every.size else None
    found = []
    if joined is not None:
        found.append(_cells(np.sort(joined.at_m[np.isfinite(joined.at_m)]), joined.known_m))
    if (length > 0.0).sum() > 1:
        found.append(dispersion_of_counts(counts[length > 0.0], length[length > 0.0]))
    known_ones = [one for one in found if isinstance(one, Result)]
    if known_ones:
        return max(known_ones, key=lambda one: one.estimate)
    total = int(counts.sum())
    reason = message(Reason.NO_BUNCHES_OF_SO_FEW, n=total, known_m=Measure(float(length.sum()), "m"))
    return Refused(asks(Quantity.FAULT_DISPERSION), SCATTER, reason, total)


def _cells(at: Floats, known_m: float) -> Result | Refused:
    """Scatter of the counts of equal lengths of `CELL_M`; refused for fewer than two lengths or faults."""
    cells = int(known_m // CELL_M)
    if cells < 2 or at.size < 2:
        reason = message(Reason.NO_BUNCHES_OF_SO_FEW, n=at.size, known_m=Measure(known_m, "m"))
        return Refused(asks(Quantity.FAULT_DISPERSION), SCATTER, reason, int(at.size))
    counts = np.histogram(at, bins=cells, range=(0.0, cells * CELL_M))[0]
    return dispersion_of_counts(counts, np.full(cells, CELL_M))


def _tried(
    question: Asked, method: Message, n: int, made: Callable[[], Result | Refused]
) -> Result | Refused:
    try:
        return replace(made(), question=question)
    except ReelproofError as fault:
        return refused_by(question, method, fault, n)


def places_of_faults(bench: Bench) -> tuple[Floats, float]:
    """Where each separate fault on a reel lies on the wire [m], and how well that is known [m]."""
    events = bench.placed.events
    if events.height == 0:
        return np.zeros(0), 0.0
    first = (
        events.filter((pl.col("kind") == "spark fault") & pl.col("at_m").is_not_null())
        .sort("at_m")
        .group_by("fault", maintain_order=True)
        .agg(pl.col("at_m").first(), pl.col("at_sd_m").first())
    )
    at = first["at_m"].to_numpy().astype(np.float64)
    inside = np.zeros(at.size, dtype=bool)
    for reel in bench.placed.reels:
        inside |= (at >= reel.from_m) & (at < reel.to_m)
    sd = first["at_sd_m"].to_numpy().astype(np.float64)[inside]
    return at[inside], float(np.nanmedian(sd)) if np.isfinite(sd).any() else 0.0


def _hidden(bench: Bench, spark: Seen, tester: Instrument, places: Floats) -> Result | Refused:
    """The fault rate with what the electrode's length and the dead time hid put back."""
    question = asks(Quantity.FAULT_RATE_UNMERGED)
    method = message(Method.CHAIN_MERGING_UNDONE)
    tested = sum(spark.known_m(reel.from_m, reel.to_m) for reel in bench.placed.reels)
    speed = bench.placed.placement.readings["speed_m_s"].to_numpy()
    usual = float(np.median(speed[speed > 0])) if (speed > 0).any() else 0.0
    reach = float(merge_reach_m(tester.window_m, tester.dead_time_s, [usual])[0])
    n = int(places.size)
    scatter = scatter_of_faults(
        places, spark.known, [(reel.from_m, reel.to_m) for reel in bench.placed.reels]
    )
    seen = _tried(question, method, n, lambda: event_rate(n, tested, dispersion=scatter))
    if isinstance(seen, Refused):
        return seen
    ends = [hidden_faults(rate * tested / 1000.0, tested, reach, "chain") for rate in _rates(seen)]
    low, middle, high = (one.corrected_per_km for one in ends)
    if low is None or middle is None or high is None:
        reason = message(
            Reason.FAULTS_TOO_CLOSE,
            rate=Measure(ends[-1].merged_per_km, "per km"),
            reach=Measure(reach, "m"),
        )
        return Refused(question, method, reason, n)
    unmerged = replace(
        seen,
        estimate=middle,
        low=low,
        high=high,
        method=method,
        warnings=(message(Note.COUNTS_WITHIN_REACH, reach=Measure(reach, "m")),),
        details={"merged_per_km": ends[1].merged_per_km, "reach_m": reach},
    )
    return rate_as_held(unmerged, TriedInterval.FAULT_RATE_OF_RUN, scatter)


def _rates(seen: Result) -> tuple[float, float, float]:
    return (seen.low, seen.estimate, seen.high)


def _bunches(at: Floats, known_m: float) -> Result | Refused:
    """Scatter of the counts of equal lengths, with the tests of gaps and of close pairs beside it."""
    question = asks(Quantity.FAULT_DISPERSION)
    found = _tried(question, SCATTER, int(at.size), lambda: _cells(at, known_m))
    if isinstance(found, Refused):
        return replace(found, method=SCATTER)
    cells = int(known_m // CELL_M)
    checks = []
    tests: tuple[tuple[Message, Callable[[], ChanceTest | Refused]], ...] = (
        (message(Assumed.GAPS_AS_BY_CHANCE), lambda: gap_clustering(at, known_m)),
        (
            message(Assumed.PAIRS_AS_BY_CHANCE, pair_m=Measure(PAIR_M, "m")),
            lambda: close_pairs(at, known_m, PAIR_M),
        ),
    )
    for name, made in tests:
        try:
            test = made()
        except ReelproofError:
            continue
        if isinstance(test, ChanceTest):
            told = message(
                Note.FOUND_AGAINST_CHANCE,
                observed=test.observed,
                chance_low=test.chance_low,
                chance_high=test.chance_high,
                p_value=test.p_value,
            )
            held = bool(test.p_value >= 0.05)
            checks.append(Assumption(name, held, told, None if held else message(Note.THEN_RATE_WIDENED)))
    return replace(
        found,
        n=int(at.size),
        unit_of_inference="event",
        assumptions=(*found.assumptions, *checks),
        warnings=(
            *found.warnings,
            message(Note.ONE_IS_SEPARATE_FAULTS, cells=cells, cell_m=Measure(CELL_M, "m")),
        ),
    )


def _trend(spark: Seen, reel: PlacedReel, places: Floats) -> Result | Refused | None:
    """How the fault rate changes along one reel; None where it has few faults."""
    at = places[(places >= reel.from_m) & (places < reel.to_m)]
    if at.size < FEWEST_ON_A_REEL:
        return None
    known = np.clip(spark.known, reel.from_m, reel.to_m)
    joined = join_known(at, known[known[:, 1] > known[:, 0]])
    question = asks(Quantity.FAULT_TREND, reel.id, reel=reel.id)
    return _tried(
        question,
        message(Method.LOG_LINEAR_RATE),
        int(at.size),
        lambda: trend_along(joined.at_m[np.isfinite(joined.at_m)], joined.known_m),
    )


def _coincides(bench: Bench, seen: Seen, places: Floats, sd_m: float) -> Result | Refused:
    """The share of faults with a thin spot or diameter event beside them, against shifting around each reel."""
    question = asks(Quantity.FAULT_PRECURSORS, seen.name, channel=seen.name)
    method = message(Method.EVENT_COINCIDENCE)
    reels = bench.placed.reels
    faults = [places[(places >= one.from_m) & (places < one.to_m)] - one.from_m for one in reels]
    window = max(WINDOW_M, 3.0 * sd_m, 2.0 * seen.extent_m)
    spots = [_spots(seen, one.from_m, one.to_m, window) for one in reels]
    n = sum(one.size for one in faults)
    try:
        found = coincidence(faults, spots, [one.length_m for one in reels], window, sd_m, shifts=999)
    except ReelproofError as fault:
        return refused_by(question, method, fault, n)
    if not isinstance(found, Coincidence):
        return replace(found, question=question)
    told = message(
        Note.COINCIDENCE_FOUND,
        faults_with=found.faults_with,
        faults=found.faults,
        expected=found.expected,
        p_value=found.p_value,
        events_with=found.events_with,
        events=found.events,
    )
    cause = message(Note.FAULTS_WITHOUT_PRECURSOR, estimate=100 * found.without.estimate)
    return Result(
        question=question,
        estimate=found.precursor.estimate,
        low=found.precursor.low,
        high=found.precursor.high,
        confidence=0.95,
        unit="",
        method=method,
        n=found.faults,
        effective_n=None,
        known_m=found.known_m,
        unit_of_inference="event",
        assumptions=(
            Assumption(message(Assumed.FAULTS_AND_PLACES_DO_NOT_DRIFT), None, message(Note.NOT_CHECKED)),
        ),
        warnings=(told, cause, *found.warnings),
        details={"p_value": found.p_value, "p_if_unclustered": found.poisson_p, "window_m": found.window_m},
    )


def _spots(seen: Seen, from_m: float, to_m: float, apart_m: float) -> Floats:
    """Places of the lowest readings of a reel (lowest and highest of a diameter), one for each cluster [m]."""
    rows = seen.rows_within(from_m, to_m)
    at, value = seen.at_m[rows], seen.value[rows]
    if at.size < 100:
        return np.zeros(0)
    low, high = np.quantile(value, [EVENT_SHARE, 1.0 - EVENT_SHARE])
    odd = value < low if seen.name == "thinnest_wall_mm" else (value < low) | (value > high)
    hit = np.sort(at[odd])
    return hit[np.diff(hit, prepend=-np.inf) > apart_m] - from_m
