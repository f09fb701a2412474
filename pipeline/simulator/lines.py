"""The invented plant's two lines: where each instrument stands and what turns."""

from __future__ import annotations

from datetime import date

from pipeline.sheets.line_sheet import Element, Instrument, LineSheet

_DONE, _DUE = date(2026, 1, 12), date(2026, 7, 12)
_MIL_MM = 0.0254


def line_l1() -> LineSheet:
    """Line L1: THHN/THWN-2, nylon over the insulation, gauge reading both layers, up to 800 m/min."""
    fine = 0.01 * _MIL_MM
    return LineSheet(
        id="L1",
        name="Building wire line 1, insulation and nylon in tandem",
        plant="Demo plant",
        revision="3",
        take_up_station_m=110.0,
        instruments=(
            Instrument(
                id="L1-ENC",
                kind="encoder",
                station_m=104.0,
                calibrated=_DONE,
                calibration_due=_DUE,
            ),
            Instrument(
                id="L1-CG",
                kind="conductor gauge",
                station_m=-8.0,
                resolution_mm=fine,
                uncertainty_mm=0.0015,
                calibrated=_DONE,
                calibration_due=_DUE,
            ),
            Instrument(id="L1-MELT", kind="melt sensors", station_m=0.0),
            Instrument(
                id="L1-HD",
                kind="hot diameter gauge",
                station_m=1.5,
                resolution_mm=fine,
                uncertainty_mm=0.004,
                calibrated=_DONE,
                calibration_due=_DUE,
            ),
            Instrument(
                id="L1-WG",
                kind="wall gauge",
                station_m=62.0,
                resolution_mm=fine,
                uncertainty_mm=0.004,
                sensors=8,
                sees="insulation and covering",
                calibrated=_DONE,
                calibration_due=_DUE,
            ),
            Instrument(
                id="L1-CD",
                kind="cold diameter gauge",
                station_m=64.0,
                resolution_mm=fine,
                uncertainty_mm=0.002,
                calibrated=_DONE,
                calibration_due=_DUE,
            ),
            Instrument(
                id="L1-HV",
                kind="spark tester",
                station_m=78.0,
                window_m=0.9,
                frequency_hz=3000.0,
                dead_time_s=0.005,
                calibrated=_DONE,
                calibration_due=_DUE,
            ),
            Instrument(id="L1-SV", kind="surface vision", station_m=80.0),
        ),
        elements=(
            Element(id="L1-screw", kind="screw", period_s=0.62, tolerance_pct=2.0),
            Element(id="L1-capstan", kind="capstan", circumference_m=3.77, tolerance_pct=0.5),
            Element(id="L1-roll-A", kind="roll", circumference_m=2.199, tolerance_pct=0.5),
            Element(id="L1-roll-B", kind="roll", circumference_m=1.571, tolerance_pct=0.5),
            Element(id="L1-sheave", kind="sheave", circumference_m=2.827, tolerance_pct=0.5),
        ),
    )


def line_l2() -> LineSheet:
    """Line L2: XHHW-2, one layer, cured in a tube, up to 100 m/min."""
    return LineSheet(
        id="L2",
        name="Building wire line 2, single layer",
        plant="Demo plant",
        revision="5",
        take_up_station_m=124.0,
        instruments=(
            Instrument(
                id="L2-ENC",
                kind="encoder",
                station_m=118.0,
                calibrated=_DONE,
                calibration_due=_DUE,
            ),
            Instrument(
                id="L2-CG",
                kind="conductor gauge",
                station_m=-8.0,
                resolution_mm=0.001,
                uncertainty_mm=0.003,
                calibrated=_DONE,
                calibration_due=_DUE,
            ),
            Instrument(id="L2-MELT", kind="melt sensors", station_m=0.0),
            Instrument(
                id="L2-HD",
                kind="hot diameter gauge",
                station_m=1.5,
                resolution_mm=0.001,
                uncertainty_mm=0.006,
                calibrated=_DONE,
                calibration_due=_DUE,
            ),
            Instrument(
                id="L2-WG",
                kind="wall gauge",
                station_m=70.0,
                resolution_mm=0.001,
                uncertainty_mm=0.005,
                sensors=8,
                sees="insulation",
                calibrated=_DONE,
                calibration_due=_DUE,
            ),
            Instrument(
                id="L2-CD",
                kind="cold diameter gauge",
                station_m=72.0,
                resolution_mm=0.001,
                uncertainty_mm=0.004,
                calibrated=_DONE,
                calibration_due=_DUE,
            ),
            Instrument(
                id="L2-HV",
                kind="spark tester",
                station_m=96.0,
                window_m=0.9,
                frequency_hz=3000.0,
                dead_time_s=0.02,
                calibrated=_DONE,
                calibration_due=_DUE,
            ),
            Instrument(id="L2-SV", kind="surface vision", station_m=98.0),
        ),
        elements=(
            Element(id="L2-screw", kind="screw", period_s=2.4, tolerance_pct=2.0),
            Element(id="L2-capstan", kind="capstan", circumference_m=6.283, tolerance_pct=0.5),
            Element(id="L2-roll-A", kind="roll", circumference_m=3.142, tolerance_pct=0.5),
        ),
    )


LINES = {"L1": line_l1, "L2": line_l2}
