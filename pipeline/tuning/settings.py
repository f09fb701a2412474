"""How to bring the wall to a target: line speed or screw speed, no further than the plant's own ceilings.

The tool gives direction and size and stops at what the plant entered; where the plant entered nothing, it gives
the direction only for anything that goes up.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from pipeline.messages import Measure, Message, message, um
from pipeline.samples import positive
from pipeline.sheets.line_sheet import Ceilings
from pipeline.tuned import Tuned
from pipeline.tuning.giveaway import speed_for_wall
from pipeline.wall.mass import insulation_area_mm2

UNITS = {"line_speed_m_s": "m/s", "melt_pressure_bar": "bar", "melt_temperature_c": "degC"}


def pressure_at_output(pressure_bar: float, output_ratio: float, exponent: float) -> float:
    """Head pressure when the output changes at one temperature: P (Q2/Q1)^n [bar].

    Args:
        pressure_bar: pressure now [bar].
        output_ratio: Q2/Q1.
        exponent: n of the power law.
    """
    return pressure_bar * math.pow(positive(output_ratio, "output_ratio"), positive(exponent, "exponent"))


@dataclass(frozen=True, slots=True)
class HeldSetting:
    """A setting held against its ceiling.

    Args:
        quantity: column of the data dictionary.
        now: as it is.
        wanted: what the recommendation would ask for.
        allowed: where it stops; NaN where only the direction may be given.
        stopped_by: 'ceiling', 'no ceiling entered' or ''.
        told: what to read of it.
    """

    quantity: str
    now: float
    wanted: float
    allowed: float
    stopped_by: str
    told: Message


@dataclass(frozen=True, slots=True)
class SettingAdvice:
    """One way to bring the wall to its target.

    Args:
        change: the setting itself.
        follows: settings that change with it, for example the pressure.
        reaches_target: whether the target is reached within all ceilings.
        told: the advice, the caution last.
    """

    change: HeldSetting
    follows: tuple[HeldSetting, ...]
    reaches_target: bool
    told: tuple[Message, ...]


def held_to_ceiling(quantity: str, now: float, wanted: float, ceilings: Ceilings | None) -> HeldSetting:
    """A wanted setting, no further than the ceiling entered for it.

    Args:
        quantity: column of the data dictionary.
        now: the setting now.
        wanted: the setting that is wanted.
        ceilings: the plant's ceilings; None where it entered none.
    """
    unit = UNITS.get(quantity, "rpm")
    ceiling = None if ceilings is None else getattr(ceilings, quantity)
    moved = {"setting": quantity, "now": Measure(now, unit), "wanted": Measure(wanted, unit)}
    change = Measure(100.0 * (wanted / now - 1.0), "%")
    if wanted <= now:
        told = message(Tuned.SETTING_CHANGE, **moved, change=change)
        return HeldSetting(quantity, now, wanted, wanted, "", told)
    if ceiling is None:
        told = message(Tuned.SETTING_NO_CEILING, setting=quantity)
        return HeldSetting(quantity, now, wanted, math.nan, "no ceiling entered", told)
    most = Measure(ceiling, unit)
    if wanted > ceiling:
        told = message(Tuned.SETTING_AT_CEILING, **moved, ceiling=most)
        return HeldSetting(quantity, now, wanted, max(ceiling, now), "ceiling", told)
    told = message(Tuned.SETTING_UNDER_CEILING, **moved, change=change, ceiling=most)
    return HeldSetting(quantity, now, wanted, wanted, "", told)


def ways_to_target(
    wall_mm: float,
    target_mm: float,
    conductor_mm: float,
    speed_m_s: float,
    screw_rpm: float | None,
    pressure_bar: float | None,
    ceilings: Ceilings | None,
    exponent: float | None = None,
    covering_mm: float | None = None,
) -> tuple[SettingAdvice, ...]:
    """The ways to bring the mean wall to its target: by the line speed, or by the screw.

    By speed v2 = v1 A1/A2 at the same output; by the screw N2 = N1 A2/A1 at the same speed, output taken as
    proportional to screw speed, and the pressure following as P (A2/A1)^n where n is known.

    Args:
        wall_mm: mean wall now [mm].
        target_mm: mean wall wanted [mm].
        conductor_mm: conductor diameter [mm].
        speed_m_s: line speed now [m/s].
        screw_rpm: screw speed now [rpm]; None if not logged.
        pressure_bar: melt pressure now [bar]; None if not logged.
        ceilings: the plant's ceilings.
        exponent: n of the melt's power law; None if the plant does not know it.
        covering_mm: mean wall of the covering [mm]; None where there is none.

    Another line speed changes the covering too: its own screw must follow, or its wall goes with 1/v.
    """
    by_speed = speed_for_wall(wall_mm, target_mm, conductor_mm, speed_m_s)
    speed = held_to_ceiling("line_speed_m_s", speed_m_s, by_speed, ceilings)
    ways = [
        _advice(
            speed, (), _covering_follows(target_mm, conductor_mm, by_speed / speed_m_s, wall_mm, covering_mm)
        )
    ]
    if screw_rpm is not None and screw_rpm > 0.0:
        ratio = speed_m_s / by_speed  # A2/A1
        screw = held_to_ceiling("screw_speed_rpm", screw_rpm, screw_rpm * ratio, ceilings)
        follows: tuple[HeldSetting, ...] = ()
        if pressure_bar is not None and pressure_bar > 0.0 and ratio > 1.0:
            # Without the exponent the pressure is bounded by the output itself, n = 1.
            then = pressure_at_output(pressure_bar, ratio, exponent if exponent is not None else 1.0)
            follows = (held_to_ceiling("melt_pressure_bar", pressure_bar, then, ceilings),)
        ways.append(_advice(screw, follows))
    return tuple(ways)


def _covering_follows(
    target_mm: float, conductor_mm: float, faster: float, wall_mm: float, covering_mm: float | None
) -> tuple[Message, ...]:
    """What another line speed does to the covering at the same screw, whose area goes with 1/v; nothing without one."""
    if covering_mm is None:
        return ()
    under, then = (conductor_mm + 2.0 * wall for wall in (wall_mm, target_mm))
    area = insulation_area_mm2(covering_mm, under)
    left = math.sqrt((then / 2.0) ** 2 + area / faster / math.pi) - then / 2.0
    same = insulation_area_mm2(covering_mm, then)
    screw = 100.0 * (same * faster / area - 1.0)
    return (
        message(
            Tuned.SPEED_THINS_COVERING if left < covering_mm else Tuned.SPEED_THICKENS_COVERING,
            now=um(covering_mm),
            then=um(left),
            screw=Measure(screw, "%"),
        ),
    )


def _advice(
    change: HeldSetting, follows: tuple[HeldSetting, ...], besides: tuple[Message, ...] = ()
) -> SettingAdvice:
    reaches = not change.stopped_by and not any(one.stopped_by for one in follows)
    told = (change.told, *(one.told for one in follows), *besides, message(Tuned.SETTING_CAUTION))
    return SettingAdvice(change, follows, reaches, told)
