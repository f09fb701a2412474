"""What is the wall at every reading of the run? Mean, offset, thinnest wall and diameter, row by row.

The thinnest wall is sought between the sensors too: by the offset of the centre, with the ovality of the
stretch around where five sensors or more allow it, and with its own where that stands out from the stretch. Where
one sensor stands far below what the others make of the section, its own reading counts: a harmonic would smooth a
narrow thin place away.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline import flags
from pipeline.columns import MEASURED, WALL_CHANNELS
from pipeline.length.placement import Placement
from pipeline.possible import READINGS, possible_readings
from pipeline.sheets.line_sheet import LineSheet
from pipeline.sheets.run_sheet import Covering
from pipeline.wall.harmonics import design, sensor_angles_rad, sensor_set

Floats = NDArray[np.float64]

# Readings over which the ovality is averaged: it comes from the tooling and changes slowly (common practice).
OVALITY_READINGS = 25
# A sensor this many standard errors under the fit is no noise: two of a million readings by chance.
LOW_SENSOR_SIGMA = 5.0
_CHUNK = 16_384  # a chunk's sensors fit the processor's cache
_MASKING = [flag.code for flag in flags.ALL if flag.masks_conformity]


@dataclass(frozen=True)
class _Walls:
    """Arrays of one value a row that the wall gauge gives; NaN where it gives none."""

    mean: Floats
    cos: Floats
    sin: Floats
    offset: Floats
    thin_deg: Floats
    thinnest: Floats
    concentricity: Floats
    used: NDArray[np.uint8]


def measure_walls(
    readings: pl.DataFrame,
    flagged: pl.DataFrame,
    placement: Placement,
    line: LineSheet,
    covering: Covering | None,
    conductor_mm: float,
) -> pl.DataFrame:
    """The insulation wall and diameter at every reading, each with its place on the wire (columns.MEASURED).

    mean = a0, offset e = hypot(a1, b1), thin side = atan2(-b1, -a1), thinnest = min of a0 + a1 cos + b1 sin
    [+ a2 cos 2 + b2 sin 2], concentricity = 100 t_min / t_max. Where instruments see a covering too, its mean
    wall is deducted as a stated assumption (see `two_layers` for what that leaves unknown).

    Args:
        readings: readings as logged (columns.LOGGED).
        flagged: reasons not to use readings; those that mask conformity are left out, spikes stay in.
        placement: the run's placement.
        line: the line's sheet.
        covering: what is known of the covering, None for a single layer.
        conductor_mm: diameter of the conductor [mm]; used only where no wall gauge is fitted; NaN if unknown.

    Returns:
        One row a reading. A line without a wall gauge gives the mean wall (D - d)/2 only: offset, thinnest
        wall and concentricity cannot be known from a diameter and are null. With fewer than five sensors lobes are
        not seen: the line sheet's largest ones are taken off the thinnest wall, which is null where it gives none.
    """
    gauge = line.instrument("wall gauge")
    cold = line.instrument("cold diameter gauge")
    diameter, ovality = _diameters(readings, flagged)
    deduct = 0.0 if covering is None else covering.mean_mm
    diameter_at = None if cold is None else placement.at_m - cold.station_m
    if gauge is not None and gauge.sensors is not None:
        inner = deduct if gauge.sees == "insulation and covering" else 0.0
        lobes = np.nan if gauge.largest_lobes_mm is None else gauge.largest_lobes_mm
        walls = _walls(readings, flagged, gauge.sensors, gauge.uncertainty_mm, inner, lobes)
        wall_at: Floats | None = placement.at_m - gauge.station_m
    else:
        walls, wall_at = _from_diameter(diameter, conductor_mm + 2.0 * deduct), diameter_at
    columns: dict[str, pl.Series | NDArray[np.generic] | None] = {
        "row": readings["row"],
        "wall_at_m": wall_at,
        "mean_wall_mm": walls.mean,
        "ecc_cos_mm": walls.cos,
        "ecc_sin_mm": walls.sin,
        "eccentricity_mm": walls.offset,
        "thin_angle_deg": walls.thin_deg,
        "thinnest_wall_mm": walls.thinnest,
        "concentricity_pct": walls.concentricity,
        "sensors_used": walls.used,
        "diameter_at_m": diameter_at,
        "diameter_mm": diameter,
        "ovality_mm": ovality,
    }
    return pl.DataFrame([_series(one.name, columns[one.name], readings.height) for one in MEASURED])


def _series(name: str, values: pl.Series | NDArray[np.generic] | None, height: int) -> pl.Series:
    if isinstance(values, pl.Series):
        return values.alias(name)
    if values is None:
        return pl.Series(name, [None] * height, dtype=pl.Float64)
    if name in READINGS:
        values = possible_readings(name, values.astype(np.float64))
    return pl.Series(name, values, nan_to_null=True)


def _channel(readings: pl.DataFrame, flagged: pl.DataFrame, name: str) -> Floats | None:
    """A channel as numbers without what may not judge the wire; None where no log carries it."""
    if name not in readings.columns or readings[name].null_count() == readings.height:
        return None
    values: Floats = readings[name].cast(pl.Float64).to_numpy()
    bad = flagged.filter((pl.col("channel") == name) & pl.col("flag").is_in(_MASKING))["row"]
    if bad.len():
        values = values.copy()
        values[np.searchsorted(readings["row"].to_numpy(), bad.to_numpy())] = np.nan
    return values


def _diameters(readings: pl.DataFrame, flagged: pl.DataFrame) -> tuple[Floats, Floats]:
    """Mean of the diameter axes that read, and their difference where both do."""
    nothing = np.full(readings.height, np.nan)
    x, y = (_channel(readings, flagged, name) for name in ("diameter_x_mm", "diameter_y_mm"))
    if x is None and y is None:
        return nothing, nothing
    if x is None or y is None:
        return (y if x is None else x), nothing  # type: ignore[return-value]
    mean = 0.5 * (x + y)
    one_axis = np.isnan(mean)
    if bool(one_axis.any()):
        mean = np.where(one_axis, np.where(np.isnan(x), y, x), mean)
    return mean, np.abs(x - y)


def _from_diameter(diameter: Floats, inner_mm: float) -> _Walls:
    """All that a diameter and what lies under the insulation tell: the mean wall."""
    nothing = np.full(diameter.size, np.nan)
    mean = 0.5 * (diameter - inner_mm)
    unused = np.zeros(diameter.size, dtype=np.uint8)
    return _Walls(mean, nothing, nothing, nothing, nothing, nothing, nothing, unused)


def _walls(
    readings: pl.DataFrame,
    flagged: pl.DataFrame,
    sensors: int,
    uncertainty_mm: float,
    inner_mm: float,
    lobes_mm: float,
) -> _Walls:
    """The wall gauge's readings turned into sections, a chunk of rows at a time.

    `inner_mm` is deducted, and `lobes_mm` from the thinnest wall of a section with fewer than five sensors.
    """
    count = readings.height
    columns = [_channel(readings, flagged, name) for name in WALL_CHANNELS[:sensors]]
    parts, oval = np.empty((3, count)), np.empty((2, count))
    used = np.empty(count, dtype=np.uint8)
    lowest = np.empty(count)
    for begin in range(0, count, _CHUNK):
        rows = slice(begin, min(begin + _CHUNK, count))
        walls = np.empty((sensors, rows.stop - begin))
        for number, column in enumerate(columns):
            walls[number] = np.nan if column is None else column[rows]
        solved, used[rows], lowest[rows] = _solve(walls, sensors, uncertainty_mm)
        parts[:, rows], oval[:, rows] = solved[:3], solved[3:]
    oval = _ovality(oval, sensors, uncertainty_mm)
    offset, thin_deg, thinnest, concentricity = np.empty((4, count))
    for begin in range(0, count, _CHUNK):
        rows = slice(begin, min(begin + _CHUNK, count))
        offset[rows], least, most = _extremes(parts[:, rows], *oval[:, rows])
        angle = np.arctan2(-parts[2, rows], -parts[1, rows]) * (180.0 / np.pi)
        thin_deg[rows] = np.where(angle < 0.0, angle + 360.0, angle)
        # A sensor that stands far below the fit counts itself; NaN stays NaN where nothing was measured.
        least = np.where(lowest[rows] < least, lowest[rows], least) - inner_mm
        few = used[rows] < 5
        if bool(few.any()):
            least = np.where(few, least - lobes_mm, least)
        thinnest[rows] = least
        most -= inner_mm
        concentricity[rows] = 100.0 * least / np.where(most > 0.0, most, np.nan)
    if inner_mm:
        parts[0] -= inner_mm
    return _Walls(parts[0], parts[1], parts[2], offset, thin_deg, thinnest, concentricity, used)


def _solve(walls: Floats, sensors: int, uncertainty_mm: float) -> tuple[Floats, NDArray[np.uint8], Floats]:
    """Harmonics of a chunk (a0, a1, b1, a2, b2), sensors used, and the lowest sensor where it stands out."""
    every = (1 << sensors) - 1
    parts = np.full((5, walls.shape[1]), np.nan)
    used = np.full(walls.shape[1], sensors, dtype=np.uint8)
    lowest = np.full(walls.shape[1], np.nan)
    missing = np.isnan(walls.sum(axis=0))
    if not bool(missing.any()):
        _solve_rows(walls, every, sensors, uncertainty_mm, parts, lowest)
        return parts, used, lowest
    finite = np.isfinite(walls)
    bits = (finite * (1 << np.arange(sensors))[:, None]).sum(axis=0)
    used = finite.sum(axis=0).astype(np.uint8)
    for live in np.unique(bits).tolist():
        rows = np.flatnonzero(bits == live)
        some_parts, some_lowest = np.full((5, rows.size), np.nan), np.full(rows.size, np.nan)
        _solve_rows(np.nan_to_num(walls[:, rows]), live, sensors, uncertainty_mm, some_parts, some_lowest)
        parts[:, rows], lowest[rows] = some_parts, some_lowest
    return parts, used, lowest


def _solve_rows(
    walls: Floats, live: int, sensors: int, uncertainty_mm: float, parts: Floats, lowest: Floats
) -> None:
    """Fill `parts` and `lowest` for rows that share their working sensors."""
    known = sensor_set(sensors, live, 1)
    if not known.measured:
        return
    parts[:3] = _times(known.solve, walls)
    working = [bit for bit in range(sensors) if live >> bit & 1]
    read = walls if known.used == sensors else walls[working]
    around = sensor_angles_rad(sensors)[working]
    oval = sensor_set(sensors, live, 2) if known.used >= 5 else None
    if oval is not None and oval.measured:
        both = _times(oval.solve, walls)
        parts[3:] = both[3:]
    if known.used <= 3 or uncertainty_mm <= 0.0:
        return
    away = read - _times(design(around, 1), parts[:3])
    limit = LOW_SENSOR_SIGMA * uncertainty_mm * np.sqrt(1.0 - 3.0 / known.used)
    low = np.flatnonzero(away.min(axis=0) < -limit)
    lowest[low] = read[:, low].min(axis=0)
    if oval is None or not oval.measured or known.used == 5:
        # Five sensors fit an oval exactly: it is kept, for what one sensor makes of it is thin wall too.
        return
    # A section one sensor makes out differently from any oval says nothing of the ovality around it.
    away = read - _times(design(around, 2), both)
    limit = LOW_SENSOR_SIGMA * uncertainty_mm * np.sqrt(1.0 - 5.0 / known.used)
    parts[3:, np.flatnonzero(np.abs(away).max(axis=0) > limit)] = np.nan


def _times(matrix: Floats, columns: Floats) -> Floats:
    """Matrix product of a small matrix with many columns, without the threads of a linear-algebra library."""
    product: Floats = np.einsum("ij,jk->ik", matrix, columns)
    return product


def _ovality(own: Floats, sensors: int, uncertainty_mm: float) -> Floats:
    """Ovality of each section: that of the readings around, or its own where it stands out from theirs."""
    around = np.stack([_smoothed(own[0]), _smoothed(own[1])])
    apart = np.hypot(own[0] - around[0], own[1] - around[1])
    plain = LOW_SENSOR_SIGMA * uncertainty_mm * np.sqrt(2.0 / sensors)
    return np.where(apart > plain, own, around)


def _smoothed(values: Floats) -> Floats:
    """Moving average over the readings around that have a value; 0 where nothing is known near."""
    known = np.flatnonzero(np.isfinite(values))
    if known.size == 0:
        return np.zeros(values.size)
    whole = known.size == values.size
    smooth = _moving_average(values if whole else values[known], OVALITY_READINGS)
    if whole:
        return smooth
    everywhere = np.empty(values.size)
    everywhere[known] = smooth
    rest = np.flatnonzero(np.isnan(values))
    everywhere[rest] = np.interp(rest, known, smooth)
    return everywhere


def _moving_average(values: Floats, width: int) -> Floats:
    """Centred moving average over `width` values, an odd number; shorter at the ends."""
    total = np.concatenate(([0.0], np.cumsum(values)))
    half, count = width // 2, values.size
    smooth = np.empty(count)
    if count > width:
        np.subtract(total[width:], total[:-width], out=smooth[half : count - half])
        smooth[half : count - half] /= width
        ends = np.concatenate((np.arange(half), np.arange(count - half, count)))
    else:
        ends = np.arange(count)
    low, high = np.maximum(ends - half, 0), np.minimum(ends + half + 1, count)
    smooth[ends] = (total[high] - total[low]) / (high - low)
    return smooth


def _extremes(first: Floats, a2: Floats, b2: Floats) -> tuple[Floats, Floats, Floats]:
    """Offset e, and least and greatest of a0 + a1 cos + b1 sin + a2 cos 2 + b2 sin 2 around the section.

    With e = hypot(a1, b1) well above the second harmonic, and c, s its parts seen from the thin side:
    least = a0 - e + c - 2 s^2/(e - 4 c), greatest = a0 + e + c + 2 s^2/(e + 4 c), third order left out
    (derived); other rows are searched on 24 directions with a parabola through the best three.
    """
    a0, a1, b1 = first
    e = np.hypot(a1, b1)
    safe = np.where(e > 0, e, 1.0)
    u, v = -a1 / safe, -b1 / safe
    double_cos, double_sin = u * u - v * v, 2.0 * u * v
    c, s = a2 * double_cos + b2 * double_sin, b2 * double_cos - a2 * double_sin
    plain = e > 10.0 * np.hypot(a2, b2)
    below, above = np.where(plain, e - 4.0 * c, 1.0), np.where(plain, e + 4.0 * c, 1.0)
    least = a0 - e + c - 2.0 * s * s / np.where(below > 0, below, 1.0)
    most = a0 + e + c + 2.0 * s * s / np.where(above > 0, above, 1.0)
    rest = np.flatnonzero(~plain & np.isfinite(a0))
    if rest.size:
        stacked = np.stack([a0[rest], a1[rest], b1[rest], a2[rest], b2[rest]])
        profile = _times(design(sensor_angles_rad(24), 2), stacked)
        least[rest], most[rest] = _vertex(profile), -_vertex(-profile)
    return e, least, most


def _vertex(profile: Floats) -> Floats:
    """Least value of each column, by a parabola through the least point and its neighbours around."""
    size = profile.shape[0]
    at = profile.argmin(axis=0)
    columns = np.arange(profile.shape[1])
    centre, before, after = (
        profile[at, columns],
        profile[(at - 1) % size, columns],
        profile[(at + 1) % size, columns],
    )
    curve = before - 2.0 * centre + after
    slope = after - before
    lowest: Floats = centre - np.where(curve > 0, slope**2 / (8.0 * np.where(curve > 0, curve, 1.0)), 0.0)
    return lowest
