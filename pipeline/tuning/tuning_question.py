"""What is known beside the runs when a line is to be tuned: limits, prices, risks, turns of bolts, circumstances."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from pipeline.length.steady_state import STOP
from pipeline.messages import Message
from pipeline.products.limits import Limit
from pipeline.sheets.line_sheet import LineSheet
from pipeline.sheets.run_sheet import Covering
from pipeline.statistics.against_record import Observed
from pipeline.tuning.before_after import ReelFact
from pipeline.tuning.bolt_response import Adjustment
from pipeline.tuning.giveaway import Price
from pipeline.tuning.line_run import LineRun
from pipeline.tuning.response import Loop
from pipeline.tuning.target import Risks

Floats = NDArray[np.float64]

PURGE_M = (
    60.0  # wire until the crosshead's content is renewed, where the plant says nothing (common practice)
)
DRAWS = 200
FEWEST_STANDING = 100


@dataclass(frozen=True, slots=True)
class TuningQuestion:
    """What is known beside the runs.

    Args:
        line: the line sheet.
        limits: limits in force for the product.
        price: density and prices of the insulation.
        covering: what the run sheet states of the covering; None for a single layer.
        covering_price: density and prices of the covering.
        risks: accepted risks.
        noise_mm: standard deviation of one wall sensor's noise [mm]; from standing wire where left out.
        small_scale_mm: standard deviation between neighbouring cut slices [mm]; None if never measured.
        adjustments: logged turns of bolts, by run.
        trials: runs that were trials of settings: they teach responses, and the target stands on the others.
        circumstances: shift, operator role, lots and the like, by run.
        found_m: by run, stretches of wire [m] found nonconforming, a row each (see `own_variation`).
        observed: reels on file found bad, by requirement and limit [unit of the limit].
        facts: reels to compare before and after the change; those of the runs where left out.
        changed: instant of a change to compare before and after; None for no comparison.
        loop: whether a control moves the settings by the wall, for runs that do not say.
        loops: the same by run.
        purge_m: wire until the crosshead's content is renewed [m].
        melt_exponent: exponent of the melt's power law; None if not known.
        draws: bootstrap draws.
        seed: of the random numbers.
        missing: walls of the insulation that a requirement set asks for and no limit on file gives; with one there
            is no target.
    """

    line: LineSheet
    limits: tuple[Limit, ...]
    price: Price
    covering: Covering | None = None
    covering_price: Price | None = None
    risks: Risks = field(default_factory=Risks)
    noise_mm: float | None = None
    small_scale_mm: float | None = None
    adjustments: Mapping[str, Sequence[Adjustment]] = field(default_factory=dict)
    trials: frozenset[str] = frozenset()
    circumstances: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    found_m: Mapping[str, Floats] = field(default_factory=dict)
    observed: Mapping[tuple[str, float], Observed] = field(default_factory=dict)
    facts: tuple[ReelFact, ...] = ()
    changed: datetime | None = None
    loop: Loop = "not known"
    loops: Mapping[str, Loop] = field(default_factory=dict)
    purge_m: float = PURGE_M
    melt_exponent: float | None = None
    draws: int = DRAWS
    seed: int = 1
    missing: tuple[Message, ...] = ()


def noise_from_stops(runs: Sequence[LineRun], sensors: int) -> float | None:
    """Standard deviation of one wall sensor's noise from standing wire [mm]; None without enough of it.

    On one spot the mean of N sensors varies by sg/sqrt(N) and each axis of the offset by sg sqrt(2/N).

    Args:
        runs: the runs.
        sensors: N.

    Heat and vibration differ while the line runs. Source: derived.
    """
    squares, freedom = 0.0, 0
    for run in runs:
        standing = (run.phase == STOP).astype(np.int8)
        edges = np.flatnonzero(np.diff(standing, prepend=0, append=0))
        for first, after in zip(edges[::2], edges[1::2], strict=True):
            for values, scale in (
                (run.mean_mm, sensors),
                (run.cos_mm, sensors / 2.0),
                (run.sin_mm, sensors / 2.0),
            ):
                spot = values[first:after]
                spot = spot[np.isfinite(spot)]
                if spot.size > 10:
                    squares += scale * float(((spot - spot.mean()) ** 2).sum())
                    freedom += spot.size - 1
    return math.sqrt(squares / freedom) if freedom >= FEWEST_STANDING else None
