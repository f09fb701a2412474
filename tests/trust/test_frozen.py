"""Readings that repeat a figure with noise. Signals are invented; rates follow from the noise put in (derivation)."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.trust import frozen
from pipeline.trust.frozen import (
    frozen_readings,
    quiet_readings,
    unfollowed_readings,
    wall_by_others,
    without_followed,
)
from pipeline.trust.reading_drift import movement_sd_mm
from tests.other_lines import noise

ROWS = 1500


def _wander(rng: np.random.Generator, size: float) -> np.ndarray:
    return size * np.cumsum(rng.standard_normal(ROWS)) / np.sqrt(60.0)


@pytest.mark.parametrize("seed", range(20))
def test_a_live_ring_beside_its_diameter_is_never_called_frozen_or_quiet(seed: int) -> None:
    rng = np.random.default_rng(seed)
    wall = _wander(rng, 4.0)
    ring, half = wall + 1.5 * rng.standard_normal(ROWS), wall + rng.standard_normal(ROWS)
    assert not frozen_readings(ring, half).any()
    assert not quiet_readings(ring).any()


def test_a_ring_that_stands_while_the_diameter_moves_is_found_nine_times_in_ten() -> None:
    found = 0
    for seed in range(20):
        rng = np.random.default_rng(seed)
        wall = _wander(rng, 4.0)
        ring, half = wall + 1.5 * rng.standard_normal(ROWS), wall + rng.standard_normal(ROWS)
        ring[900:] = ring[900] + 1.5 * rng.standard_normal(600)
        frozen = frozen_readings(ring, half)
        found += bool(frozen[950:].mean() > 0.5)
        assert not frozen[:800].any()
    assert found >= 18


def test_a_diameter_that_moves_by_itself_seldom_accuses_the_ring() -> None:
    """A conductor that nobody reads grows over two fifths of the run: the ring keeps its own slow movement."""
    accused = 0
    for seed in range(20):
        rng = np.random.default_rng(seed)
        wall = _wander(rng, 4.0)
        ring, half = wall + 1.5 * rng.standard_normal(ROWS), wall + rng.standard_normal(ROWS)
        half[900:] += np.linspace(0.0, 60.0, 600)
        accused += bool(frozen_readings(ring, half).any())
    assert accused <= 2


def test_a_lump_of_a_few_readings_does_not_accuse_the_ring() -> None:
    rng = np.random.default_rng(5)
    wall = _wander(rng, 4.0)
    ring, half = wall + 1.5 * rng.standard_normal(ROWS), wall + rng.standard_normal(ROWS)
    half[700:704] += 150.0
    assert not frozen_readings(ring, half).any()


@pytest.mark.parametrize(("share", "found"), [(0.1, True), (0.25, True), (0.7, False)])
def test_a_sensor_far_quieter_than_usual_is_found(share: float, found: bool) -> None:
    rng = np.random.default_rng(2)
    values = 4.0 * rng.standard_normal(ROWS)
    values[900:] *= share
    quiet = quiet_readings(values)
    assert bool(quiet[1000:].all()) is found
    assert not quiet[:800].any()


def test_one_quiet_stretch_by_chance_accuses_no_gauge() -> None:
    """Clean gauges with half of their power in a 1/f wander: of 200 runs of 750 readings, two may be accused."""
    rng = np.random.default_rng(17)
    accused = sum(bool(quiet_readings(noise.wandering(rng, 750)).any()) for _ in range(200))
    assert accused <= 2


def test_too_few_readings_say_nothing() -> None:
    short = np.zeros(150)
    assert not frozen_readings(short, short).any()
    assert not quiet_readings(short).any()
    assert not quiet_readings(np.full(ROWS, np.nan)).any()


def _ring(seed: int) -> np.ndarray:
    """Eight sensors on a wall whose mean and center wander, noise 1.5."""
    rng = np.random.default_rng(seed)
    angle = 2.0 * np.pi * np.arange(8) / 8
    across = [_wander(rng, size)[:, None] for size in (4.0, 3.0, 3.0)]
    wall = 500.0 + across[0] + across[1] * np.cos(angle) + across[2] * np.sin(angle)
    return wall + 1.5 * rng.standard_normal(wall.shape)


def test_a_sensor_that_keeps_its_noise_and_no_longer_follows_its_neighbors_is_found() -> None:
    found = accused = 0
    for seed in range(20):
        walls, rng = _ring(seed), np.random.default_rng(100 + seed)
        beside = wall_by_others(walls)
        accused += any(frozen_readings(walls[:, one], beside[:, one]).any() for one in range(8))
        walls[600:1200, 2] = walls[600, 2] + 1.5 * rng.standard_normal(600)
        beside = wall_by_others(walls)
        found += bool(frozen_readings(walls[:, 2], beside[:, 2])[600:1200].mean() > 0.5)
        accused += any(frozen_readings(walls[:, one], beside[:, one]).any() for one in range(8) if one != 2)
    assert found >= 18
    assert accused == 0


def test_the_others_tell_the_wall_of_a_plain_offset_exactly() -> None:
    angle = 2.0 * np.pi * np.arange(6) / 6
    walls = 0.5 + 0.03 * np.cos(angle - 0.4) + np.zeros((3, 1))
    assert wall_by_others(walls) == pytest.approx(walls)


def test_a_sensor_that_follows_its_neighbors_does_not_stand_and_one_that_stands_does() -> None:
    """A slow swing in all sensors: one that has it too is let be where a diameter says it stands; a dead one is not."""
    random = np.random.default_rng(11)
    others = 0.4 + 0.004 * np.sin(np.arange(6000) / 180.0) + 0.0005 * random.standard_normal(6000)
    stands = np.ones(6000, dtype=np.bool_)
    follows = 0.8 * (others - 0.4) + 0.4 + 0.0015 * random.standard_normal(6000)
    assert not without_followed(stands, follows, others).any()
    dead = 0.4 + 0.0004 * random.standard_normal(6000)
    assert without_followed(stands, dead, others).all()
    half = np.where(np.arange(6000) < 3600, dead, follows)
    left = without_followed(stands, half, others)
    assert left[:3500].mean() > 0.95


@pytest.mark.parametrize("late", [0, -90, -28, 35, 90])
def test_a_ring_that_follows_from_another_place_reads_the_wire(late: int) -> None:
    """A gauge placed wrongly in the line sheet shows the wire earlier or later, and no dead ring does."""
    rng = np.random.default_rng(41)
    half = _wander(rng, 0.01)
    noise = 0.003 * rng.standard_normal((2, half.size))
    followed = np.roll(half, late) + noise[0]
    assert not unfollowed_readings(followed, half + noise[1], 0.001).any()
    assert unfollowed_readings(noise[0], half + noise[1], 0.001).all()


def test_looking_for_a_late_ring_lets_no_ring_on_other_wire_pass(monkeypatch: pytest.MonkeyPatch) -> None:
    """The best of many places moves with anything a little: such a ring is found as often as with no place but one."""

    def found() -> list[bool]:
        told = []
        for seed in range(40):
            rng = np.random.default_rng(seed)
            half, other = _wander(rng, 0.006), _wander(rng, 0.006)
            noise = 0.003 * rng.standard_normal((2, half.size))
            told.append(bool(unfollowed_readings(other + noise[0], half + noise[1], 0.001).any()))
        return told

    searched = found()
    monkeypatch.setattr(frozen, "_lateness", lambda *_: 0)
    assert searched == found()
    assert sum(searched) >= 24


def test_a_splice_s_lump_in_the_diameters_does_not_accuse_the_ring() -> None:
    rng = np.random.default_rng(42)
    half = 0.0001 * rng.standard_normal(4000)
    half[2000:2004] -= 0.25
    assert not unfollowed_readings(0.003 * rng.standard_normal(4000), half, 0.001).any()


@pytest.mark.parametrize("seed", range(20))
def test_what_two_gauges_move_by_themselves_does_not_say_that_the_ring_stands(seed: int) -> None:
    """Steady wire with two large swings: between them the diameter wanders by a third of its uncertainty of 10 um."""
    rng, rows = np.random.default_rng((seed, 71)), 1200
    swings = sum(0.05 * np.exp(-0.5 * ((np.arange(rows) - at) / 60.0) ** 2) for at in (80, 1100))
    drifts = 0.0035 * np.interp(
        np.arange(rows), np.arange(0, rows + 40, 40), rng.standard_normal(rows // 40 + 1)
    )
    wall = 2.3 + swings + 0.0025 * rng.standard_normal(rows)
    half = 2.3 + swings + drifts + 0.004 * rng.standard_normal(rows)
    own_mm = movement_sd_mm((0.0, 0.010, 0.010), 0.0, True)
    assert not frozen_readings(wall, half, own_mm).any()
