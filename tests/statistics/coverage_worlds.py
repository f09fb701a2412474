"""Invented wire of known truth for the coverage grid: readings a metre apart, reels of one kilometre.

Every world but those of reels or clusters is a stationary first-order autoregression, turned into another shape by its
own quantiles, so that the mean, the deviation and the share beyond a limit are exact. All of it is invented.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy import stats
from scipy.signal import lfilter

from pipeline.products.limits import Limit
from pipeline.sheets.line_sheet import Instrument
from pipeline.steps.evidence import Seen

Array = NDArray[np.float64]
Random = np.random.Generator
REEL_M = 1000
CENTRE_MM, SPREAD_MM = 0.40, 0.006
# Deviation between reels of different level, in deviations of the readings within one.
BETWEEN = 0.7
# Notches a metre, and the greatest depth of one in deviations of the wall.
GRID = np.linspace(-7.0, 7.0, 4001)
NOTCHES_PER_M, NOTCH_SD = 0.002, 6.0
BUNCH, BUNCH_M = 4, 20


@dataclass(frozen=True, slots=True)
class World:
    """One kind of wire.

    Args:
        shape: by the name of a `Kind`.
        phi: correlation of neighbouring readings.
    """

    shape: str
    phi: float

    def reels(self, many: int, random: Random) -> Array:
        """Readings of so many reels in the order made, one a row [mm]."""
        n = many * REEL_M
        noise = random.standard_normal(n + 400)
        noise[1:] *= math.sqrt(1.0 - self.phi**2)
        x = lfilter([1.0], [1.0, -self.phi], noise)[400:]
        wall = CENTRE_MM + SPREAD_MM * shaped(x, self.shape)
        if self.shape == "rare notches":
            hit = random.random(n) < NOTCHES_PER_M
            wall[hit] -= SPREAD_MM * NOTCH_SD * random.random(int(hit.sum()))
        if self.shape == "clusters":
            # Notches in bunches of `BUNCH` over `BUNCH_M`, as many in all.
            first = np.flatnonzero(random.random(n) < NOTCHES_PER_M / BUNCH)
            at = (first[:, None] + random.integers(0, BUNCH_M, (first.size, BUNCH))).ravel()
            np.subtract.at(wall, at[at < n], SPREAD_MM * NOTCH_SD * random.random(int((at < n).sum())))
        wall = wall.reshape(many, REEL_M)
        if self.shape == "reels of different level":
            wall += BETWEEN * SPREAD_MM * random.standard_normal((many, 1))
        return wall

    def index(self, limit: float) -> float:
        """Index of single readings against a lower limit [mm], from their exact moments; of reels of one level."""
        mean, variance = 0.0, 1.0
        if self.shape in {"rare notches", "clusters"}:
            # Depths uniform from 0: mean d/2, mean square d^2/3; each of a bunch lies where it does by itself.
            mean, variance = -NOTCHES_PER_M * NOTCH_SD / 2.0, 1.0 + NOTCHES_PER_M * NOTCH_SD**2 / 3.0
        return (CENTRE_MM + mean * SPREAD_MM - limit) / (3.0 * SPREAD_MM * math.sqrt(variance))


def shaped(x: Array, shape: str) -> Array:
    """A standard normal series as one of mean 0 and deviation 1 of the shape named."""
    if shape in {"skewed thin", "skewed thick"}:
        side = -1.0 if shape == "skewed thin" else 1.0
        # The quantiles of a gamma law of shape 4 (skewness 1), on a grid fine enough for the tail.
        return np.asarray(side * (np.interp(side * x, GRID, _gamma_on_grid()) - 4.0) / 2.0)
    if shape == "bounded":
        return np.asarray((stats.norm.cdf(x) - 0.5) * math.sqrt(12.0))
    return x


def fault_places(kind: str, mean: float, many: int, random: Random) -> Array:
    """Where the faults of so many reels lie on the wire [m], as `fault_counts` has them; a cluster within `BUNCH_M`.

    Args:
        kind: by the name of a `Kind`.
        mean: faults a reel.
        many: reels.
        random: random numbers.
    """
    wire = REEL_M * many
    if kind == "clusters":
        sizes = random.geometric(0.25, random.poisson(mean * many / 4.0))
        first = np.repeat(random.random(sizes.size) * (wire - BUNCH_M), sizes)
        return np.sort(first + BUNCH_M * random.random(first.size))
    counts = fault_counts(kind, mean, many, random)
    return np.sort(np.repeat(REEL_M * np.arange(many), counts) + REEL_M * random.random(int(counts.sum())))


def fault_counts(kind: str, mean: float, many: int, random: Random) -> NDArray[np.int64]:
    """Faults of so many reels: of Poisson, in clusters of four on average, or with a rate of each reel's own.

    Args:
        kind: by the name of a `Kind`.
        mean: faults a reel.
        many: reels.
        random: random numbers.
    """
    if kind == "clusters":
        clusters = random.poisson(mean / 4.0, many)
        return np.array([int(random.geometric(0.25, one).sum()) for one in clusters], dtype=np.int64)
    if kind == "reels of different level":
        return random.poisson(mean * random.gamma(2.0, 0.5, many)).astype(np.int64)
    return random.poisson(mean, many).astype(np.int64)


@cache
def _gamma_on_grid() -> Array:
    return np.asarray(stats.gamma(4.0).isf(stats.norm.sf(GRID)))


def limit_of(requirement: str, value: float) -> Limit:
    """An invented lower limit [mm]."""
    kept = {one.name: "" for one in fields(Limit)}
    kept |= {"limit_id": requirement, "requirement": requirement, "sense": "at least", "unit": "mm"}
    return Limit(**{**kept, "value": value, "value_of_record": value})  # type: ignore[arg-type]


GAUGE = Instrument(
    id="invented gauge", kind="wall gauge", station_m=10.0, interval_s=0.1, resolution_mm=0.0005, uncertainty_mm=0.001,
    sensors=8, first_angle_deg=0.0, sees="insulation", calibrated="2026-01-01", calibration_due="2027-01-01",
)  # fmt: skip


def seen_of(name: str, values: Array) -> Seen:
    """Readings a metre apart, all of them fit and steady, as the steps see a quantity."""
    n = values.size
    every = np.ones(n, dtype=np.bool_)
    return Seen(
        name=name,
        unit="mm",
        instrument=GAUGE,
        row=np.arange(n),
        at_m=np.arange(n) + 0.5,
        value=values,
        fit=every,
        fit_for_statistics=every,
        steady=every,
        uncertainty=0.001,
        extent_m=1.0,
        hole_m=5.0,
        known=np.array([[0.0, float(n)]]),
    )
