"""Which saleable lengths are cut from which sound stretch when only so many of each are wanted?

Every way to cut a stretch is a pattern; one pattern is chosen for each stretch so that demand is kept and the
value is greatest. The linear relaxation is solved first, by column generation over the listed patterns; its
dual prices rule out every pattern that cannot be part of a better plan than one already found, and the
integer programme over the rest (branch and bound, scipy.optimize.milp) proves the best.

Source: P.C. Gilmore and R.E. Gomory (1961), A linear programming approach to the cutting-stock problem,
Operations Research 9, 849 (from memory); reduced-cost fixing is textbook.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.errors import Complaint, MethodRefusal
from pipeline.nonconformance.cutting_rules import Grid, SoundStretch

MOST_PATTERNS = 2_000_000
TIME_LIMIT_S = 60.0
_PER_ROUND = 8  # patterns a stretch may add in one round of column generation

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class _Pool:
    """Every pattern: pieces of each length, value, and the stretch it belongs to."""

    counts: Whole
    value: Floats
    stretch: Whole
    stretches: int
    demand: Floats


def _patterns(ticks: int, grid: Grid) -> tuple[Whole, Floats]:
    """Every way to cut one stretch within demand, with its value, a kept remnant included."""
    counts, used = np.zeros((1, 0), dtype=np.int64), np.zeros(1, dtype=np.int64)
    for length, demand in zip(grid.lengths, grid.demands, strict=True):
        most = ticks // length if demand is None else min(ticks // length, demand)
        more = np.arange(most + 1)
        if used.size * more.size > 20 * MOST_PATTERNS:
            raise _too_many()
        then = used[:, None] + length * more[None, :]
        row, many = np.nonzero(then <= ticks)
        counts, used = np.column_stack((counts[row], more[many])), then[row, many]
        if used.size > MOST_PATTERNS:
            raise _too_many()
    return counts, counts @ np.array(grid.values) + grid.remnant_values(ticks - used)


def _too_many() -> MethodRefusal:
    return MethodRefusal(
        Complaint(
            "cutting plan",
            f"with limited demand there are more than {MOST_PATTERNS:,} ways to cut the reels",
            "Plan fewer reels or fewer lengths at a time, or leave the demand open",
        )
    )


def _pool(stretches: Sequence[SoundStretch], grid: Grid) -> _Pool:
    found = [_patterns(one.ticks, grid) for one in stretches]
    sizes = [value.size for _, value in found]
    if sum(sizes) > MOST_PATTERNS:
        raise _too_many()
    return _Pool(
        np.concatenate([counts for counts, _ in found]),
        np.concatenate([value for _, value in found]),
        np.repeat(np.arange(len(found)), sizes),
        len(found),
        np.array([np.inf if demand is None else float(demand) for demand in grid.demands]),
    )


def _relaxed(pool: _Pool, active: Whole) -> tuple[float, Floats]:
    """Value of the linear relaxation over the active patterns, and every pattern's gain over its prices."""
    from scipy.optimize import linprog

    owner = np.zeros((pool.stretches, active.size))
    owner[pool.stretch[active], np.arange(active.size)] = 1.0
    limited = np.isfinite(pool.demand)
    answer = linprog(
        -pool.value[active],
        A_eq=owner,
        b_eq=np.ones(pool.stretches),
        A_ub=pool.counts[active][:, limited].T,
        b_ub=pool.demand[limited],
        method="highs",
    )
    price = np.zeros(pool.demand.size)
    price[limited] = -answer.ineqlin.marginals
    gain = pool.value - pool.counts @ price + answer.eqlin.marginals[pool.stretch]
    return float(pool.value[active] @ np.asarray(answer.x)), gain


def _generated(pool: _Pool) -> tuple[float, Whole, Floats]:
    """Upper bound on any plan, the patterns generated on the way, and every pattern's gain at the optimum."""
    heads = np.searchsorted(pool.stretch, np.arange(pool.stretches))
    active = np.unique(np.concatenate((heads, _best_of_each(pool, pool.value, heads))))
    while True:
        bound, gain = _relaxed(pool, active)
        gain_open = gain.copy()
        gain_open[active] = -np.inf
        fresh = []
        for _ in range(_PER_ROUND):
            best = _best_of_each(pool, gain_open, heads)
            best = best[gain_open[best] > 1e-7]
            fresh.append(best)
            gain_open[best] = -np.inf
        added = np.concatenate(fresh)
        if added.size == 0:
            return bound, active, gain
        active = np.unique(np.concatenate((active, added)))


def _best_of_each(pool: _Pool, score: Floats, heads: Whole) -> Whole:
    """The pattern of highest score of each stretch; the first of equals."""
    top = np.maximum.reduceat(score, heads)
    places = np.flatnonzero(score == top[pool.stretch])
    return places[np.searchsorted(pool.stretch[places], np.arange(pool.stretches))]


def _chosen(pool: _Pool, among: Whole) -> Whole:
    """The best choice of one pattern a stretch among those given, proved by branch and bound."""
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array

    owner = csr_array(
        (np.ones(among.size), (pool.stretch[among], np.arange(among.size))),
        shape=(pool.stretches, among.size),
    )
    used = csr_array(pool.counts[among].T.astype(np.float64))
    answer = milp(
        -pool.value[among],
        integrality=np.ones(among.size, dtype=np.int64),
        bounds=Bounds(0, 1),
        constraints=[LinearConstraint(owner, 1, 1), LinearConstraint(used, -np.inf, pool.demand)],
        options={"time_limit": TIME_LIMIT_S, "mip_rel_gap": 0.0},
    )
    if answer.status != 0 or answer.x is None:
        raise MethodRefusal(
            Complaint(
                "cutting plan",
                f"no best plan was proved within {TIME_LIMIT_S:g} s",
                "Plan fewer reels at a time, or leave the demand open",
            )
        )
    return np.asarray(among[np.asarray(answer.x) > 0.5], dtype=np.int64)


def best_under_demand(stretches: Sequence[SoundStretch], grid: Grid) -> tuple[SoundStretch, ...]:
    """The stretches with the pieces cut from each, of greatest value together.

    Args:
        stretches: the sound stretches.
        grid: lengths, values and demands.

    Raises:
        MethodRefusal: there are too many ways to cut, or no best plan was proved in time.
    """
    if not stretches:
        return ()
    pool = _pool(stretches, grid)
    bound, active, gain = _generated(pool)
    chosen = _chosen(pool, active)
    # A pattern whose gain falls short by more than the gap to the bound cannot be in a better plan.
    short = float(pool.value[chosen].sum()) - bound
    worth_trying = np.flatnonzero(gain >= short - 1e-6)
    if np.setdiff1d(worth_trying, active).size:
        chosen = _chosen(pool, np.union1d(worth_trying, chosen))
    order = sorted(range(len(grid.lengths)), key=lambda kind: -grid.lengths[kind])
    of_stretch = {int(pool.stretch[at]): pool.counts[at] for at in chosen}
    return tuple(
        SoundStretch(
            one.reel_id,
            one.from_ticks,
            one.to_ticks,
            tuple(kind for kind in order for _ in range(int(of_stretch[place][kind]))),
        )
        for place, one in enumerate(stretches)
    )
