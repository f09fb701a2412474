"""The swings of a run of the invented plant, and how the runs of a line were set."""

from datetime import UTC, datetime, timedelta

import numpy as np

from dashboards.records.compare import ComparedChannel, RunCompared
from dashboards.records.run import LotRow
from dashboards.records.settings import RunSettings, SettingsHistory
from dashboards.records.spectra import BesideChange, SpectraReview, TurningRow
from pipeline.statistics.turning_elements import ExpectedLine
from pipeline.tuning.run_profile import RunProfile
from pipeline.tuning.swing_spectra import RunSpectra, SwingsAlong, SwingSpectrum
from tests.dashboards import invented as base


def spectrum(channel: str, turn: float, size: float, low: float = 0.5, high: float = 80.0) -> SwingSpectrum:
    period = np.geomspace(low, high, 200)
    peak = size * np.exp(-((np.log(period / turn) / 0.03) ** 2))
    return SwingSpectrum(channel, period, 0.1 + 0.2 * np.sqrt(period) + peak, 150.0, 9800.0)


def spectra() -> SpectraReview:
    marks = tuple(
        ExpectedLine(name, k, turn / k, turn / k, 0.001, False, 1.0)
        for name, turn in (("capstan", 6.28), ("screw", 3.4))
        for k in (1, 2, 3)
    )
    at, rows = np.linspace(200.0, 9700.0, 60), np.geomspace(0.4, 60.0, 30)
    hunts = np.exp(-((np.log(rows / 38.0) / 0.4) ** 2))[:, None] * (1.0 + np.sin(at / 700.0))[None, :]
    found = RunSpectra(
        (spectrum("mean wall", 6.28, 2.4), spectrum("diameter", 6.28, 5.1)),
        (spectrum("mean wall", 1.26, 2.2, 0.1, 60.0), spectrum("diameter", 1.26, 4.0, 0.1, 60.0)),
        marks,
        5.0,
        SwingsAlong(at, rows, 0.3 + 2.0 * hunts),
    )
    turning = tuple(
        TurningRow(
            one.element,
            one.harmonic,
            one.seen_period_m,
            one.seen_period_m / 5.0,
            one.harmonic == 3,
            2.4 / one.harmonic,
            None if one.harmonic == 3 else 5.1,
        )
        for one in marks
    )
    change = BesideChange(
        "Screw speed", 4100.0, spectrum("mean wall", 6.28, 3.0), spectrum("mean wall", 6.28, 1.2)
    )
    return SpectraReview(
        base.PLANT,
        "L1-0312-2",
        "L1",
        base.THHN14.label,
        found,
        turning,
        (change,),
        2,
        None,
        base.STAMP,
    )


def settings() -> SettingsHistory:
    start = datetime(2026, 3, 12, 6, tzinfo=UTC)
    rows = [
        RunSettings(
            f"L1-0312-{number}",
            start + timedelta(hours=3 * number),
            (base.THHN14.label, "12 AWG concentric copper XHHW-2 red")[number // 4],
            (LotRow("insulation compound", "PVC-2291"), LotRow("color", "BK-117")),
            (5.0 - 0.1 * number, 61.0, None if number == 2 else 178.0 + number, 221.0),
            None if number == 1 else 0.412 + 0.001 * number,
            None if number == 1 else 0.361,
            (number > 0, number == 3, False, False),
        )
        for number in range(6)
    ]
    channels = (
        ("Line speed", "m/s"),
        ("Screw speed", "rpm"),
        ("Melt temperature", "degC"),
        ("Melt pressure", "bar"),
    )
    return SettingsHistory(base.PLANT, "L1", channels, tuple(rows), 3, base.STAMP)


def compared() -> RunCompared:
    chance = np.random.default_rng(3)

    def profile(run_id: str, wall: float) -> RunProfile:
        rows = {
            "mean_wall_mm": wall + chance.normal(0.0, 0.002, 60),
            "eccentricity_mm": np.full(60, 0.02),
            "melt_temperature_c": 183.0 + chance.normal(0.0, 0.2, 60),
        }
        rows["mean_wall_mm"][20:24] = np.nan
        return RunProfile(run_id, 50.0, rows, {name: float(np.nanmean(one)) for name, one in rows.items()})

    own, *others = (
        profile(name, wall) for name, wall in (("L1-0312-2", 0.43), ("L1-0311-1", 0.42), ("L1-0310-3", 0.421))
    )
    channels = tuple(
        ComparedChannel(
            name,
            title,
            unit,
            own.overall[name],
            min(one.overall[name] for one in others),
            max(one.overall[name] for one in others),
        )
        for name, title, unit in (
            ("mean_wall_mm", "Mean wall", "mm"),
            ("eccentricity_mm", "Eccentricity", "mm"),
            ("melt_temperature_c", "Melt temperature", "degC"),
        )
    )
    new = (LotRow("color", "BK-119", 0.0, 3000.0),)
    return RunCompared(
        base.PLANT, "L1-0312-2", "L1", base.THHN14.label, own, tuple(others), True, channels, new
    )
