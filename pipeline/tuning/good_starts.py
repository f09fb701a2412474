"""What did the good starts of a line have in common?

Looked for only among enough starts, and paid for by how much was looked at: nothing is named without an interval, at
the same price, that leaves out no difference at all.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from pipeline.length.settling import SETTLED_BLOCK_M
from pipeline.messages import Measure, Message, message
from pipeline.methods import Method
from pipeline.quantity import Quantity, asks
from pipeline.results import Refused
from pipeline.tuned import Tuned
from pipeline.tuning.start_up import BY_RULE, Start

Floats = NDArray[np.float64]

FEWEST_STARTS = 8
PERMUTATIONS = 4000
QUESTION = asks(Quantity.GOOD_STARTS)
METHOD = message(Method.RANK_CORRELATION)
UNITS = (("_m_s", "m/s"), ("_rpm", "rpm"), ("_bar", "bar"), ("_c", "deg C"), ("_s", "s"))


@dataclass(frozen=True, slots=True)
class Common:
    """One circumstance and how scrap goes with it.

    Args:
        name: the circumstance.
        correlation: Spearman's rank correlation with scrap; for labels, the share of the variance of ranks between
            them.
        p_value: permutation probability, corrected for all circumstances looked at.
        low_m: lower end of its interval, which holds together with those of all circumstances looked at [m].
        high_m: upper end [m].
        starts: starts it is known of.
        good: its median among the shortest third of starts, or the label most of them had.
        others: the same among the longest third.
        told: what to read of it.
    """

    name: str
    correlation: float
    p_value: float
    low_m: float
    high_m: float
    starts: int
    good: str
    others: str
    told: Message


@dataclass(frozen=True, slots=True)
class GoodStarts:
    """What short starts have in common.

    Args:
        common: circumstances that stand out, the surest first.
        starts: starts used.
        told: what to read of it.
    """

    common: tuple[Common, ...]
    starts: int
    told: tuple[Message, ...]


def good_starts(starts: Sequence[Start], level: float = 0.05, seed: int = 1) -> GoodStarts | Refused:
    """What short starts have in common.

    Args:
        starts: starts of one line, of as many runs as there are.
        level: probability of naming anything by chance, over all circumstances looked at.
        seed: of the permutations.

    Returns:
        What stands out, or a `Refused` for fewer than eight starts that were over: below that they are only listed.

    Going together is not causing; try it on the next starts. Starts that differ by less than settling is known to count
    as equal. Source: S. Holm, Scand. J. Statist. 6 (1979), 65-70.
    """
    ended = [one for one in starts if math.isfinite(one.scrap_m)]
    over = [one for one in ended if one.held_by != BY_RULE]
    by_rule = (message(Tuned.STARTS_BY_RULE, n=len(ended) - len(over)),) if len(over) < len(ended) else ()
    if len(over) < FEWEST_STARTS:
        reason = message(Tuned.FEW_STARTS, n=len(over), fewest=FEWEST_STARTS)
        return Refused(QUESTION, METHOD, reason, len(over))
    names = sorted({name for one in over for name in (*one.figures, *one.labels)})
    found = [looked for place, name in enumerate(names) if (looked := _looked_at(name, over, seed + place))]
    ordered = sorted(found, key=lambda one: one.p)
    common, worst = [], 0.0
    for place, one in enumerate(ordered):
        worst = max(worst, min(one.p * (len(ordered) - place), 1.0))
        if worst <= level and (told := _common(one, worst, level / len(ordered))) is not None:
            common.append(told)
    scrap = np.array([one.scrap_m for one in over])
    third = float(np.sort(scrap)[: max(len(over) // 3, 1)].mean())
    return GoodStarts(
        tuple(common),
        len(over),
        (*_told(common, len(ordered), scrap, third), *by_rule),
    )


@dataclass(frozen=True, slots=True)
class _Looked:
    """A circumstance that was looked at: the starts it is known of, and how their scrap goes with it."""

    name: str
    starts: Sequence[Start]
    strength: float
    p: float
    orders: NDArray[np.int64]


def _looked_at(name: str, starts: Sequence[Start], seed: int) -> _Looked | None:
    """How scrap goes with one circumstance; None where it hardly varies or is known of too few starts."""
    known = [one for one in starts if name in one.figures or name in one.labels]
    if len(known) < FEWEST_STARTS:
        return None
    # What settling cannot tell apart is one rank.
    scrap = np.array([one.scrap_m for one in known])
    ranks = stats.rankdata(np.round((scrap - scrap.min()) / SETTLED_BLOCK_M))
    ranks -= ranks.mean()
    square = max(float(ranks @ ranks), 1e-12)
    orders = np.random.default_rng(seed).permuted(np.tile(np.arange(len(known)), (PERMUTATIONS, 1)), axis=1)
    if all(name in one.figures for one in known):
        values = stats.rankdata([one.figures[name] for one in known])
        values -= values.mean()
        if not values.any():
            return None
        scale = math.sqrt(square * float(values @ values))
        strength, drawn = float(ranks @ values) / scale, np.abs(ranks[orders] @ values) / scale
    else:
        codes = np.unique([one.labels.get(name, "") for one in known], return_inverse=True)[1]
        counts = np.bincount(codes)
        if counts.size < 2 or counts.size > ranks.size // 2:
            return None
        member = (codes[:, None] == np.arange(counts.size)) / np.sqrt(counts)
        strength = float(((ranks @ member) ** 2).sum()) / square
        drawn = ((ranks[orders] @ member) ** 2).sum(axis=1) / square
    p = float((1 + np.sum(drawn >= abs(strength) - 1e-12)) / (PERMUTATIONS + 1))
    return _Looked(name, known, strength, p, orders)


def slope_interval(
    x: Floats, y: Floats, orders: NDArray[np.int64], level: float
) -> tuple[float, float, float]:
    """Slope of y on x by least squares, and the slopes that permutations do not refute.

    With A = sum y x_o and B = sum x x_o over an order o, both centred, a slope b stays while |A - b B| of the order is
    no less than that of the data: between (A0 - A)/(B0 - B) and (A0 + A)/(B0 + B). The ends are the level's quantiles
    of these, so that b is refuted at `level`; infinite where so few values cannot refute it.

    Args:
        x: circumstance of each start.
        y: scrap of each [m].
        orders: permutations of the starts, a row each.
        level: probability that the interval misses the slope.

    Source: derived; the test is E.J.G. Pitman's, Suppl. J. Roy. Statist. Soc. 4 (1937), 225-232 (from memory).
    """
    x, y = x - x.mean(), y - y.mean()
    own, across = float(x @ x), float(x @ y)
    mixed, drawn = x[orders] @ y, x[orders] @ x
    with np.errstate(divide="ignore", invalid="ignore"):
        ends = np.stack([(across - mixed) / (own - drawn), (across + mixed) / (own + drawn)])
    # An order that is the data again, or its mirror, refutes nothing.
    ends = np.concatenate([ends, [[np.inf], [np.inf]]], axis=1)
    same = ~np.isfinite(ends).all(axis=0)
    low = np.where(same, -np.inf, ends.min(axis=0))
    high = np.where(same, np.inf, ends.max(axis=0))
    return (
        across / own,
        float(np.quantile(low, level, method="lower")),
        float(np.quantile(high, 1.0 - level, method="higher")),
    )


def _common(looked: _Looked, p: float, level: float) -> Common | None:
    """One circumstance in words; None where its interval at that level does not leave out no difference."""
    scrap = np.array([one.scrap_m for one in looked.starts])
    order, third = np.argsort(scrap, kind="stable"), max(scrap.size // 3, 1)
    good, others = (
        _typical(looked.name, [looked.starts[n] for n in part]) for part in (order[:third], order[-third:])
    )
    numbers = looked.name in looked.starts[0].figures
    if numbers:
        x = np.array([one.figures[looked.name] for one in looked.starts])
    else:
        x = np.array([float(one.labels.get(looked.name) == good) for one in looked.starts])
    if float(np.ptp(x)) == 0.0:
        return None
    slope, low, high = slope_interval(x, scrap, looked.orders, level)
    if not (low > 0.0 or high < 0.0) or not (math.isfinite(low) and math.isfinite(high)):
        return None
    near, far = sorted((abs(low), abs(high)))
    unit = next((one for end, one in UNITS if looked.name.split(" ")[0].endswith(end)), "unit")
    what = message(Tuned.EACH_MORE, unit=unit) if numbers else good
    if numbers and unit != "unit":
        good, others = f"{good} {unit}", f"{others} {unit}"
    told = message(
        Tuned.GOES_WITH_LESS if slope < 0.0 else Tuned.GOES_WITH_MORE,
        name=looked.name,
        good=good,
        others=others,
        what=what,
        slope=Measure(abs(slope), "m"),
        low=Measure(near, "m"),
        high=Measure(far, "m"),
        p=p,
        starts=len(looked.starts),
    )
    return Common(looked.name, looked.strength, p, low, high, len(looked.starts), good, others, told)


def _typical(name: str, starts: Sequence[Start]) -> str:
    figures = [one.figures[name] for one in starts if name in one.figures]
    if figures:
        return f"{float(np.median(figures)):.4g}"
    labels = [one.labels[name] for one in starts if name in one.labels]
    return max(sorted(set(labels)), key=labels.count) if labels else "not recorded"


def _told(common: Sequence[Common], looked: int, scrap: Floats, third: float) -> tuple[Message, ...]:
    lengths = {"mean": float(scrap.mean()), "median": float(np.median(scrap)), "third": third}
    costs = {name: Measure(length, "m") for name, length in lengths.items()}
    told = [message(Tuned.STARTS_COST, n=int(scrap.size), **costs)]
    if common:
        return (*told, *(one.told for one in common), message(Tuned.NOT_CAUSING))
    return (*told, message(Tuned.NOTHING_IN_COMMON, looked=looked))
