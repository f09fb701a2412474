"""Did a change help? Reels before against reels after, and everything else that changed at that time.

Reels of one run repeat each other, so runs are counted where there are several, and a reel's memory of the one
before where there are not. A difference is not its cause: what else changed is listed beside it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from pipeline.assumed import Assumed
from pipeline.messages import Measure, Message, message
from pipeline.methods import Method
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Refused, Result
from pipeline.tuned import Tuned
from pipeline.tuning.line_run import LineRun
from pipeline.tuning.reel_wall import levels_of, reel_walls

Floats = NDArray[np.float64]

METHOD = message(Method.DIFFERENCE_OF_REEL_MEANS)
FEWEST_REELS = 3
TREND_P = 0.05
VERDICTS = {
    "helped": Tuned.HELPED,
    "hurt": Tuned.HURT,
    "changed": Tuned.CHANGED,
    "not shown": Tuned.NO_CHANGE_SHOWN,
}
QUANTITIES: dict[str, tuple[str, str, Literal["lower", "higher", "neither"]]] = {
    "mean wall": ("mean_wall_um", "um", "lower"),
    "spread of the mean wall": ("wall_sd_um", "um", "lower"),
    "thinnest wall, mean": ("thinnest_um", "um", "higher"),
    "offset of the center": ("offset_um", "um", "lower"),
    "margin of the thinnest point": ("lowest_um", "um", "higher"),
}


@dataclass(frozen=True, slots=True)
class ReelFact:
    """One reel as a comparison takes it.

    Args:
        reel_id: the reel.
        run_id: the run it was made in.
        began: instant its first metre was at the die.
        ended: instant its last metre was.
        values: figures of the reel by name, unit in the name.
        circumstances: what was set or used, by name: shift, operator role, lots, sheet revision.
    """

    reel_id: str
    run_id: str
    began: datetime
    ended: datetime
    values: Mapping[str, float]
    circumstances: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class OtherChange:
    """Something else that changed.

    Args:
        name: what.
        before: what it was before, all values.
        after: what it was after, all values.
        wholly: True if nothing it was before was used after: it cannot be told from the change.
        told: what is said of it.
    """

    name: str
    before: tuple[str, ...]
    after: tuple[str, ...]
    wholly: bool
    told: Message


@dataclass(frozen=True, slots=True)
class BeforeAfter:
    """One figure before and after a change.

    Args:
        quantity: the figure.
        difference: after less before, with its interval.
        before: mean before.
        after: mean after.
        reels: reels before and after.
        runs: runs before and after.
        verdict: 'helped', 'hurt', 'changed' or 'not shown'.
        seen_from: smallest difference this comparison would have shown.
        trend_before_p: chance of a trend such as the reels before show, were there none; NaN if too few.
        others: what else changed.
        told: what to read of it.
    """

    quantity: str
    difference: Result
    before: float
    after: float
    reels: tuple[int, int]
    runs: tuple[int, int]
    verdict: str
    seen_from: float
    trend_before_p: float
    others: tuple[OtherChange, ...]
    told: tuple[Message, ...]


def reel_facts(
    run: LineRun, circumstances: Mapping[str, Mapping[str, str]] | Mapping[str, str]
) -> tuple[ReelFact, ...]:
    """The reels of a run as a comparison takes them.

    Args:
        run: the run.
        circumstances: what was set or used: for the whole run, or by reel id.
    """
    walls, _ = reel_walls([run])
    front = np.maximum.accumulate(run.die_m)
    placed = {one.id: one for one in run.reels}
    facts = []
    for wall in walls:
        reel = placed[wall.reel_id]
        began, ended = (float(np.interp(at, front, run.seconds)) for at in (reel.from_m, reel.to_m))
        mine = circumstances.get(wall.reel_id, circumstances)
        values = {
            "mean_wall_um": 1000.0 * float(wall.mean_mm.mean()),
            "wall_sd_um": 1000.0 * float(wall.mean_mm.std(ddof=1)),
        }
        if np.isfinite(wall.thinnest_mm).all():
            values |= {
                "thinnest_um": 1000.0 * float(wall.thinnest_mm.mean()),
                "lowest_um": 1000.0 * float(wall.thinnest_mm.min()),
                "offset_um": 1000.0 * float(np.hypot(wall.cos_mm.mean(), wall.sin_mm.mean())),
            }
        facts.append(
            ReelFact(
                wall.reel_id,
                run.run_id,
                run.started + timedelta(seconds=began),
                run.started + timedelta(seconds=ended),
                values,
                {str(name): str(value) for name, value in mine.items()} if isinstance(mine, Mapping) else {},
            )
        )
    return tuple(facts)


def before_and_after(
    reels: Sequence[ReelFact], changed: datetime, quantity: str, confidence: float = 0.95
) -> BeforeAfter | Refused:
    """One figure of the reels before a change against the reels after it.

    Args:
        reels: reels of one product, in any order.
        changed: instant of the change; a reel made across it is left out.
        quantity: a name of `QUANTITIES`, or of the reels' own values.
        confidence: coverage of the interval.

    Returns:
        The comparison, or a `Refused` for fewer than three reels on a side.

    Source: B.L. Welch, Biometrika 29 (1938), 350-362 (from memory); errors by run as of `levels_of`.
    """
    name, unit, wanted = QUANTITIES.get(quantity, (quantity, "", "neither"))
    question = asks(Quantity.BEFORE_AFTER, quantity, quantity=quantity)
    told = [one for one in sorted(reels, key=lambda reel: reel.began) if name in one.values]
    sides = [[one for one in told if one.ended <= changed], [one for one in told if one.began >= changed]]
    if min(len(side) for side in sides) < FEWEST_REELS:
        reason = message(
            Reason.TOO_FEW_REELS_ON_A_SIDE,
            sides=len(sides[0]),
            sides_2=len(sides[1]),
            fewest_reels=FEWEST_REELS,
        )
        return Refused(question, METHOD, reason, len(sides[0]) + len(sides[1]))
    values = [np.array([one.values[name] for one in side]) for side in sides]
    runs = [[one.run_id for one in side] for side in sides]
    memory = _memory(values)
    errors = [_error(value, run, memory) for value, run in zip(values, runs, strict=True)]
    means = [one[0] for one in errors]
    variance = errors[0][1] ** 2 + errors[1][1] ** 2
    freedom = variance**2 / max(sum(one[1] ** 4 / one[2] for one in errors), 1e-300)
    half = float(stats.t.ppf(0.5 + confidence / 2.0, max(freedom, 1.0))) * math.sqrt(variance)
    gained = means[1] - means[0]
    trend = _trend(values[0])
    others = other_changes(sides[0], sides[1])
    result = Result(
        question=question,
        estimate=gained,
        low=gained - half,
        high=gained + half,
        confidence=confidence,
        unit=unit,
        method=METHOD,
        n=sum(len(side) for side in sides),
        effective_n=freedom + 2.0,
        known_m=None,
        unit_of_inference="reel",
        assumptions=(
            Assumption(
                message(Assumed.NO_TREND_BEFORE),
                None if math.isnan(trend) else trend > TREND_P,
                message(Tuned.TREND_P, p=trend),
            ),
            Assumption(
                message(Assumed.NOTHING_ELSE_CHANGED),
                not others,
                message(Tuned.OTHERS_ON_RECORD, n=len(others)),
            ),
        ),
        details={"memory_of_reels": memory},
    )
    count = (len(set(runs[0])), len(set(runs[1])))
    verdict = _verdict(result, wanted)
    return BeforeAfter(
        quantity,
        result,
        means[0],
        means[1],
        (len(sides[0]), len(sides[1])),
        count,
        verdict,
        half,
        trend,
        others,
        _told(quantity, result, means, verdict, trend, others, count),
    )


def _memory(values: Sequence[Floats]) -> float:
    """Lag-one correlation of reels about their own side, 0 where too few tell."""
    top, bottom = 0.0, 0.0
    for one in values:
        rest = one - one.mean()
        top += float(rest[1:] @ rest[:-1])
        bottom += float(rest @ rest)
    n = sum(one.size for one in values)
    if n < 8 or bottom <= 0.0:
        return 0.0
    # A mean taken off pulls the correlation down by about (1 + 4 phi)/n (Kendall 1954, from memory).
    raw = top / bottom
    return float(np.clip(raw + (1.0 + 4.0 * max(raw, 0.0)) / n, 0.0, 0.9))


def _error(values: Floats, runs: list[str], memory: float) -> tuple[float, float, float]:
    """Mean, standard error and degrees of freedom of one side."""
    levels = levels_of([float(one) for one in values], runs)
    if levels.runs > 1:
        return levels.mean, levels.mean_sd, max(levels.runs - 1.0, 1.0)
    worth = max(values.size * (1.0 - memory) / (1.0 + memory), 1.5)
    return float(values.mean()), float(values.std(ddof=1)) / math.sqrt(worth), max(worth - 1.0, 1.0)


def _trend(before: Floats) -> float:
    if before.size < 6:
        return float("nan")
    return float(stats.kendalltau(np.arange(before.size), before).pvalue)


def _verdict(result: Result, wanted: str) -> str:
    if result.low <= 0.0 <= result.high:
        return "not shown"
    if wanted == "neither":
        return "changed"
    return "helped" if (result.estimate < 0.0) == (wanted == "lower") else "hurt"


def other_changes(before: Sequence[ReelFact], after: Sequence[ReelFact]) -> tuple[OtherChange, ...]:
    """What else differs between two sets of reels.

    Args:
        before: reels before.
        after: reels after.
    """
    names = sorted({name for one in (*before, *after) for name in one.circumstances})
    found = []
    for name in names:
        was, is_now = (
            tuple(sorted({one.circumstances.get(name, "not recorded") for one in side}))
            for side in (before, after)
        )
        if was == is_now:
            continue
        wholly = not set(was) & set(is_now)
        code = Tuned.CHANGED_WHOLLY if wholly else Tuned.OTHER_CHANGE
        told = message(code, name=name, before=was, after=is_now)
        found.append(OtherChange(name, was, is_now, wholly, told))
    return tuple(found)


def _told(
    quantity: str,
    result: Result,
    means: list[float],
    verdict: str,
    trend: float,
    others: tuple[OtherChange, ...],
    runs: tuple[int, int],
) -> tuple[Message, ...]:
    unit = result.unit
    span = {"change": result.estimate, "low": result.low, "high": result.high}
    levels = {"before": means[0], "after": means[1]}
    figures = {name: Measure(value, unit) for name, value in (levels | span).items()}
    told = [message(VERDICTS[verdict], quantity=quantity, **figures)]
    if verdict == "not shown":
        told.append(message(Tuned.SEEN_FROM, seen_from=Measure(result.high - result.estimate, unit)))
    if min(runs) == 1:
        told.append(message(Tuned.ONE_RUN_A_SIDE))
    if not math.isnan(trend) and trend <= TREND_P:
        told.append(message(Tuned.MOVING_BEFORE))
    if others:
        told.append(message(Tuned.OTHER_CHANGES, changes=[one.told for one in others]))
    return tuple(told)
