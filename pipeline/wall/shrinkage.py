"""How far does the insulation shrink from hot to cold on this run, and is that this product's usual?

Area scales with density and the conductor does not shrink, so cold area is regressed on hot area, not
diameter on diameter: q = density hot / density cold. Each is taken on the same wire.
"""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import stats

from pipeline.assumed import Assumed
from pipeline.length.placement import Placement
from pipeline.length.steady_state import STEADY
from pipeline.messages import Measure, message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Refused, Result
from pipeline.sheets.line_sheet import LineSheet

Floats = NDArray[np.float64]

BLOCK_M = 100.0
_FEWEST_BLOCKS = 5
_FEWEST_RUNS = 5
_QUESTION = asks(Quantity.HOT_TO_COLD)
_METHOD = message(Method.RATIO_OF_AREAS)


def cold_diameter_mm(hot_diameter_mm: float, conductor_mm: float, shrinkage: float) -> float:
    """Cold diameter from hot: 2 sqrt(r^2 + q (R^2 - r^2)) [mm].

    Args:
        hot_diameter_mm: 2R, hot diameter [mm].
        conductor_mm: 2r, diameter of the conductor [mm].
        shrinkage: q, cold over hot area; the length does not shrink while the conductor holds it.
    """
    r2, R2 = (conductor_mm / 2.0) ** 2, (hot_diameter_mm / 2.0) ** 2
    return 2.0 * float(np.sqrt(r2 + shrinkage * (R2 - r2)))


def shrinkage(
    hot_at_m: Floats,
    hot_mm: Floats,
    cold_at_m: Floats,
    cold_mm: Floats,
    conductor_mm: float,
    confidence: float = 0.95,
) -> Result | Refused:
    """Cold over hot area of the insulation over a run's steady wire, q, with its interval.

    q = sum A_c A_h / sum A_h^2 over blocks of 100 m of wire (regression through the origin: at the width of
    a run's areas an intercept cannot be told from a slope).

    Args:
        hot_at_m: places of the hot diameter's readings [m].
        hot_mm: hot diameter [mm]; NaN where not steady or not to be used.
        cold_at_m: places of the cold diameter's readings [m].
        cold_mm: cold diameter, mean of the axes [mm]; NaN likewise.
        conductor_mm: diameter of the conductor [mm]; over the strand's circle, where it includes the valleys
            and so draws q towards 1.
        confidence: coverage asked of the interval.

    Returns:
        The shrinkage, or a refusal with fewer than five blocks seen by both gauges. The interval is of the
        run's own scatter: a bias of either gauge moves q by its share of the area and is not in it. Where the
        shrinkage wanders over a sixth of the run or more, an interval of 95 % holds the truth in some 84 %.
    """
    if not np.isfinite(conductor_mm) or conductor_mm <= 0:
        return Refused(_QUESTION, _METHOD, message(Reason.CONDUCTOR_NOT_KNOWN), 0)
    hot, cold = _block_areas(hot_at_m, hot_mm, conductor_mm), _block_areas(cold_at_m, cold_mm, conductor_mm)
    shared = sorted(set(hot) & set(cold))
    if len(shared) < _FEWEST_BLOCKS:
        return Refused(
            _QUESTION,
            _METHOD,
            message(
                Reason.TOO_FEW_SHARED_BLOCKS,
                shared=len(shared),
                block_m=Measure(BLOCK_M, "m"),
                fewest_blocks=_FEWEST_BLOCKS,
            ),
            len(shared),
        )
    h, c = (np.array([areas[k] for k in shared]) for areas in (hot, cold))
    q = float((c @ h) / (h @ h))
    ratio = c / h
    lag_one, effective = _effective(ratio)
    # The scatter about the run's own mean is short by 1 - 1/effective; taken up here.
    sd = float(ratio.std(ddof=1) / np.sqrt(effective - 1.0))
    half = float(stats.t.isf((1.0 - confidence) / 2.0, max(effective - 1.0, 1.0)) * sd)
    wall = np.sqrt((conductor_mm / 2) ** 2 + float(np.mean(h)) / np.pi)
    return Result(
        question=_QUESTION,
        estimate=q,
        low=q - half,
        high=q + half,
        confidence=confidence,
        unit="",
        method=_METHOD,
        n=len(shared),
        effective_n=effective,
        known_m=len(shared) * BLOCK_M,
        unit_of_inference="section average",
        assumptions=(
            Assumption(message(Assumed.LENGTH_DOES_NOT_SHRINK), None, message(Note.NOT_MEASURED)),
            Assumption(message(Assumed.GAUGES_IN_CALIBRATION), None, message(Note.SEE_CALIBRATION)),
        ),
        details={
            "lag_one_of_blocks": lag_one,
            "mean_hot_diameter_mm": 2.0 * float(wall),
            "mean_cold_diameter_mm": cold_diameter_mm(2.0 * float(wall), conductor_mm, q),
            "block_sd": float(ratio.std(ddof=1)),
        },
    )


def shrinkage_of_run(
    readings: pl.DataFrame,
    flagged: pl.DataFrame,
    measured: pl.DataFrame,
    placement: Placement,
    line: LineSheet,
    conductor_mm: float,
) -> Result | Refused:
    """Shrinkage of the insulation over a run's steady wire.

    Args:
        readings: readings as logged (columns.LOGGED).
        flagged: reasons not to use readings (columns.FLAGGED).
        measured: the run measured (columns.MEASURED).
        placement: the run's placement.
        line: the line's sheet.
        conductor_mm: diameter of the conductor [mm].

    Returns:
        The shrinkage, or a refusal where the line has not both gauges or the wire is too short. With a covering
        put on after the hot gauge the ratio is not a shrinkage.
    """
    hot, cold = line.instrument("hot diameter gauge"), line.instrument("cold diameter gauge")
    if hot is None or cold is None or "hot_diameter_mm" not in readings.columns:
        return Refused(_QUESTION, _METHOD, message(Reason.NO_HOT_AND_COLD), 0)
    hot_at, cold_at = placement.at_m - hot.station_m, placement.at_m - cold.station_m
    hot_mm = readings["hot_diameter_mm"].cast(pl.Float64).to_numpy().copy()
    rows = readings["row"].to_numpy()
    for values, channels, at in (
        (hot_mm, ["hot_diameter_mm"], hot_at),
        (cold_mm := measured["diameter_mm"].to_numpy().copy(), ["diameter_x_mm", "diameter_y_mm"], cold_at),
    ):
        bad = flagged.filter(pl.col("channel").is_in(channels))["row"].unique().to_numpy()
        values[np.searchsorted(rows, bad)] = np.nan
        values[placement.phase_on_wire(at) != STEADY] = np.nan
    return shrinkage(hot_at, hot_mm, cold_at, cold_mm, conductor_mm)


def _block_areas(at_m: Floats, diameter_mm: Floats, conductor_mm: float) -> dict[int, float]:
    """Mean insulation area by block of wire, for blocks read at least half through."""
    known = np.isfinite(diameter_mm) & np.isfinite(at_m)
    if not bool(known.any()):
        return {}
    block = np.floor(at_m[known] / BLOCK_M).astype(np.int64)
    area = np.pi / 4.0 * (diameter_mm[known] ** 2 - conductor_mm**2)
    first = int(block.min())
    number = np.bincount(block - first)
    total = np.bincount(block - first, area)
    enough = number >= 0.5 * np.median(number[number > 0])
    return {first + int(k): float(total[k] / number[k]) for k in np.flatnonzero(enough)}


def _effective(ratio: Floats) -> tuple[float, float]:
    """Correlation of successive blocks and what they are worth as independent ones.

    AR(1), with the estimate's bias of -(1 + 3 phi)/n taken off (M.G. Kendall, Biometrika 41, 1954; from memory).
    """
    away = ratio - ratio.mean()
    square = float(away @ away)
    lag_one = float(away[1:] @ away[:-1]) / square if square > 0 else 0.0
    phi = min(max(lag_one + (1.0 + 3.0 * lag_one) / ratio.size, 0.0), 0.98)
    return lag_one, float(max(2.0, ratio.size * (1.0 - phi) / (1.0 + phi)))


def usual_shrinkage(now: float, earlier: Floats, confidence: float = 0.99) -> Result | Refused:
    """Which shrinkage earlier runs of the product lead one to expect, and a warning where a run lies outside it.

    Prediction interval: mean +- t s sqrt(1 + 1/n) of the earlier runs.

    Args:
        now: the run's shrinkage, cold over hot area.
        earlier: shrinkage of earlier runs of the same product.
        confidence: share of runs the interval is to hold.

    Returns:
        The interval, with the run's shrinkage as the detail ``this_run``; a refusal with fewer than five earlier runs.
    """
    question = asks(Quantity.USUAL_HOT_TO_COLD)
    method = message(Method.PREDICTION_INTERVAL)
    if earlier.size < _FEWEST_RUNS:
        return Refused(
            question,
            method,
            message(Reason.TOO_FEW_EARLIER_RUNS, earlier=earlier.size),
            int(earlier.size),
        )
    mean, sd = float(earlier.mean()), float(earlier.std(ddof=1))
    half = (
        float(stats.t.isf((1.0 - confidence) / 2.0, earlier.size - 1))
        * sd
        * float(np.sqrt(1 + 1 / earlier.size))
    )
    out = message(
        Note.SHRANK_OUT_OF_FAMILY, now=100 * now, mean=100 * (mean - half), mean_2=100 * (mean + half)
    )
    return Result(
        question=question,
        estimate=mean,
        low=mean - half,
        high=mean + half,
        confidence=confidence,
        unit="",
        method=method,
        n=int(earlier.size),
        effective_n=None,
        known_m=None,
        unit_of_inference="section average",
        warnings=(out,) if abs(now - mean) > half else (),
        details={"this_run": now},
    )
