"""Did a change help: recovery of made differences with memory, refusals, other changes listed."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from scipy import signal, stats

from pipeline.results import Refused
from pipeline.tuning.before_after import BeforeAfter, ReelFact, before_and_after, other_changes, reel_facts
from tests.said import said
from tests.tuning.simulated import l2_run

START = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)
CHANGED = START + timedelta(hours=100)


def facts(
    before: np.ndarray, after: np.ndarray, per_run: int | None = None, **circumstances
) -> list[ReelFact]:
    """Reels an hour each before and after a change, `per_run` to a run; one run a side without it."""
    made = []
    for side, (values, base) in enumerate(
        ((before, CHANGED - timedelta(hours=before.size)), (after, CHANGED))
    ):
        for n, value in enumerate(values):
            run = f"{'BA'[side]}{0 if per_run is None else n // per_run}"
            began = base + timedelta(hours=n)
            made.append(
                ReelFact(
                    f"{run}-{n}", run, began, began + timedelta(hours=1), {"mean_wall_um": float(value)},
                    {name: pair[side] for name, pair in circumstances.items()},
                )
            )  # fmt: skip
    return made


def found(answer: BeforeAfter | Refused) -> BeforeAfter:
    assert isinstance(answer, BeforeAfter)
    return answer


def ar1(phi: float, n: int, random: np.random.Generator) -> np.ndarray:
    return signal.lfilter([np.sqrt(1.0 - phi**2)], [1.0, -phi], random.standard_normal(n + 200))[200:]


def test_without_memory_and_runs_it_is_welch() -> None:
    random = np.random.default_rng(1)
    a, b = 440.0 + random.standard_normal(5), 437.0 + 2.0 * random.standard_normal(2 + 5)
    # With fewer than eight reels no memory can be told; scipy's Welch interval then.
    small = found(before_and_after(facts(a[:3], b[:4]), CHANGED, "mean wall"))
    theirs = stats.ttest_ind(b[:4], a[:3], equal_var=False).confidence_interval(0.95)
    assert (small.difference.low, small.difference.high) == (
        pytest.approx(theirs.low),
        pytest.approx(theirs.high),
    )
    assert small.difference.details["memory_of_reels"] == 0.0


def test_intervals_respect_memory_of_reels() -> None:
    # Reels that remember the one before (0.6): an interval that takes them as independent covers far too seldom.
    ours, naive = 0, 0
    for seed in range(200):
        random = np.random.default_rng(seed)
        a, b = ar1(0.6, 25, random), 1.0 + ar1(0.6, 25, random)
        one = found(before_and_after(facts(a, b), CHANGED, "mean wall"))
        ours += one.difference.low <= 1.0 <= one.difference.high
        interval = stats.ttest_ind(b, a, equal_var=False).confidence_interval(0.95)
        naive += interval.low <= 1.0 <= interval.high
    assert naive < 150
    assert ours >= 174  # 87 % of a nominal 95; the memory itself is known poorly from fifty reels


def test_runs_are_counted_where_there_are_several() -> None:
    # Six runs a side that differ by 5 um, reels within a run by 0.5: twenty-four reels are worth six.
    inside = 0
    for seed in range(100):
        random = np.random.default_rng(seed)
        a, b = (
            np.repeat(5.0 * random.standard_normal(6), 4) + 0.5 * random.standard_normal(24) for _ in range(2)
        )
        one = found(before_and_after(facts(a, b - 3.0, per_run=4), CHANGED, "mean wall"))
        assert one.runs == (6, 6)
        inside += one.difference.low <= -3.0 <= one.difference.high
    assert inside >= 90


def test_verdicts_and_sentences() -> None:
    random = np.random.default_rng(4)
    a = 440.0 + 0.5 * random.standard_normal(6)
    lower = found(before_and_after(facts(a, a - 6.0, per_run=2), CHANGED, "mean wall"))
    assert lower.verdict == "helped"
    assert said(lower.told)[0].startswith("Mean wall went from 44")
    assert said(lower.told)[0].endswith("): it helped.")
    higher = found(before_and_after(facts(a, a + 6.0, per_run=2), CHANGED, "mean wall"))
    assert higher.verdict == "hurt"
    same = found(before_and_after(facts(a, a[::-1].copy()), CHANGED, "mean wall"))
    assert same.verdict == "not shown"
    assert (
        said(same.told)[1] == f"A change of less than {same.seen_from:.3g} \u00b5m would not have been seen."
    )
    assert said(same.told)[2] == (
        "One side is a single run, so its set-up may be the cause. Compare several runs."
    )


def test_a_trend_before_is_told() -> None:
    trend = 440.0 - np.arange(10.0)
    moving = found(before_and_after(facts(trend, trend - 10.0), CHANGED, "mean wall"))
    assert moving.trend_before_p < 0.001
    assert "The reels before were already moving: part of the difference may have come anyway." in said(
        moving.told
    )


def test_other_changes_are_listed() -> None:
    reels = facts(
        np.arange(4.0), np.arange(4.0) - 9.0, shift=("day", "day"), compound=("PVC-7740", "PVC-7741")
    )
    one = found(before_and_after(reels, CHANGED, "mean wall"))
    assert [other.name for other in one.others] == ["compound"]
    assert said(one.told)[-1] == (
        "Other changes at that time: compound: PVC-7740 before, PVC-7741 after. It changed at the same time, "
        "so its effect cannot be separated."
    )
    mixed = other_changes(
        [
            ReelFact("1", "R", START, START, {}, {"shift": "day"}),
            ReelFact("2", "R", START, START, {}, {"shift": "night"}),
        ],
        [ReelFact("3", "R", START, START, {}, {"shift": "day"}), ReelFact("4", "R", START, START, {}, {})],
    )
    assert said(mixed[0].told) == "shift: day, night before, day, not recorded after."
    assert not mixed[0].wholly


def test_reels_made_across_the_change_and_few_reels() -> None:
    reels = facts(np.arange(4.0), np.arange(4.0))
    across = before_and_after(reels, CHANGED + timedelta(minutes=30), "mean wall")
    assert found(across).reels == (4, 3)
    few = before_and_after(reels[2:], CHANGED, "mean wall")
    assert isinstance(few, Refused)
    assert said(few.reason) == "2 reels before and 4 after are too few, 3 are needed on each side."
    missing = before_and_after(reels, CHANGED, "offset of the center")
    assert isinstance(missing, Refused)


def test_facts_of_a_simulated_run() -> None:
    run, made = l2_run(3, 6, "R-BA")
    one = reel_facts(run, {"shift": "day"})
    assert [fact.reel_id for fact in one] == [reel.id for reel in run.reels]
    assert all(fact.circumstances == {"shift": "day"} for fact in one)
    assert made.wire is not None
    s, mean = made.wire["s_m"].to_numpy(), made.wire["mean_mm"].to_numpy()
    for fact, reel in zip(one, run.reels, strict=True):
        here = (s >= reel.from_m) & (s < reel.to_m)
        assert fact.values["mean_wall_um"] == pytest.approx(1000.0 * float(mean[here].mean()), abs=2.0)
        # A reel of 304.8 m at 1.4 m/s takes 217.7 s.
        if reel.from_m > 200.0:
            assert (fact.ended - fact.began).total_seconds() == pytest.approx(217.7, abs=1.0)
    later = reel_facts(run, {run.reels[0].id: {"lot": "A"}, "lot": "B"})
    assert later[0].circumstances == {"lot": "A"}
