"""How hard is the melt sheared, and what does a change of pressure do to the output?

Figures for caution, not limits: no shear rate or stress limit is built in, since materials and dies differ. The
plant enters its own ceilings.
"""

from __future__ import annotations

import math

from pipeline.samples import positive


def screw_shear_per_s(diameter_mm: float, channel_mm: float, screw_rpm: float) -> float:
    """Shear rate in the screw channel: pi D N/(60 h) [1/s].

    Args:
        diameter_mm: D, screw diameter [mm].
        channel_mm: h, depth of the metering channel [mm].
        screw_rpm: N, screw speed [rpm].

    Source: drag flow between barrel and screw root (C. Rauwendaal, Polymer Extrusion, from memory).

    No page asks for it: the screw's channel is not on a line sheet, and no stress limit is built in.
    """
    return (
        math.pi
        * positive(diameter_mm, "diameter_mm", "mm")
        * screw_rpm
        / 60.0
        / positive(channel_mm, "channel_mm", "mm")
    )


def die_land_shear_per_s(
    flow_mm3_s: float, mean_diameter_mm: float, gap_mm: float, exponent: float = 1.0
) -> float:
    """Shear rate at the wall of an annular die land taken as a slit: 6 Q/(pi Dm h^2) (2n + 1)/(3n) [1/s].

    Args:
        flow_mm3_s: Q, volume flow [mm3/s].
        mean_diameter_mm: Dm, mean diameter of the gap [mm].
        gap_mm: h, width of the gap [mm].
        exponent: n of the power law; 1 for a Newtonian melt.

    The wire's own drag is left out, which overstates the rate. Source: slit flow with the Rabinowitsch correction
    (derived).

    No page asks for it: the die's land is not on a line sheet, and no stress limit is built in.
    """
    newtonian = 6.0 * flow_mm3_s / (math.pi * positive(mean_diameter_mm, "mean_diameter_mm") * gap_mm**2)
    return newtonian * (2.0 * positive(exponent, "exponent") + 1.0) / (3.0 * exponent)


def output_change_for_pressure(pressure_share: float, exponent: float) -> float:
    """Relative change of output for a small relative change of head pressure: dQ/Q = (1/n) dP/P.

    Args:
        pressure_share: dP/P.
        exponent: n of the power law, 0.2 to 0.6 for most melts.

    Source: power-law flow through a die of given shape (C. Rauwendaal, Polymer Extrusion, from memory).

    No page asks for it: advice takes `pressure_at_output`, the same law for a change that is not small.
    """
    return pressure_share / positive(exponent, "exponent")


def pressure_at_output(pressure_bar: float, output_ratio: float, exponent: float) -> float:
    """Head pressure when the output changes at one temperature: P (Q2/Q1)^n [bar].

    Args:
        pressure_bar: pressure now [bar].
        output_ratio: Q2/Q1.
        exponent: n of the power law.
    """
    return pressure_bar * math.pow(positive(output_ratio, "output_ratio"), positive(exponent, "exponent"))
