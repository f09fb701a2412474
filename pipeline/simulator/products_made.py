"""The three products the invented plant makes, as its lines make them.

Conductor diameters are looked up. The limits repeat those in force at the demo plant, so that the truth
can be told without the program's own judgement; a test compares the two. All that varies (standard
deviations, correlation lengths, offsets, speeds, machine settings, test voltages) is invented.
"""

from __future__ import annotations

from pipeline.products.conductors import find_conductor
from pipeline.products.sizes import size_named
from pipeline.simulator.randomness import Wander
from pipeline.simulator.scenario import CoveringModel, Offset, StartUp, TrueLimits, WireModel

_NYLON = CoveringModel(
    mean_mm=0.118,
    wanders=(Wander(0.0012, 200.0), Wander(0.0006, 20.0)),
    offset=Offset(0.005, 250.0, (Wander(0.001, 300.0),)),
    stated_uncertainty_mm=0.003,
    stated_offset_mm=0.009,
)
_THHN_WALL = (Wander(0.0025, 1500.0), Wander(0.003, 25.0), Wander(0.0015, 2.0))
_THHN_CENTRE = (Wander(0.004, 400.0), Wander(0.002, 10.0))


def _conductor_mm(size: str, make: str) -> float:
    return find_conductor(size_named(size), make, "copper").diameter.value


def thhn_14_solid() -> WireModel:
    """THHN/THWN-2 14 AWG solid copper at 800 m/min."""
    return WireModel(
        construction="THHN/THWN-2",
        size="14 AWG",
        conductor="solid",
        colour="black",
        conductor_mm=_conductor_mm("14 AWG", "solid"),
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
        limits=TrueLimits(0.381, 0.3302, 70.0, 2.5415, 2.7749),
    )


def thhn_12_stranded() -> WireModel:
    """THHN/THWN-2 12 AWG concentric stranded copper at 700 m/min."""
    return WireModel(
        construction="THHN/THWN-2",
        size="12 AWG",
        conductor="concentric",
        colour="red",
        conductor_mm=_conductor_mm("12 AWG", "concentric"),
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
        limits=TrueLimits(0.381, 0.3302, 70.0, 3.2260, 3.5223),
    )


def xhhw_1_0() -> WireModel:
    """XHHW-2 1/0 AWG concentric stranded copper at 84 m/min."""
    return WireModel(
        construction="XHHW-2",
        size="1/0 AWG",
        conductor="concentric",
        colour="black",
        conductor_mm=_conductor_mm("1/0 AWG", "concentric"),
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
        limits=TrueLimits(1.4, 1.27, 78.0, 12.0179, 13.1215),
    )


PRODUCTS = {"14 AWG": thhn_14_solid, "12 AWG": thhn_12_stranded, "1/0 AWG": xhhw_1_0}
