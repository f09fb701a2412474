"""Do the wall sensors make one smooth wall, in the order the log has them? Each is asked by the others.

The wall round a section is its mean, the offset of the centre and lobes that are small beside the wall. What is left
over, against what the gauge's uncertainty and such lobes explain, shows a sensor that reads off, or sensors that are
mapped in another order: then another order leaves far less. A ring read backwards or from another first sensor makes
the same wall, turned; nothing in it shows that.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations, permutations

import numpy as np
from numpy.typing import NDArray
from scipy import special

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]
Orders = NDArray[np.int64]

# Readings whose median is one look at the wall (chosen here: 1 to 25 s at 20 to 1 Hz).
LOOK = 25
FEWEST_LOOKS, FEWEST_SENSORS = 8, 4
# Lobes of the outside that no tool is blamed for, as shares of the wall; higher orders half the last (chosen here).
LOBES = {2: 0.004, 3: 0.002}
# What calibration may leave at the least, as a share of the stated standard uncertainty (chosen here).
LEAST_LASTING = 0.5
# How far a sensor's bias and the lobes may move within a run, as shares (chosen here).
MOVES = 0.4
# A look is off below this probability; two neighbours must be, so that chance has no say.
OFF_P = 1e-5
# Another order, or one sensor's offset, must take away so much of chi-square, and leave at most this share.
GAIN, LEFT = 30.0, 0.4
# Parts of a run whose profiles are compared.
PARTS = 12
# Rings of more sensors are searched by exchanges of two and by rows of sensors turned round.
WHOLE_SEARCH = 8


@dataclass(frozen=True)
class RingShape:
    """What the sensors of a ring say of each other.

    Args:
        order: the order in which they make a smooth wall (column by column, from 0); None where that is the log's.
        off_by_mm: for each sensor that reads off the others' wall, by how much at its worst [mm].
        off: rows x sensors, True where that sensor reads off.
        unsmooth: rows on which the sensors make no smooth wall and no one sensor is to blame.
        least_mm: smallest offset of one sensor that is found nine times in ten [mm]; NaN where nothing was asked.
        least_change_mm: the same of a change within the run [mm].
        looks: how many looks there were.
    """

    order: tuple[int, ...] | None
    off_by_mm: dict[int, float]
    off: Mask
    unsmooth: Mask
    least_mm: float
    least_change_mm: float
    looks: int


def ring_shape(walls: Floats, uncertainty_mm: float, lobes_mm: float | None = None) -> RingShape:
    """What the sensors say of each other along a run.

    With t the sensors' medians over a look, C their covariance under a smooth wall (lasting u^2 I, scatter of looks,
    lobes), and P the mean and offset, free: chi2 = t' Q t, Q = C^-1 - C^-1 P (P' C^-1 P)^-1 P' C^-1. An offset of
    sensor k alone is (Q t)_k / Q_kk and takes (Q t)_k^2 / Q_kk away (derived).

    Args:
        walls: readings of the sensors, rows x sensors, equally spaced [mm]; NaN where one may not be used.
        uncertainty_mm: standard uncertainty of one reading [mm].
        lobes_mm: largest lobes of the outside, where the line sheet says so [mm].

    Source:
        Derived (generalised least squares).
    """
    rows, sensors = walls.shape
    nothing = RingShape(
        None, {}, np.zeros(walls.shape, np.bool_), np.zeros(rows, np.bool_), float("nan"), float("nan"), 0
    )
    if sensors < FEWEST_SENSORS or uncertainty_mm <= 0.0:
        return nothing
    known = np.flatnonzero(np.isfinite(walls).sum(axis=1) >= FEWEST_SENSORS)
    count = known.size // LOOK
    if count < FEWEST_LOOKS:
        return nothing
    taken = known[: count * LOOK].reshape(count, LOOK)
    blocks = walls[taken]
    read = np.isfinite(blocks).mean(axis=1) > 0.5
    # A sensor out for most of a look is left to one value, so that its median is of something.
    filled = np.where(read[:, None, :], blocks, 0.0)
    looks = np.where(read, _medians(filled), np.nan)
    whole = read.all(axis=1)
    between, moving = _covariance(looks, blocks, uncertainty_mm, lobes_mm, whole)
    order = _order(looks[whole], between, moving) if int(whole.sum()) >= PARTS else None
    if order is not None:
        return RingShape(order, {}, nothing.off, nothing.unsmooth, float("nan"), float("nan"), count)
    off, unsmooth = nothing.off.copy(), nothing.unsmooth.copy()
    sizes: dict[int, float] = {}
    edges = np.append(taken[:, 0], rows)
    edges[0] = 0
    drifted = looks - _usual(looks)
    for sensor, size, is_off, at_level in (
        (*_asked(looks, read, between), True),
        (*_asked(drifted, read, moving), False),
    ):
        for look in np.flatnonzero(is_off).tolist():
            here = slice(int(edges[look]), int(edges[look + 1]))
            who = int(sensor[look])
            if who >= 0:
                off[here, who] = True
                if abs(size[look]) > abs(sizes.get(who, 0.0)):
                    sizes[who] = float(size[look])
            elif at_level:
                unsmooth[here] = True
    return RingShape(None, sizes, off, unsmooth, _least(between), _least(moving), count)


def _medians(blocks: Floats) -> Floats:
    """Median of each sensor over each look, of what is known; looks x readings x sensors."""
    medians: Floats = np.median(blocks, axis=1)
    holes = np.flatnonzero(np.isnan(medians).any(axis=1))
    if holes.size:
        medians[holes] = np.nanmedian(blocks[holes], axis=1)
    return medians


# Lags at which readings are compared, rows taken for it, and how alike neighbors must be (chosen here).
LAGS, MOST_ROWS, ALIKE = 60, 20_000, 0.3


def rows_together(walls: Floats) -> int:
    """Rows of which a reading is as good as the mean, by the gauge's own noise; 0 where each stands for itself.

    The mean square between readings k rows apart reaches half of what it is far apart at k = m/2 for means over m rows,
    and at once for readings of their own (derived).

    Args:
        walls: readings of the sensors, rows x sensors, equally spaced [mm]; NaN where one may not be used.
    """
    sensors = walls.shape[1]
    known = walls[np.isfinite(walls).all(axis=1)][:MOST_ROWS]
    if sensors < FEWEST_SENSORS or known.shape[0] < 4 * LAGS:
        return 0
    angle = 2.0 * np.pi * np.arange(sensors) / sensors
    smooth = np.stack([np.ones(sensors), np.cos(angle), np.sin(angle)], axis=1)
    noise = known - known @ (smooth @ np.linalg.pinv(smooth))
    apart = np.array([float(((noise[k:] - noise[:-k]) ** 2).mean()) for k in range(1, LAGS + 1)])
    far = float(np.median(apart[LAGS // 2 :]))
    if far <= 0.0 or apart[0] >= ALIKE * far:
        return 0
    half = np.flatnonzero(apart >= 0.5 * far)
    return 2 * int(half[0] + 1) if half.size else 2 * LAGS


def _usual(looks: Floats) -> Floats:
    """Each sensor's usual reading beside its neighbours: the median over the run."""
    there = np.isfinite(looks)
    some = there.any(axis=0)
    bare = looks - (np.where(there, looks, 0.0).sum(axis=1) / np.maximum(there.sum(axis=1), 1))[:, None]
    usual: Floats = np.zeros(looks.shape[1])
    usual[some] = np.nanmedian(bare[:, some], axis=0)
    return usual


def _least(between: Floats) -> float:
    """Smallest offset of one sensor found nine times in ten [mm]."""
    own = float(_weight(between, np.arange(between.shape[0]))[0, 0])
    return (float(np.sqrt(GAIN)) + 1.2816) / float(np.sqrt(own)) if own > 0 else float("nan")


def _covariance(
    looks: Floats, blocks: Floats, u: float, lobes_mm: float | None, whole: Mask
) -> tuple[Floats, Floats]:
    """Covariance of the sensors' medians [mm2] under a smooth wall with small lobes, and of their changes."""
    sensors = looks.shape[1]
    steps = np.diff(blocks, axis=1)
    noise = float(np.nanmedian(np.abs(steps))) * 1.4826 / np.sqrt(2.0)
    lasting = max(float(np.sqrt(max(u * u - noise * noise, 0.0))), LEAST_LASTING * u)
    # From look to look what no smooth wall explains is the gauge's scatter over such a time.
    around = np.fft.rfft(looks[whole], axis=1)[:, 2:] if int(whole.sum()) > 2 else np.zeros((0, 1))
    apart = np.abs(np.diff(around.real, axis=0)) if around.shape[0] > 1 else np.zeros((0, 1))
    scatter = float(np.median(apart)) * 1.4826 / np.sqrt(sensors) if apart.size else u
    wall = float(np.nanmedian(looks))
    angle = 2.0 * np.pi * np.arange(sensors) / sensors
    scatter = max(scatter, u / LOOK**0.5)
    lobed = np.zeros((sensors, sensors))
    for order in range(2, sensors // 2 + 1):
        share = LOBES.get(order, LOBES[3] / 2.0)
        size = share * wall if lobes_mm is None else min(share * wall, lobes_mm / order)
        lobed += size**2 * np.cos(order * (angle[:, None] - angle[None, :]))
    even = np.eye(sensors)
    moves = (MOVES * u) ** 2 + scatter**2
    return even * (lasting**2 + scatter**2) + lobed, even * moves + MOVES**2 * lobed


def _weight(between: Floats, live: Orders) -> Floats:
    """Q of the sensors `live`: what is left over weighed, mean and offset free."""
    inverse = np.linalg.inv(between[np.ix_(live, live)])
    angle = 2.0 * np.pi * live / between.shape[0]
    free = np.stack([np.ones(live.size), np.cos(angle), np.sin(angle)], axis=1)
    part = inverse @ free
    weight: Floats = inverse - part @ np.linalg.inv(free.T @ part) @ part.T
    return weight


def _asked(looks: Floats, read: Mask, between: Floats) -> tuple[Orders, Floats, Mask]:
    """For each look the one sensor to blame (-1: none), its offset [mm], and whether the look is off at all."""
    count = looks.shape[0]
    blamed, size = np.full(count, -1), np.zeros(count)
    chance = np.ones(count)
    one_more = np.ones(count)
    for bits in np.unique(read, axis=0):
        live = np.flatnonzero(bits)
        if live.size < FEWEST_SENSORS:
            continue
        here = np.flatnonzero((read == bits).all(axis=1))
        weight = _weight(between, live)
        pull = looks[np.ix_(here, live)] @ weight
        chi2 = (pull * looks[np.ix_(here, live)]).sum(axis=1)
        own = np.diag(weight)
        gain = pull**2 / own
        best = gain.argmax(axis=1)
        chance[here] = special.chdtrc(live.size - 3, chi2)
        left = np.maximum(chi2 - gain.max(axis=1), 0.0)
        one_more[here] = left / np.maximum(chi2, 1e-12)
        second = np.sort(gain, axis=1)[:, -2]
        clear = (
            (gain.max(axis=1) > GAIN)
            & (gain.max(axis=1) - second > GAIN / 4.0)
            & (live.size > FEWEST_SENSORS)
        )
        clear &= left < LEFT * chi2
        blamed[here] = np.where(clear, live[best], -1)
        size[here] = np.take_along_axis(pull / own, best[:, None], axis=1)[:, 0]
    off = chance < OFF_P
    beside = np.zeros(count, np.bool_)
    beside[1:] |= off[:-1]
    beside[:-1] |= off[1:]
    return blamed, size, off & beside


@lru_cache(maxsize=8)
def _arrangements(sensors: int) -> Orders:
    """Orders of a ring that make unlike walls: those that differ by a turn or by reading backwards are one."""
    if sensors <= WHOLE_SEARCH:
        rest = [one for one in permutations(range(1, sensors)) if one[0] < one[-1]]
        return np.array([(0, *one) for one in rest], dtype=np.int64)
    found = [tuple(range(sensors))]
    for a, b in combinations(range(sensors), 2):
        order = list(range(sensors))
        order[a], order[b] = b, a
        found.append(tuple(order))
        order = list(range(sensors))
        order[a : b + 1] = order[a : b + 1][::-1]
        found.append(tuple(order))
    found.append((*range(0, sensors, 2), *range(1, sensors, 2)))
    return np.array(found, dtype=np.int64)


def _order(looks: Floats, between: Floats, moving: Floats) -> tuple[int, ...] | None:
    """The order that leaves far less than the log's over the run and over each third of it; None for the log's own.

    What stays and what moves along the run are weighed apart: lobes of a tool stay, the offset of the centre moves.
    """
    sensors = looks.shape[1]
    orders = _arrangements(sensors)
    bare = looks - looks.mean(axis=1, keepdims=True)
    parts = np.stack([np.median(one, axis=0) for one in np.array_split(bare, PARTS)])
    lasts = np.median(parts, axis=0)
    weight, moved = (_weight(one, np.arange(sensors)) for one in (between, moving))
    logged = int(np.flatnonzero((orders == np.arange(sensors)).all(axis=1))[0])
    stays = _left(lasts, orders, weight)
    moves = np.stack([_left(one - lasts, orders, moved) for one in parts], axis=1)
    total = stays + moves.sum(axis=1)
    best = int(np.argmin(total))
    gained = total[logged] - total[best]
    if best == logged or gained < GAIN or total[best] > LEFT * total[logged]:
        return None
    # No single stretch of poor wire may speak for the run, and neither part may speak against it.
    if stays[logged] - stays[best] + np.sort(moves[logged] - moves[best])[:-2].sum() < GAIN / 2.0:
        return None
    if stays[logged] < stays[best] - 4.0 or moves[logged].sum() < moves[best].sum() - 4.0:
        return None
    # One sensor that reads off explains it as well: an order is not the simplest word for it.
    pull, own = weight @ lasts, np.diag(weight)
    one = pull**2 / own
    if (
        float(stays[logged] - one.max()) < LEFT * stays[logged]
        and moves[logged].sum() < 2.0 * moves[best].sum() + GAIN / 2.0
    ):
        return None
    return tuple(int(k) for k in orders[best])


def _left(part: Floats, orders: Orders, weight: Floats) -> Floats:
    """Chi-square left of one profile in each order: place k round the ring takes the reading of column order[k]."""
    turned = part[orders]
    left: Floats = np.einsum("ij,jk,ik->i", turned, weight, turned)
    return left
