"""Do the instruments of the run agree? Wall, diameter, conductor and, where the plant knows it, the screw's output.

Which wall readings stand alone: part of the gauge is out, and nothing else that is good saw the wire?

A section solved from the sensors that still work is evidence while the diameter on the same wire confirms its mean.
Without that, a gauge known to be failing would judge the wire by itself: such wire counts as unmonitored.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.flags import ALL
from pipeline.length.placement import Placement
from pipeline.length.steady_state import STEADY
from pipeline.messages import Measure, Message, message
from pipeline.sheets.line_sheet import Instrument, LineSheet, MassBalance
from pipeline.sheets.run_sheet import Covering
from pipeline.steps.evidence import Floats, Mask, Seen
from pipeline.trust.reading_drift import movement_sd_mm, with_drifts
from pipeline.trust.redundancy import (
    AgreementStretch,
    agreement_by_stretch,
    area_from_screw_mm2,
    over_read_stretch,
)
from pipeline.trust.room_for_wall import over_read
from pipeline.trust.uncertainty import Uncertainty
from pipeline.warned import Warned


def near_reading(at_m: Floats, other: Seen) -> Mask:
    """True for places with a usable reading of the other instrument on the same wire.

    Args:
        at_m: places on the wire [m].
        other: what the other instrument saw.
    """
    places = np.sort(other.at_m[other.fit])
    if places.size == 0:
        return np.zeros(at_m.size, dtype=np.bool_)
    after = np.minimum(np.searchsorted(places, at_m), places.size - 1)
    apart = np.minimum(np.abs(places[after] - at_m), np.abs(at_m - places[np.maximum(after - 1, 0)]))
    near: Mask = apart <= other.hole_m
    return near


def lone_rows(frame: pl.DataFrame, gauge: Instrument, placement: Placement, diameter: Seen | None) -> Mask:
    """Readings of the wall gauge with a sensor out and no usable diameter on the same wire.

    Args:
        frame: the run measured (columns.MEASURED).
        gauge: the wall gauge.
        placement: the run on the wire.
        diameter: the cold diameter along the wire, None where the line or the log has none.
    """
    used: NDArray[np.uint8] = frame["sensors_used"].fill_null(0).to_numpy()
    part = (used > 0) & (used < (gauge.sensors or 0))
    if diameter is None or not bool(part.any()):
        return part
    alone = np.flatnonzero(part)
    part[alone] = ~near_reading(placement.at_m[alone] - gauge.station_m, diameter)
    return part


def lone_told(gauge: Instrument, frame: pl.DataFrame, lone: Mask) -> tuple[Message, ...]:
    """What to say where wire is taken for unmonitored for that reason."""
    alone = lone & frame["thinnest_wall_mm"].is_not_null().to_numpy()
    if not bool(alone.any()):
        return ()
    return (message(Warned.SENSOR_OUT_ALONE, instrument=gauge.id, n=int(alone.sum())),)


_JUDGING = [flag.code for flag in ALL if flag.masks_conformity]


def conductor_read(readings: pl.DataFrame, flagged: pl.DataFrame, line: LineSheet) -> Floats | None:
    """What the conductor gauge read, NaN where it may not be used; None where the line or the log has none [mm]."""
    if line.instrument("conductor gauge") is None or "conductor_mm" not in readings.columns:
        return None
    read: Floats = readings["conductor_mm"].cast(pl.Float64).to_numpy().copy()
    bad = flagged.filter((pl.col("channel") == "conductor_mm") & pl.col("flag").is_in(_JUDGING))["row"]
    read[np.searchsorted(readings["row"].to_numpy(), bad.unique().to_numpy())] = np.nan
    return read if bool(np.isfinite(read).any()) else None


def conductor_of(read: Floats | None, line: LineSheet, nominal_mm: float) -> tuple[float, float]:
    """Diameter of the conductor and its standard uncertainty [mm].

    The middle of what the conductor gauge read (`conductor_read`); without one the nominal diameter, even within
    1 % (chosen here), which `conductor_told` says.
    """
    gauge = line.instrument("conductor gauge")
    if gauge is not None and read is not None:
        return float(np.nanmedian(read)), gauge.uncertainty_mm
    return nominal_mm, 0.01 * nominal_mm / float(np.sqrt(3.0))


def conductor_told(read: Floats | None, line: LineSheet, nominal_mm: float) -> tuple[Message, ...]:
    """That the conductor was not measured, where anything stands on its diameter."""
    if read is not None or line.instrument("cold diameter gauge") is None:
        return ()
    code = Warned.CONDUCTOR_NOMINAL_IN_WALL
    if line.instrument("wall gauge") is not None:
        code = Warned.CONDUCTOR_NOMINAL
    return (message(code, nominal=Measure(nominal_mm, "mm")),)


def agreement_of_run(
    readings: pl.DataFrame,
    placement: Placement,
    line: LineSheet,
    seen: Mapping[str, Seen],
    known: Mapping[str, Uncertainty],
    conductor: tuple[float, float],
    covering: Covering | None,
    balance: MassBalance | None,
    read: Floats | None = None,
) -> tuple[AgreementStretch, ...]:
    """The wall gauge held against the diameter over the conductor, on the same wire, stretch by stretch.

    Args:
        readings: readings as logged (columns.LOGGED).
        placement: the run on the wire.
        line: the line sheet.
        seen: each quantity along the wire.
        known: uncertainty of each quantity; what calibration leaves is used, which averaging does not take away.
        conductor: diameter of the conductor and its standard uncertainty [mm].
        covering: what is known of the covering, None for a single layer.
        balance: what a turn of the screw delivers; not used under a covering, which has a screw of its own.
        read: the conductor's diameter as its gauge read it (`conductor_read`); None where nothing did.

    A section solved with a sensor out is compared like any other, so that a stuck sensor does not end the check.
    """
    wall, diameter = seen.get("mean_wall_mm"), seen.get("diameter_mm")
    if wall is None or diameter is None or wall.instrument.kind != "wall gauge":
        return ()
    # The diameter has the covering in it whether the wall gauge saw it or not.
    deducted = 0.0 if covering is None else covering.mean_mm
    same = conductor_along(read, placement, line, conductor[0], diameter.at_m)
    area_at, area, area_sd = None, None, 1.0
    if balance is not None and covering is None and "screw_speed_rpm" in readings.columns:
        area_at, area = placement.at_m, _area(readings, placement, balance)
        middle = float(np.nanmedian(area)) if bool(np.isfinite(area).any()) else float("nan")
        area_sd = max(0.01 * balance.uncertainty_pct * middle, 1e-9) if np.isfinite(middle) else 1.0
    # Where one of the two read nothing the other's mean would be of other wire.
    # Wire near a stop and a restart cools and shrinks on its own way between the two.
    walls = wall.fit & wall.steady & near_reading(wall.at_m, diameter)
    diameters = diameter.fit & diameter.steady & near_reading(diameter.at_m, wall)
    sd = (*compared_sd_mm(known, conductor), area_sd)
    moves = movement_sd_mm(sd, conductor[0], read is not None)
    found = agreement_by_stretch(
        wall.at_m,
        np.where(walls, wall.value + deducted, np.nan),
        diameter.at_m,
        np.where(diameters, diameter.value - (same - conductor[0]), np.nan),
        conductor[0],
        sd,
        area_at,
        area,
    )
    left = (same - conductor[0], conductor[0], deducted)
    return (*with_drifts(found, moves), *_over_read(wall, diameter, left, moves))


def _over_read(
    wall: Seen, diameter: Seen, off: tuple[Floats, float, float], sd_mm: float
) -> list[AgreementStretch]:
    """Stretches on which the ring reads more wall than the diameter has room for, steady or not.

    Args:
        wall: mean wall along the wire.
        diameter: overall diameter along the wire.
        off: what the conductor has over its usual diameter at the places of the diameter, that diameter, and the
            covering that the wall does not count [mm].
        sd_mm: standard deviation of what a stretch leaves over, all gauges at rest [mm].
    """
    over, conductor_mm, covering_mm = off
    read = diameter.fit & np.isfinite(diameter.value)
    order = np.argsort(diameter.at_m[read], kind="stable")
    places, room = diameter.at_m[read][order], ((diameter.value - over - conductor_mm) / 2.0)[read][order]
    compared = np.flatnonzero(wall.fit & np.isfinite(wall.value) & near_reading(wall.at_m, diameter))
    compared = compared[np.argsort(wall.at_m[compared], kind="stable")]
    if places.size == 0 or compared.size == 0:
        return []
    at_m, mean = wall.at_m[compared], wall.value[compared]
    left = np.interp(at_m, places, room) - mean - covering_mm
    steady = wall.steady[compared]
    usual = steady if bool(steady.any()) else np.ones(compared.size, dtype=np.bool_)
    found = over_read(at_m, left, float(np.median(left[usual])), float(np.median(mean[usual])), sd_mm)
    return [over_read_stretch(one.from_m, one.to_m, one.more_mm) for one in found]


def compared_sd_mm(
    known: Mapping[str, Uncertainty], conductor: tuple[float, float]
) -> tuple[float, float, float]:
    """Standard uncertainties with which wall, diameter and conductor are held against each other [mm].

    Args:
        known: uncertainty of each quantity; what calibration leaves is used, which averaging does not take away.
        conductor: diameter of the conductor and its standard uncertainty [mm].
    """
    return known["mean_wall_mm"].lasting_mm, known["diameter_mm"].lasting_mm, conductor[1]


def conductor_along(
    read: Floats | None, placement: Placement, line: LineSheet, usual_mm: float, at_m: Floats
) -> Floats:
    """Diameter of the conductor at places on the wire [mm]; the usual one where its gauge has no say.

    A conductor that wanders moves the overall diameter and not the wall: it must not read as a disagreement.
    """
    gauge = line.instrument("conductor gauge")
    if gauge is None or read is None:
        return np.full(at_m.size, usual_mm)
    place = placement.at_m - gauge.station_m
    # A reading far from the usual diameter is a joint or a fault of the gauge, and no level of the wire.
    known = np.isfinite(read) & (np.abs(read - usual_mm) < 0.02 * usual_mm)
    if int(known.sum()) < 2:
        return np.full(at_m.size, usual_mm)
    order = np.argsort(place[known], kind="stable")
    along: Floats = np.interp(at_m, place[known][order], read[known][order], usual_mm, usual_mm)
    return along


def _area(readings: pl.DataFrame, placement: Placement, balance: MassBalance) -> Floats:
    """Area of the insulation over the circle of the conductor by the screw's output [mm2]; NaN off steady wire."""
    rpm = readings["screw_speed_rpm"].cast(pl.Float64).to_numpy()
    speed = placement.readings["speed_m_s"].to_numpy()
    area = area_from_screw_mm2(rpm, speed, balance.output_mm3_per_turn) - balance.valleys_mm2
    steady = placement.phase_on_wire(placement.at_m) == STEADY
    return np.where(steady, area, np.nan)
