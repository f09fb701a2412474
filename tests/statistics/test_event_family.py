"""Membership of faults in a repeat: how often true marks are told, how often others, and that shares are kept."""

import numpy as np

from pipeline.statistics.event_family import MEMBER_P, family_probabilities

TURN = 1.885


def reels_of(marks: int, others: int, scatter: float, seed: int) -> tuple[list[np.ndarray], np.ndarray]:
    """Three reels of 1,500 m with marks at one phase each, a share of a turn off, and faults anywhere."""
    random = np.random.default_rng(seed)
    reels = [
        np.concatenate(
            (
                TURN
                * (random.integers(0, 790, marks) + random.normal(0.0, scatter, marks) + random.random()),
                random.uniform(0.0, 1500.0, others),
            )
        )
        for _ in range(3)
    ]
    return reels, np.tile(np.arange(marks + others) < marks, 3)


def told(marks: int, others: int, scatter: float) -> tuple[float, float, float]:
    """Share of marks told, share of those told that are none, and expected over true marks, over 12 runs."""
    right = wrong = true = 0
    expected = 0.0
    for seed in range(12):
        reels, is_mark = reels_of(marks, others, scatter, seed)
        sure, ratio = (np.concatenate(one) for one in family_probabilities(reels, TURN, 0.02))
        member = (sure >= MEMBER_P) & (ratio > 1.0)
        right, wrong, true = (
            right + int((member & is_mark).sum()),
            wrong + int((member & ~is_mark).sum()),
            true + int(is_mark.sum()),
        )
        expected += float(sure.sum())
    return right / true, wrong / max(right + wrong, 1), expected / true


def test_marks_are_told_from_faults_anywhere_and_probabilities_add_up() -> None:
    alone, none, kept = told(9, 0, 0.03)
    assert alone > 0.95 and none == 0.0 and abs(kept - 1.0) < 0.05
    most, few_wrong, kept = told(9, 3, 0.04)
    assert most > 0.8 and few_wrong < 1.0 - MEMBER_P and abs(kept - 1.0) < 0.1


def test_a_lone_fault_has_no_phase_and_faults_anywhere_make_no_family() -> None:
    random = np.random.default_rng(3)
    lone = [np.array([12.0]), TURN * np.arange(9.0) + 0.3]
    sure, ratio = family_probabilities(lone, TURN, 0.02)
    assert abs(ratio[0][0] - 1.0) < 1e-9 and sure[1].min() > 0.9
    chance = [random.uniform(0.0, 1500.0, 12) for _ in range(3)]
    sure, _ = family_probabilities(chance, TURN, 0.02)
    assert (np.concatenate(sure) >= MEMBER_P).mean() < 0.1
    assert [one.size for one in family_probabilities([np.zeros(0)], TURN, 0.02)[0]] == [0]
