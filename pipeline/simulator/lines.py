"""The invented plant's two lines: where each instrument stands and what turns."""

from __future__ import annotations

from datetime import date
from typing import Literal

from pipeline.sheets.line_sheet import Bolt, Ceilings, Element, Instrument, LineSheet, Tooling

_DONE, _DUE = date(2026, 1, 12), date(2026, 7, 12)
_MIL_MM = 0.0254


def _bolts(line: str) -> tuple[Bolt, ...]:
    """Four bolts at the quarters that push the die away when turned in; how far, the plant never measured."""
    return tuple(
        Bolt(id=f"{line}-B{number + 1}", angle_deg=90.0 * number, sense="in pushes away", moves="die")
        for number in range(4)
    )


def _tooling(
    layer: Literal["insulation", "covering"],
    construction: str,
    size: str,
    method: Literal["pressure", "tube"],
    die_mm: float,
    tip_mm: float,
) -> Tooling:
    return Tooling(
        layer=layer, construction=construction, size=size, method=method, die_mm=die_mm, tip_mm=tip_mm
    )


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
        bolts=_bolts("L1"),
        ceilings=Ceilings(
            line_speed_m_s=14.0,
            screw_speed_rpm=105.0,
            covering_screw_speed_rpm=70.0,
            melt_pressure_bar=320.0,
            melt_temperature_c=195.0,
        ),
        tooling=(
            _tooling("insulation", "THHN/THWN-2", "14 AWG", "pressure", 2.46, 1.68),
            _tooling("covering", "THHN/THWN-2", "14 AWG", "tube", 4.83, 4.00),
            _tooling("insulation", "THHN/THWN-2", "12 AWG", "pressure", 3.17, 2.40),
            _tooling("covering", "THHN/THWN-2", "12 AWG", "tube", 5.60, 4.90),
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
        bolts=_bolts("L2"),
        ceilings=Ceilings(
            line_speed_m_s=1.5, screw_speed_rpm=28.0, melt_pressure_bar=220.0, melt_temperature_c=135.0
        ),
        tooling=(_tooling("insulation", "XHHW-2", "1/0 AWG", "pressure", 12.60, 9.55),),
    )


LINES = {"L1": line_l1, "L2": line_l2}
