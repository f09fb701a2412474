"""How many metres does a start cost, and what did the good starts have in common?

A start's scrap is the wire from the standing line until wire that is steady, settled and inside the limits, and
stays so. What goes with short starts is looked for only among enough starts, and paid for by how much was looked
at.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from pipeline.length.settling import settled_at_m
from pipeline.length.steady_state import STEADY, STOP
from pipeline.results import Refused
from pipeline.tuning.line_run import LineRun

Floats = NDArray[np.float64]

GOOD_FOR_M = 100.0  # wire that has to stay good before a start counts as over [m] (chosen here)
FEWEST_STARTS = 8
PERMUTATIONS = 4000
QUESTION = "what short starts have in common"
METHOD = "rank correlation of scrap with each circumstance, permutation p, Holm over all looked at"


@dataclass(frozen=True, slots=True)
class Start:
    """One start of the line.

    Args:
        run_id: the run.
        from_m: metre of wire at the die when the line started [m].
        steady_m: wire made until the speed was steady [m]; NaN if it never was.
        settled_m: wire made until the wall had settled [m]; NaN likewise.
        good_m: wire made until it stayed within the limits [m]; NaN likewise.
        scrap_m: the greatest of them: wire lost to this start [m]; NaN where the run ended before it was over.
        held_by: what the end of the start waited for: 'speed', 'settling', 'limits' or 'not over'.
        figures: circumstances as numbers, unit in the name.
        labels: circumstances as words.
    """

    run_id: str
    from_m: float
    steady_m: float
    settled_m: float
    good_m: float
    scrap_m: float
    held_by: str
    figures: Mapping[str, float]
    labels: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Common:
    """One circumstance and how scrap goes with it.

    Args:
        name: the circumstance.
        correlation: Spearman's rank correlation with scrap; for labels, the share of the variance of ranks between
            them.
        p_value: permutation probability, corrected for all circumstances looked at.
        good: its median among the shortest third of starts, or the label most of them had.
        others: the same among the rest.
        sentence: what to read of it.
    """

    name: str
    correlation: float
    p_value: float
    good: str
    others: str
    sentence: str


@dataclass(frozen=True, slots=True)
class GoodStarts:
    """What short starts have in common.

    Args:
        common: circumstances that stand out, the surest first.
        looked_at: circumstances looked at.
        starts: starts used.
        median_m: median scrap of a start [m].
        best_third_m: mean scrap of the shortest third [m].
        saving_m: scrap saved a start if all were like the shortest third [m].
        sentences: what to read of it.
    """

    common: tuple[Common, ...]
    looked_at: tuple[str, ...]
    starts: int
    median_m: float
    best_third_m: float
    saving_m: float
    sentences: tuple[str, ...]


def starts_of(
    run: LineRun,
    point_limit_mm: float | None,
    average_limit_mm: float | None,
    labels: Mapping[str, str] | None = None,
) -> tuple[Start, ...]:
    """The starts of a run: its beginning and every stop it ran again from.

    Args:
        run: the run.
        point_limit_mm: minimum wall at any point [mm]; None leaves it out.
        average_limit_mm: minimum average wall [mm]; None leaves it out.
        labels: shift, operator role, product and the like.
    """
    standing = run.phase == STOP
    edges = np.flatnonzero(np.diff(standing.astype(np.int8)))
    first_rows = [int(one) + 1 for one in edges if standing[one]]
    if not standing[0]:
        first_rows.insert(0, 0)
    front = np.maximum.accumulate(run.die_m)
    begins = [float(front[row]) for row in first_rows]
    found = []
    for place, (row, from_m) in enumerate(zip(first_rows, begins, strict=True)):
        to_m = begins[place + 1] if place + 1 < len(begins) else float(front[-1])
        if to_m - from_m < GOOD_FOR_M:
            continue  # a touch of the line, not a start
        stood = _stood_s(run, row)
        found.append(_start(run, row, from_m, to_m, stood, point_limit_mm, average_limit_mm, labels or {}))
    return tuple(found)


def _stood_s(run: LineRun, row: int) -> float:
    """How long the line stood before a row [s]; NaN where the log begins with it."""
    before = np.flatnonzero(run.phase[:row] != STOP)
    if before.size == 0:
        return float("nan")
    return float(run.seconds[row] - run.seconds[before[-1] + 1])


def _start(
    run: LineRun,
    row: int,
    from_m: float,
    to_m: float,
    stood_s: float,
    point_mm: float | None,
    average_mm: float | None,
    labels: Mapping[str, str],
) -> Start:
    front = np.maximum.accumulate(run.die_m)
    steady_rows = np.flatnonzero((run.phase == STEADY) & (front >= from_m) & (front < to_m))
    inside = np.isfinite(run.mean_mm) & (run.wall_at_m >= from_m) & (run.wall_at_m < to_m)
    order = np.argsort(run.wall_at_m[inside], kind="stable")
    at = run.wall_at_m[inside][order]
    mean, thinnest = run.mean_mm[inside][order], run.thinnest_mm[inside][order]
    nan = float("nan")
    steady = float(front[steady_rows[0]]) - from_m if steady_rows.size else nan
    settled = good = nan
    if at.size:
        settled = settled_at_m(at, mean, from_m, float(at[-1])) - from_m
        good = _good_from(at, mean, thinnest, point_mm, average_mm) - from_m
    waits = {"speed": steady, "settling": settled, "limits": good}
    over = all(math.isfinite(one) for one in waits.values())
    scrap = max(waits.values()) if over else nan
    held = max(waits, key=lambda name: waits[name]) if over else "not over"
    return Start(
        run.run_id,
        from_m,
        steady,
        settled,
        good,
        scrap,
        held,
        _figures(run, row, steady_rows, stood_s),
        labels,
    )


def _good_from(
    at_m: Floats, mean: Floats, thinnest: Floats, point_mm: float | None, average_mm: float | None
) -> float:
    """First metre from which the wall stays within the limits for `GOOD_FOR_M`; NaN if there is none."""
    bad = np.zeros(at_m.size, dtype=np.bool_)
    if point_mm is not None:
        bad |= thinnest < point_mm
    if average_mm is not None:
        bad |= mean < average_mm
    places = np.concatenate(([at_m[0] - 1e-9], at_m[bad], [at_m[-1] + 1e-9]))
    free = np.flatnonzero(np.diff(places) >= GOOD_FOR_M)
    if free.size == 0:
        return float("nan")
    first = int(free[0])
    return float(at_m[0]) if first == 0 else float(places[first])


def _figures(run: LineRun, row: int, steady_rows: NDArray[np.int64], stood_s: float) -> dict[str, float]:
    """Circumstances of a start as numbers."""
    figures = {"stood_s": stood_s}
    last = int(steady_rows[0]) if steady_rows.size else min(row + 600, run.seconds.size - 1)
    figures["ramp_s"] = float(run.seconds[last] - run.seconds[row])
    for name, values in run.machine.items():
        if name == "line_speed_m_s":
            continue
        early = values[row : max(last, row + 1)]
        if np.isfinite(early).any():
            figures[f"{name} at the start"] = float(np.nanmean(early[: max(early.size // 4, 1)]))
    if steady_rows.size:
        figures["line_speed_m_s when steady"] = float(np.median(run.speed_m_s[steady_rows]))
    return {name: value for name, value in figures.items() if math.isfinite(value)}


def good_starts(starts: Sequence[Start], level: float = 0.05, seed: int = 1) -> GoodStarts | Refused:
    """What short starts have in common.

    Args:
        starts: starts of one line, of as many runs as there are.
        level: probability of naming anything by chance, over all circumstances looked at.
        seed: of the permutations.

    Returns:
        What stands out, or a `Refused` for fewer than eight starts that were over: below that they are only listed.

    Going together is not causing; try it on the next starts. Source: S. Holm, Scand. J. Statist. 6 (1979), 65-70.
    """
    over = [one for one in starts if math.isfinite(one.scrap_m)]
    if len(over) < FEWEST_STARTS:
        reason = (
            f"{len(over)} {'start' if len(over) == 1 else 'starts'} that came to an end "
            f"{'is' if len(over) == 1 else 'are'} on record, {FEWEST_STARTS} are needed to say what "
            "the good ones have in common; until then they are listed side by side."
        )
        return Refused(QUESTION, METHOD, reason, len(over))
    scrap = np.array([one.scrap_m for one in over])
    names = sorted(
        {name for one in over for name in one.figures} | {name for one in over for name in one.labels}
    )
    rows = []
    for place, name in enumerate(names):
        looked = _association(name, over, scrap, seed + place)
        if looked is not None:
            rows.append((name, *looked))
    ordered = sorted(rows, key=lambda one: one[2])
    corrected, worst = [], 0.0
    for place, (name, strength, p) in enumerate(ordered):
        worst = max(worst, min(p * (len(ordered) - place), 1.0))
        corrected.append((name, strength, worst))
    best = np.argsort(scrap)[: max(len(over) // 3, 1)]
    common = tuple(_common(name, strength, p, over, best) for name, strength, p in corrected if p <= level)
    third = float(scrap[best].mean())
    return GoodStarts(
        common,
        tuple(one[0] for one in ordered),
        len(over),
        float(np.median(scrap)),
        third,
        float(scrap.mean()) - third,
        _told(common, ordered, scrap, third, len(over)),
    )


def _association(name: str, starts: Sequence[Start], scrap: Floats, seed: int) -> tuple[float, float] | None:
    """Strength of one circumstance and its permutation probability; None where it hardly varies."""
    ranks = stats.rankdata(scrap)
    random = np.random.default_rng(seed)
    if all(name in one.figures for one in starts):
        values = stats.rankdata([one.figures[name] for one in starts])
        if float(np.ptp(values)) == 0.0:
            return None
        z = (values - values.mean()) / values.std()
        y = (ranks - ranks.mean()) / max(float(ranks.std()), 1e-12)
        found = float(z @ y) / z.size
        drawn = random.permuted(np.tile(y, (PERMUTATIONS, 1)), axis=1) @ z / z.size
        return found, float((1 + np.sum(np.abs(drawn) >= abs(found) - 1e-12)) / (PERMUTATIONS + 1))
    if not all(name in one.labels for one in starts):
        return None
    codes = np.unique([one.labels[name] for one in starts], return_inverse=True)[1]
    counts = np.bincount(codes)
    if counts.size < 2 or counts.size > ranks.size // 2:
        return None

    centred = ranks - ranks.mean()
    member = (codes[:, None] == np.arange(counts.size)) / np.sqrt(counts)
    square = max(float(centred @ centred), 1e-12)
    found = float(((centred @ member) ** 2).sum()) / square
    drawn = ((random.permuted(np.tile(centred, (PERMUTATIONS, 1)), axis=1) @ member) ** 2).sum(
        axis=1
    ) / square
    return found, float((1 + np.sum(drawn >= found - 1e-12)) / (PERMUTATIONS + 1))


def _common(name: str, strength: float, p: float, starts: Sequence[Start], best: NDArray[np.int64]) -> Common:
    chosen = set(best.tolist())
    sides = [[one for n, one in enumerate(starts) if (n in chosen) == good] for good in (True, False)]
    shown = [_typical(name, side) for side in sides]
    return Common(
        name,
        strength,
        p,
        shown[0],
        shown[1],
        f"{name}: {shown[0]} in the shortest third of starts, {shown[1]} in the others (p {p:.2g}).",
    )


def _typical(name: str, starts: Sequence[Start]) -> str:
    figures = [one.figures[name] for one in starts if name in one.figures]
    if figures:
        return f"{float(np.median(figures)):.4g}"
    labels = [one.labels[name] for one in starts if name in one.labels]
    return max(sorted(set(labels)), key=labels.count) if labels else "not recorded"


def _told(
    common: tuple[Common, ...],
    looked: Sequence[tuple[str, float, float]],
    scrap: Floats,
    third: float,
    n: int,
) -> tuple[str, ...]:
    told = [
        (
            f"{n} starts cost {float(scrap.mean()):.0f} m of wire each on average (median "
            f"{float(np.median(scrap)):.0f} m); the shortest third {third:.0f} m."
        )
    ]
    if common:
        told += [one.sentence for one in common]
        told.append(
            "Going together is not causing: try it on the next starts, and keep to the plant's procedure."
        )
    else:
        told.append(
            f"None of the {len(looked)} circumstances looked at goes with short starts beyond chance; that "
            "does not show that none matters."
        )
    return tuple(told)
