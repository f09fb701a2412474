"""Cutting plans against exhaustive search on small cases and an integer-programming solver on large ones.

The brute force walks the wire metre by metre and tries every saleable length at every metre, without cutting
the wire into stretches first; the solver (scipy.optimize.milp) is given a programme written here, apart from
the program's own.
"""

import random

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, milp

from pipeline.nonconformance.cutting_plan import cutting_plan, naive_plan
from pipeline.nonconformance.cutting_rules import CuttingRules, MasterReel, SaleLength

WORKED = (
    MasterReel("K1", 1000.0, ((312.0, 318.0), (700.0, 705.0))),
    tuple(SaleLength(length, value) for length, value in ((100, 100), (250, 265), (300, 324), (500, 560))),
    CuttingRules(cut_cost=2.0, unit="m"),
)


def test_the_worked_reel() -> None:
    """1000 m with 312-318 m and 700-705 m bad; 100/250/300/500 m at 100/265/324/560; a cut costs 2.

    By hand: stretches of 312, 382 and 295 m give 324 - 2, 265 + 100 - 4 and 265 - 2: 946. Longest first takes
    300, 300 and 250 m: 907.
    """
    reel, lengths, rules = WORKED
    plan = cutting_plan([reel], lengths, rules)
    assert plan.value == pytest.approx(946.0)
    sold = [(round(p.from_m, 6), round(p.to_m, 6)) for p in plan.pieces if p.kind == "sale"]
    assert sold == [(0, 300), (318, 568), (568, 668), (705, 955)]
    assert naive_plan([reel], lengths, rules).value == pytest.approx(907.0)


def test_the_worked_reel_with_one_of_each_wanted() -> None:
    """As above with a demand of one each: 100 + 250 + 300 m, 689 less three cuts: 683."""
    reel, lengths, rules = WORKED
    single = tuple(SaleLength(one.length_m, one.value, 1) for one in lengths)
    assert cutting_plan([reel], single, rules).value == pytest.approx(683.0)


def brute_force(
    at: int,
    reel: int,
    bad: tuple[tuple[int, int], ...],
    lengths: tuple[SaleLength, ...],
    left: tuple[int, ...],
) -> float:
    """The most that wire from metre `at` on can bring, by trying everything."""
    if at >= reel:
        return 0.0
    best = brute_force(at + 1, reel, bad, lengths, left)
    for place, one in enumerate(lengths):
        end = at + round(one.length_m)
        if left[place] and end <= reel and all(end <= a or at >= b for a, b in bad):
            fewer = tuple(count - (kind == place) for kind, count in enumerate(left))
            best = max(best, one.value - 1.0 + brute_force(end, reel, bad, lengths, fewer))
    return best


@pytest.mark.parametrize("seed", range(40))
def test_small_reels_equal_exhaustive_search(seed: int) -> None:
    rng = random.Random(seed)
    reel = rng.randint(10, 18)
    starts = [rng.randint(0, reel) for _ in range(rng.randint(0, 3))]
    bad = tuple((start, start + rng.randint(1, 2)) for start in starts)
    demand = rng.randint(1, 2) if seed % 2 else None
    lengths = tuple(
        SaleLength(float(length), round(length * rng.uniform(1.0, 2.0), 2), demand)
        for length in rng.sample(range(2, 8), 3)
    )
    plan = cutting_plan(
        [MasterReel("K1", float(reel), tuple((float(a), float(b)) for a, b in bad))],
        lengths,
        CuttingRules(cut_cost=1.0, unit="m"),
    )
    unlimited = (99,) * 3
    expected = brute_force(0, reel, bad, lengths, unlimited if demand is None else (demand,) * 3)
    assert plan.value == pytest.approx(expected)


def solved(
    stretches_m: list[float], lengths: tuple[SaleLength, ...], rules: CuttingRules, wanted: int | None
) -> float:
    """The best value by scipy's solver: pieces and one kept remnant a stretch, in metres."""
    many, kinds = len(stretches_m), len(lengths)
    size = many * (kinds + 2)
    gain, whole, ceiling = np.zeros(size), np.ones(size), np.full(size, np.inf)
    rows, top = [], []
    for s, stretch in enumerate(stretches_m):
        base = s * (kinds + 2)
        keep, kept = base + kinds, base + kinds + 1
        gain[base:keep] = [one.value - rules.cut_cost for one in lengths]
        gain[keep], gain[kept] = rules.remnant_value_per_m, -rules.cut_cost
        whole[keep], ceiling[kept] = 0, 1
        used, most, least = np.zeros(size), np.zeros(size), np.zeros(size)
        used[base:keep], used[keep] = [one.length_m for one in lengths], 1
        most[keep], most[kept] = 1, -stretch
        least[keep], least[kept] = -1, rules.minimum_remnant_m
        rows += [used, most, least]
        top += [stretch, 0.0, 0.0]
    for kind in range(kinds if wanted is not None else 0):
        row = np.zeros(size)
        row[kind :: kinds + 2] = 1
        rows.append(row)
        top.append(float(wanted or 0))
    answer = milp(
        -gain,
        integrality=whole,
        bounds=Bounds(0, ceiling),
        constraints=LinearConstraint(np.array(rows), -np.inf, top),
        options={"mip_rel_gap": 0.0},
    )
    assert answer.status == 0
    return -float(answer.fun)


# Unlimited demand on three long reels; limited demand on less wire, because the plain programme is slow there.
@pytest.mark.parametrize(("wanted", "reels_cut", "cuts"), [(None, 3, 5), (2, 1, 3), (4, 1, 2)])
@pytest.mark.parametrize("seed", range(4))
def test_large_reels_equal_the_solver(seed: int, wanted: int | None, reels_cut: int, cuts: int) -> None:
    rng = random.Random(100 + seed)
    rules = CuttingRules(
        clearance_m=2.0, cut_cost=2.0, minimum_remnant_m=25.0, remnant_value_per_m=0.6, unit="m"
    )
    lengths = tuple(
        SaleLength(length, round(length * rng.uniform(0.9, 1.2), 2), wanted)
        for length in (30.0, 75.0, 100.0, 152.5, 305.0, 500.0)
    )
    reels, stretches = [], []
    for number in range(reels_cut):
        length = float(rng.randint(1500, 3000))
        places = sorted(rng.sample(range(20, int(length) - 20, 12), cuts))
        bad = tuple((float(at), float(at + rng.randint(1, 8))) for at in places)
        reels.append(MasterReel(f"K{number}", length, bad))
        edges = [0.0, *(edge for a, b in bad for edge in (a - 2.0, b + 2.0)), length]
        stretches += [b - a for a, b in zip(edges[::2], edges[1::2], strict=True) if b > a]
    plan = cutting_plan(reels, lengths, rules)
    assert plan.value == pytest.approx(solved(stretches, lengths, rules, wanted), abs=1e-4)
    assert plan.value >= naive_plan(reels, lengths, rules).value
