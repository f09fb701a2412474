"""How deep a reel dips under its own level: clusters of low readings, their depths, and the doubt about both.

Deviations from each reel's own level are pooled; their lower tail is a rate of clusters and a generalised
Pareto distribution of depths (Coles, An Introduction to Statistical Modeling of Extreme Values, 2001, chapter
4, from memory). Doubt comes from redrawing whole blocks of wire, so neighbouring readings stay together.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.statistics.autocorrelation import effective_n
from pipeline.statistics.extremal_index import decluster, intervals_estimate, run_from_extremal_index

Floats = NDArray[np.float64]

THRESHOLD_SHARE = 0.05  # of the readings lie under the threshold (chosen here)
FEWEST_BLOCKS = 20
BLOCK_CORRELATIONS = 3.0  # a block is at least this many times as long as the correlation reaches
_GRID = np.arange(-6.0, 6.0001, 0.05)
_LEAST_SHAPE = -0.95
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(96)
_REACH = 7.0  # standard deviations of the level that are looked at either way


@dataclass(frozen=True, slots=True)
class WithinTail:
    """Clusters of low deviations, by block of wire.

    Args:
        threshold: deviation under which a reading belongs to a cluster, below zero.
        deficits: threshold minus the lowest deviation of each cluster.
        block: block of each cluster, from 0.
        known_m: wire read in each block [m].
        square: sum of squared deviations in each block.
        readings: readings in each block.
    """

    threshold: float
    deficits: Floats
    block: NDArray[np.int64]
    known_m: Floats
    square: Floats
    readings: Floats


@dataclass(frozen=True, slots=True)
class TailDraws:
    """Rate, scale and shape of the tail and the deviation within reels, one value a draw.

    Args:
        clusters_per_m: rate of clusters [1/m].
        scale: sigma of the depths.
        shape: xi of the depths.
        within_sd: standard deviation of the deviations.
    """

    clusters_per_m: Floats
    scale: Floats
    shape: Floats
    within_sd: Floats

    @property
    def first(self) -> TailDraws:
        """The first draw alone."""
        return TailDraws(self.clusters_per_m[:1], self.scale[:1], self.shape[:1], self.within_sd[:1])


def deviations(values: Sequence[Floats]) -> list[Floats]:
    """Deviations of readings from the level of their own reel.

    Args:
        values: readings of each reel.
    """
    return [one - one.mean() for one in values]


def block_reach(values: Sequence[Floats]) -> int:
    """Readings over which the correlation within reels reaches, at least 1; the median over reels."""
    reach = [effective_n(one).cut_lag for one in values if one.size > 50 and float(np.ptp(one)) > 0.0]
    return max(int(np.median(reach)), 1) if reach else 1


def within_tail(
    values: Sequence[Floats],
    at_m: Sequence[Floats],
    step_m: float,
    cuts: Sequence[int],
) -> WithinTail | None:
    """Clusters of low deviations of several reels, by block; None where there are fewer than twenty.

    Args:
        values: readings of each reel that count.
        at_m: their places [m].
        step_m: wire between two readings [m].
        cuts: blocks each reel is cut into, as of `block_cuts`.

    The run that parts clusters comes from the extremal index of the spacings (Ferro and Segers 2003).
    """
    away = deviations(values)
    threshold = float(np.quantile(np.concatenate(away), THRESHOLD_SHARE))
    spacings = np.concatenate(
        [
            np.maximum(np.rint(np.diff(place[one < threshold]) / step_m), 1.0)
            for one, place in zip(away, at_m, strict=True)
        ]
    )
    if spacings.size < 20 or threshold >= 0.0:
        return None
    theta = intervals_estimate(spacings)
    run_m = run_from_extremal_index(spacings, theta) * step_m
    deficits, block, known, square, count = [], [], [], [], []
    first = 0
    for one, place, pieces in zip(away, at_m, cuts, strict=True):
        found = decluster(one, place, threshold, run_m)
        edges = np.linspace(place[0], place[-1] + step_m, pieces + 1)
        inside = np.clip(np.searchsorted(edges, place, side="right") - 1, 0, pieces - 1)
        deficits.append(found.deficit)
        block.append(first + np.clip(np.searchsorted(edges, found.at_m, side="right") - 1, 0, pieces - 1))
        number = np.bincount(inside, minlength=pieces).astype(np.float64)
        known.append(number * step_m)
        square.append(np.bincount(inside, one**2, minlength=pieces))
        count.append(number)
        first += pieces
    depth = np.concatenate(deficits)
    if depth.size < 20 or float(np.ptp(depth)) <= 0.0:
        return None
    return WithinTail(
        threshold,
        depth,
        np.concatenate(block).astype(np.int64),
        np.concatenate(known),
        np.concatenate(square),
        np.concatenate(count),
    )


def block_cuts(values: Sequence[Floats]) -> list[int]:
    """Blocks each reel is cut into: at least twenty in all, but none shorter than three times the correlation.

    Args:
        values: readings of each reel.
    """
    longest = max(int(BLOCK_CORRELATIONS * block_reach(values)), 1)
    wanted = math.ceil(FEWEST_BLOCKS / len(values))
    return [max(1, min(wanted, one.size // longest)) for one in values]


def redraws(blocks: int, draws: int, seed: int) -> Floats:
    """How often each block is taken in each draw, as many blocks as there are: the plain bootstrap of blocks.

    Args:
        blocks: number of blocks.
        draws: number of draws.
        seed: of the random numbers.
    """
    random = np.random.default_rng(seed)
    return random.multinomial(blocks, np.full(blocks, 1.0 / blocks), size=draws).astype(np.float64)


def fit_draws(tail: WithinTail, taken: Floats) -> TailDraws:
    """Maximum-likelihood tail of every draw at once.

    For tau = xi/sigma the best shape is the mean of ln(1 + tau y), so the likelihood of one number is looked up
    on a grid with weights (Grimshaw, Technometrics 35 (1993), 185-191, from memory).

    Args:
        tail: clusters by block.
        taken: how often each block is taken, one row a draw.
    """
    blocks, top = tail.known_m.size, float(tail.deficits.max())
    y = tail.deficits / top
    tau = np.where(np.abs(_GRID) < 1e-9, 0.0, np.expm1(_GRID))
    logs = np.stack([np.bincount(tail.block, np.log1p(one * y), minlength=blocks) for one in tau], axis=1)
    number = taken @ np.bincount(tail.block, minlength=blocks).astype(np.float64)
    many = np.maximum(number, 1.0)
    shape = (taken @ logs) / many[:, None]
    mean = (taken @ np.bincount(tail.block, y, minlength=blocks)) / many
    flat = np.abs(_GRID) < 1e-9
    scale = np.where(flat, mean[:, None], shape / np.where(flat, 1.0, tau))
    with np.errstate(divide="ignore", invalid="ignore"):
        height = np.where(shape > _LEAST_SHAPE, -np.log(scale) - shape - 1.0, -np.inf)
    best = np.clip(np.argmax(height, axis=1), 1, _GRID.size - 2)
    row = np.arange(best.size)
    before, at, after = height[row, best - 1], height[row, best], height[row, best + 1]
    with np.errstate(invalid="ignore", divide="ignore"):
        shift = np.where(np.isfinite(before), 0.5 * (before - after) / (before - 2.0 * at + after), 0.0)
    shift = np.clip(np.nan_to_num(shift), -0.5, 0.5)
    near = np.where(shift < 0.0, best - 1, best + 1)
    # No scale, no neighbor to lean on: the best grid point stands alone.
    share = np.where(scale[row, near] > 0.0, np.abs(shift), 0.0)
    mixed_shape = (1.0 - share) * shape[row, best] + share * shape[row, near]
    there = np.where(scale[row, near] > 0.0, scale[row, near], 1.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        mixed_scale = np.exp((1.0 - share) * np.log(scale[row, best]) + share * np.log(there))
    return TailDraws(
        number / (taken @ tail.known_m),
        mixed_scale * top,
        mixed_shape,
        np.sqrt((taken @ tail.square) / (taken @ tail.readings)),
    )


def chance_of_reel(
    depth: Floats, level_sd: Floats, tail: TailDraws, threshold: float, factor: Floats, reel_m: float
) -> Floats:
    """Probability that a reel has a point under a limit `depth` under the mean level, for every draw.

    E_b[1 - exp(-rate L q(u + depth + b))], b normal with deviation `level_sd`; q is 1 above the threshold.

    Args:
        depth: mean level minus limit, one value a draw.
        level_sd: standard deviation of reel levels, one value a draw.
        tail: rate, scale and shape, one value a draw.
        threshold: u, deviation under which clusters are counted.
        factor: multiplies all deviations within reels (noise taken off, or variation below the gauge's window
            put on), one value a draw.
        reel_m: length of a reel [m].

    Source: mixing over reels derived here; the integral is Gauss-Legendre over seven deviations.
    """
    z = _REACH * _NODES
    weight = _REACH * _WEIGHTS * np.exp(-0.5 * z**2) / math.sqrt(2.0 * math.pi)
    below = (threshold * factor + depth)[:, None] + level_sd[:, None] * z
    scaled = np.maximum(below, 0.0) / (tail.scale * factor)[:, None]
    shape = tail.shape[:, None]
    flat = np.abs(shape) < 1e-6
    with np.errstate(divide="ignore"):
        inside = np.maximum(1.0 + shape * scaled, 0.0)
        power = np.where(flat, scaled, np.log(inside) / np.where(flat, 1.0, shape))
    q = np.exp(-power)
    chance = -np.expm1(-tail.clusters_per_m[:, None] * reel_m * q)
    return np.asarray(chance @ weight, dtype=np.float64)


def depth_for_chance(
    chance: float, level_sd: Floats, tail: TailDraws, threshold: float, factor: Floats, reel_m: float
) -> Floats:
    """How far the mean level must lie above a limit for a share `chance` of reels to go under it.

    Args:
        chance: accepted share of reels.
        level_sd: as in `chance_of_reel`.
        tail: likewise.
        threshold: likewise.
        factor: likewise.
        reel_m: likewise.

    Returns:
        The depth of every draw, by bisection to a thousandth of the deviation.
    """
    spread = np.hypot(level_sd, tail.within_sd * factor)
    low, high = np.zeros(spread.size), 8.0 * spread
    for _ in range(12):  # an unbounded tail may ask for more
        short = chance_of_reel(high, level_sd, tail, threshold, factor, reel_m) > chance
        if not bool(short.any()):
            break
        high = np.where(short, 2.0 * high, high)
    for _ in range(18):
        middle = 0.5 * (low + high)
        over = chance_of_reel(middle, level_sd, tail, threshold, factor, reel_m) > chance
        low, high = np.where(over, middle, low), np.where(over, high, middle)
    return 0.5 * (low + high)
