"""Spectra of a run against sinusoids of known size, and on lines made by other code than the product's."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from pipeline.tuning.swing_spectra import (
    CHANNELS,
    SHORTEST,
    RunSpectra,
    SwingSpectrum,
    amplitude_at,
    before_and_after,
    run_spectra,
    spectrum_between,
    swing_amplitudes,
)
from tests.cause_bench.lines import PLACES
from tests.cause_bench.trial import bench_for, planted, tuning_of


@pytest.mark.parametrize("period", [3.7, 11.0, 40.0])
def test_a_swing_reads_its_amplitude(period: float) -> None:
    """A sin: A^2/2 is its power. The Hann window loses 15 % at the most between two bins (F. J. Harris, Proc. IEEE 66
    (1978) 51, table 1: 1.42 dB, from memory)."""
    at = np.arange(6000) * 0.5
    noise = np.random.default_rng(2).standard_normal(at.size) * 0.5
    found = swing_amplitudes(3.0 * np.sin(2.0 * np.pi * at / period + 0.4) + noise, 0.5)
    assert found is not None
    spectrum = SwingSpectrum("mean wall", *found, 0.0, 3000.0)
    assert 3.0 * 0.85 - 0.1 < amplitude_at(spectrum, period) < 3.0 * 1.02
    strongest = found[0][int(np.argmax(found[1]))]
    assert strongest == pytest.approx(period, rel=0.03 + period / 350.0)


def test_holes_take_no_part() -> None:
    at = np.arange(6000) * 0.5
    swing = np.sin(2.0 * np.pi * at / 7.0)
    swing[1000:1100] = np.nan
    swing[3000:3010] = np.nan
    found = swing_amplitudes(swing, 0.5)
    assert found is not None
    assert np.isfinite(found[1]).all()
    assert found[1].max() == pytest.approx(1.0, rel=0.16)


def test_too_few_values_have_no_spectrum() -> None:
    assert swing_amplitudes(np.ones(SHORTEST - 1), 1.0) is None
    assert swing_amplitudes(np.where(np.arange(500) % 50 == 0, np.nan, 1.0), 1.0) is None


def spectra(cause: str, size: float, line: str, seed: int, folder: Path) -> RunSpectra:
    place = PLACES[line]
    bench, found = bench_for(place, planted(place, cause, size, seed), seed, folder)
    return run_spectra(tuning_of(bench, found), bench.line)


def strongest(found: SwingSpectrum, low: float, high: float) -> float:
    near = (found.period > low) & (found.period < high)
    return float(found.period[near][int(np.argmax(found.amplitude_um[near]))])


def test_a_capstan_stands_out_along_the_wire_and_a_screw_in_time(tmp_path: Path) -> None:
    """With a step of the speed (odd seed): what one axis keeps in place the other smears."""
    place = PLACES["T1"]
    along = spectra("capstan swing", 3.0, "T1", 1, tmp_path)
    wall = along.in_length[0]
    assert wall.channel == CHANNELS[0]
    assert strongest(wall, 2.0, 8.0) == pytest.approx(place.turns_m["capstan"], rel=0.02)
    assert amplitude_at(wall, place.turns_m["capstan"]) == pytest.approx(
        3000.0 * place.wall_unit_mm, rel=0.25
    )
    (tmp_path / "screw").mkdir()
    timed = spectra("screw swing", 3.0, "T1", 1, tmp_path / "screw")
    assert strongest(timed.in_time[0], 1.5, 6.0) == pytest.approx(place.screw_s, rel=0.02)
    marks = {(one.element, one.harmonic) for one in timed.marks}
    assert {("screw", 1), ("capstan", 3), ("roll-A", 2)} <= marks


def test_a_control_that_hunts_is_a_band_of_the_map(tmp_path: Path) -> None:
    found = spectra("hunting", 5.0, "N5", 0, tmp_path).along
    assert found is not None
    mean = np.nanmean(found.amplitude_um, axis=1)
    band = (found.period_s > 28.0) & (found.period_s < 56.0)
    assert band.any()
    assert np.nanmax(mean[band]) > 3.0 * np.nanmedian(mean[found.period_s < 10.0])
    assert np.diff(found.at_m).min() >= 0.0


def test_beside_a_change_both_sides_are_of_their_own_wire(tmp_path: Path) -> None:
    place = PLACES["T1"]
    bench, found = bench_for(place, planted(place, "nothing", 0.0, 2), 2, tmp_path)
    run = tuning_of(bench, found)
    middle = 0.5 * (run.reels[0].from_m + run.reels[-1].to_m)
    ((at, before, after),) = before_and_after(run, [middle], 60.0)
    assert at == middle
    assert before.to_m < middle <= after.from_m - 60.0
    assert before_and_after(run, [run.reels[0].from_m - 1e4], 60.0) == ()
    assert spectrum_between(run, CHANNELS[0], middle, middle + 5.0) is None
