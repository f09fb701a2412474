"""The three products the invented plant makes, as its lines make them.

Sizes and limits are published figures, named where they stand. Everything that varies (standard deviations,
correlation lengths, offsets, speeds, machine settings, test voltages) is invented.
"""

from __future__ import annotations

from pipeline.simulator.randomness import Wander
from pipeline.simulator.scenario import CoveringModel, Offset, StartUp, WallLimits, WireModel
from pipeline.simulator.wire import conductor_solid_mm

_NYLON = CoveringModel(
    mean_mm=0.118,
    wanders=(Wander(0.0012, 200.0), Wander(0.0006, 20.0)),
    offset=Offset(0.005, 250.0, (Wander(0.001, 300.0),)),
    stated_uncertainty_mm=0.003,
    stated_offset_mm=0.009,
)
_THHN_15_MIL = WallLimits(
    average_mm=0.381,
    point_mm=0.3302,
    source="15 mil: wire code 2023, Table 310.4(1); 13 mil at any point: UL AWM style pages 1638 and 10236",
)
_XHHW_55_MIL = WallLimits(
    average_mm=1.397,
    point_mm=1.2573,
    source="55 mil: wire code 2023, Table 310.4(1); 90 % of it at any point, printed mil value not seen",
)
_THHN_WALL = (Wander(0.0025, 1500.0), Wander(0.003, 25.0), Wander(0.0015, 2.0))
_THHN_CENTRE = (Wander(0.004, 400.0), Wander(0.002, 10.0))


def thhn_14_solid() -> WireModel:
    """THHN/THWN-2 14 AWG solid copper at 800 m/min."""
    return WireModel(
        construction="THHN/THWN-2",
        size="14 AWG",
        conductor="solid",
        colour="black",
        conductor_mm=conductor_solid_mm(14),
        conductor_wanders=(Wander(0.001, 300.0), Wander(0.0005, 5.0)),
        wall_mm=0.414,
        wall_wanders=_THHN_WALL,
        screw_period_s=0.62,
        screw_mm=0.0015,
        capstan_mm=0.001,
        centre=Offset(0.020, 140.0, _THHN_CENTRE),
        oval=Offset(0.002, 30.0, (Wander(0.001, 50.0),)),
        covering=_NYLON,
        density_ratio=0.955,
        density_wanders=(Wander(0.001, 800.0),),
        start_up=StartUp(0.040, 0.170, 200.0, 60.0),
        speed_m_s=800.0 / 60.0,
        ramp_s=30.0,
        step_m=0.2,
        screw_rpm=96.8,
        covering_screw_rpm=58.0,
        melt_c=182.0,
        melt_bar=265.0,
        spark_kv=7.5,
        limits=_THHN_15_MIL,
    )


def thhn_12_stranded() -> WireModel:
    """THHN/THWN-2 12 AWG concentric stranded copper at 700 m/min.

    Strand circle 2.327 mm: Class B, 7 wires, 3 sqrt(cmil/7) with 6530 cmil (wire code chapter 9 table 8 area;
    geometry of a 7-wire strand).
    """
    return WireModel(
        construction="THHN/THWN-2",
        size="12 AWG",
        conductor="concentric",
        colour="red",
        conductor_mm=2.327,
        conductor_wanders=(Wander(0.003, 200.0), Wander(0.0015, 3.0)),
        wall_mm=0.418,
        wall_wanders=_THHN_WALL,
        screw_period_s=0.62,
        screw_mm=0.0018,
        capstan_mm=0.001,
        centre=Offset(0.024, 75.0, _THHN_CENTRE),
        oval=Offset(0.003, 60.0, (Wander(0.0015, 50.0),)),
        covering=_NYLON,
        density_ratio=0.955,
        density_wanders=(Wander(0.001, 800.0),),
        start_up=StartUp(0.040, 0.175, 20.0, 60.0),
        speed_m_s=700.0 / 60.0,
        ramp_s=30.0,
        step_m=0.2,
        screw_rpm=96.8,
        covering_screw_rpm=60.0,
        melt_c=184.0,
        melt_bar=280.0,
        spark_kv=7.5,
        limits=_THHN_15_MIL,
    )


def xhhw_1_0() -> WireModel:
    """XHHW-2 1/0 AWG concentric stranded copper at 84 m/min.

    Strand circle 9.468 mm: Class B, 19 wires, 5 sqrt(cmil/19) with 105600 cmil (same sources as 12 AWG).
    """
    return WireModel(
        construction="XHHW-2",
        size="1/0 AWG",
        conductor="concentric",
        colour="black",
        conductor_mm=9.468,
        conductor_wanders=(Wander(0.006, 60.0), Wander(0.003, 1.0)),
        wall_mm=1.465,
        wall_wanders=(Wander(0.005, 300.0), Wander(0.007, 15.0), Wander(0.003, 1.0)),
        screw_period_s=2.4,
        screw_mm=0.003,
        capstan_mm=0.002,
        centre=Offset(0.045, 310.0, (Wander(0.010, 60.0), Wander(0.004, 3.0))),
        oval=Offset(0.006, 90.0, (Wander(0.003, 20.0),)),
        covering=None,
        density_ratio=0.935,
        density_wanders=(Wander(0.0012, 100.0),),
        start_up=StartUp(0.120, 0.350, 120.0, 12.0),
        speed_m_s=1.4,
        ramp_s=40.0,
        step_m=0.05,
        screw_rpm=25.0,
        covering_screw_rpm=0.0,
        melt_c=128.0,
        melt_bar=190.0,
        spark_kv=12.5,
        limits=_XHHW_55_MIL,
    )


PRODUCTS = {"14 AWG": thhn_14_solid, "12 AWG": thhn_12_stranded, "1/0 AWG": xhhw_1_0}
