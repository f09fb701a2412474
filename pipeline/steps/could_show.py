"""Which bias and drift of its gauges could this run have shown at all? Stated whatever was found.

How much do the gauges scatter by themselves? Each stop of the line is a free study of it.

What must be told of data that contradict themselves, beside what the wall sensors say of each other.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import polars as pl
from scipy import special

from pipeline.contradictions import Contradiction, Unseen
from pipeline.flags import FILLED, REPEATED, STUCK, Flag
from pipeline.length.placement import Placement
from pipeline.length.steady_state import STOP
from pipeline.messages import Measure, Message, Place, message
from pipeline.quantity import Quantity, asks
from pipeline.results import Refused, Result
from pipeline.sheets.line_sheet import LineSheet, MassBalance
from pipeline.steps.agreement import compared_sd_mm
from pipeline.steps.evidence import usual_step_m
from pipeline.steps.exchanged import melt_exchanged
from pipeline.steps.instrument_channels import DIMENSION_KINDS, channels_of
from pipeline.steps.place import Placed
from pipeline.steps.ring_checks import RingChecked
from pipeline.trust.lone_axis import LoneAxis
from pipeline.trust.reading_drift import POWER, least_drift_mm, movement_sd_mm
from pipeline.trust.redundancy import RED_P, AgreementStretch
from pipeline.trust.repeatability import stop_repeatability, stops_of
from pipeline.trust.uncertainty import Uncertainty

# Share of a gauge's rows that count as stuck, and of its figures that stand for equally many, and the fewest of these
# by which a gauge is said to show each figure for so many rows (chosen here).
HELD_SHARE, FEWEST_HELD = 0.5, 10


def contradictions_told(
    readings: pl.DataFrame,
    flagged: pl.DataFrame,
    placed: Placed,
    alone: tuple[LoneAxis, ...],
    line: LineSheet,
) -> tuple[Message, ...]:
    """Events of a gauge alone, columns of the melt exchanged, steps of the clock, and rows that repeat others.

    Args:
        readings: readings as logged (columns.LOGGED).
        flagged: reasons not to use readings (columns.FLAGGED).
        placed: the run on the wire.
        alone: readings of one diameter axis that stand alone.
        line: the line sheet.
    """
    melt = (message(Contradiction.MELT_EXCHANGED),) if melt_exchanged(readings) else ()
    return (
        *_lone_axes_told(alone, line),
        *melt,
        *_clock_told(placed),
        *_held_told(readings, flagged, placed, line),
        *_not_read_told(readings, flagged, placed, line, REPEATED, Contradiction.ROWS_REPEATED),
        *_not_read_told(readings, flagged, placed, line, FILLED, Contradiction.FILLED_IN),
    )


def _not_read_told(
    readings: pl.DataFrame,
    flagged: pl.DataFrame,
    placed: Placed,
    line: LineSheet,
    flag: Flag,
    code: Contradiction,
) -> tuple[Message, ...]:
    """Rows whose figures were not read when they were logged: earlier blocks once more, and what was filled in."""
    found = flagged.filter(pl.col("flag") == flag.code)
    if found.height == 0:
        return ()
    first = int(np.searchsorted(readings["row"].to_numpy(), found["row"].sort()[0]))
    channels = set(found["channel"].to_list())
    gauges = [gauge for gauge in line.instruments if channels & set(channels_of(gauge))]
    at = Place(float(placed.placement.at_m[first]) - max(gauge.station_m for gauge in gauges))
    named = tuple(gauge.id for gauge in gauges)
    return (message(code, rows=found["row"].n_unique(), at=at, instruments=named),)


def _held_told(
    readings: pl.DataFrame, flagged: pl.DataFrame, placed: Placed, line: LineSheet
) -> tuple[Message, ...]:
    """Gauges that show each figure for so many rows that they count as stuck: why, and what to log instead."""
    told = []
    for gauge in line.instruments:
        names = [name for name in channels_of(gauge) if name in readings.columns]
        if gauge.kind not in DIMENSION_KINDS or not names or readings.height < 2:
            continue
        stuck = flagged.filter((pl.col("flag") == STUCK.code) & (pl.col("channel") == names[0])).height
        values = readings.select(pl.col(names).cast(pl.Float64)).to_numpy()
        held = np.diff(np.flatnonzero((values[1:] != values[:-1]).any(axis=1)))
        if stuck <= HELD_SHARE * readings.height or held.size < FEWEST_HELD:
            continue
        rows = int(np.median(held))
        if rows > 1 and np.mean(held == rows) > HELD_SHARE:
            length = usual_step_m(np.maximum.accumulate(placed.placement.at_m)) * rows
            told.append(
                message(
                    Contradiction.FIGURES_HELD, instrument=gauge.id, rows=rows, length=Measure(length, "m")
                )
            )
    return tuple(told)


def _clock_told(placed: Placed) -> tuple[Message, ...]:
    """Steps of the logger's clock."""
    clock = placed.placement.clock
    if clock is None or clock.rows.size == 0:
        return ()
    largest = float(clock.by_s[np.abs(clock.by_s).argmax()])
    events = len({one.event for one in placed.elsewhere})
    return (message(Contradiction.CLOCK_SET, steps=int(clock.rows.size), seconds=largest, events=events),)


def _lone_axes_told(found: tuple[LoneAxis, ...], line: LineSheet) -> tuple[Message, ...]:
    """The events of a diameter gauge alone, counted."""
    cold, denied = line.instrument("cold diameter gauge"), [one.size_mm for one in found if one.denied]
    if cold is None or not denied:
        return ()
    size = Measure(max(denied, key=abs), "mm")
    return (message(Contradiction.LONE_AXIS, instrument=cold.id, rows=len(denied), size=size),)


def gauge_noise(
    readings: pl.DataFrame, flagged: pl.DataFrame, placement: Placement, line: LineSheet
) -> Mapping[str, Result | Refused]:
    """Repeatability of one channel of each dimension gauge at the run's stops, by instrument kind.

    The channels of one gauge are pooled: each sensor at each stop watches a spot of its own.

    Args:
        readings: readings as logged (columns.LOGGED).
        flagged: reasons not to use readings (columns.FLAGGED); all of them are left out here.
        placement: the run's placement.
        line: the line sheet.

    Returns:
        By kind, the standard deviation of a single reading [mm] or the refusal of a run without a stop.
    """
    stops = stops_of(placement.readings["phase"].to_numpy(), STOP, placement.readings["speed_m_s"].to_numpy())
    row = readings["row"].to_numpy()
    found: dict[str, Result | Refused] = {}
    for instrument in line.instruments:
        carried = [name for name in channels_of(instrument) if name in readings.columns]
        if not carried or instrument.kind not in DIMENSION_KINDS or instrument.kind in found:
            continue
        values = readings.select(pl.col(carried).cast(pl.Float64)).to_numpy().T.copy()
        for place, name in enumerate(carried):
            bad = flagged.filter(pl.col("channel") == name)["row"].unique().to_numpy()
            values[place, np.searchsorted(row, bad)] = np.nan
        pooled = [rows + place * row.size for place in range(len(carried)) for rows in stops]
        answer = stop_repeatability(values.ravel(), pooled, instrument.resolution_mm)
        question = asks(Quantity.GAUGE_NOISE, instrument.id, instrument=instrument.id, kind=instrument.kind)
        found[instrument.kind] = replace(answer, question=question)
    return found


def noise_mm(found: Mapping[str, Result | Refused], kind: str) -> float | None:
    """The noise of one reading of that kind of gauge [mm]; None where no stop told it."""
    answer = found.get(kind)
    return answer.estimate if isinstance(answer, Result) else None


# A step of the log of so many standard uncertainties, its own part in them, hides a gauge's noise (chosen here).
COARSE = 1.25

# Standard deviations at which a stretch is red: chi-square of one degree is a normal figure squared.
RED_SIGMA = float(np.sqrt(special.chdtri(1, RED_P)))
# Of the two relations that the screw's output makes, how far off one must be to be red nine times in ten.
WEIGHED_SIGMA = float(np.sqrt(special.chndtrinc(special.chdtri(2, RED_P), 2, 0.1)))


def _steps_told(line: LineSheet, ring: RingChecked) -> list[Message]:
    """Gauges whose log is coarser than their noise, and a ring whose readings run together."""
    told = []
    for gauge in line.instruments:
        # The uncertainty has the log's step in it where that is coarser than the sheet's.
        if gauge.kind in DIMENSION_KINDS and gauge.resolution_mm > COARSE * gauge.uncertainty_mm:
            told.append(
                message(Unseen.COARSE_LOG, instrument=gauge.id, step=Measure(gauge.resolution_mm, "mm"))
            )
        elif gauge.kind == "wall gauge" and ring.together_m > 0.0:
            length = Measure(ring.together_m, "m")
            told.append(message(Unseen.RUN_TOGETHER, instrument=gauge.id, length=length))
    return told


def could_show(
    line: LineSheet,
    ring: RingChecked,
    agreement: tuple[AgreementStretch, ...],
    known: dict[str, Uncertainty],
    conductor: tuple[float, float],
    conductor_read: bool,
    balance: MassBalance | None,
    made_m: tuple[float, float],
) -> tuple[Message, ...]:
    """The smallest bias and drift of each gauge that this run shows nine times in ten, and what it cannot show.

    Args:
        line: the line sheet.
        ring: what the wall sensors said of each other.
        agreement: how wall and diameters agree, stretch by stretch.
        known: uncertainty of each quantity.
        conductor: diameter of the conductor and its standard uncertainty [mm].
        conductor_read: whether a gauge read it.
        balance: what a turn of the screw delivers; None where it is not known.
        made_m: first and last metre of wire made [m].
    """
    told: list[Message] = []
    gauge = line.instrument("wall gauge")
    shape = ring.shape
    if gauge is not None and shape is not None and math.isfinite(shape.least_mm):
        told.append(
            message(
                Unseen.SENSOR_LEAST,
                instrument=gauge.id,
                offset=Measure(shape.least_mm, "mm"),
                drift=Measure(2.0 * shape.least_change_mm, "mm"),
            )
        )
    elif gauge is not None:
        told.append(message(Unseen.SENSORS_NOT_COMPARED, instrument=gauge.id))
    told += _steps_told(line, ring)
    if any(one.agreement.state != "unknown" for one in agreement):
        sd = compared_sd_mm(known, conductor)
        bias = (RED_SIGMA + POWER) * float(np.sqrt(sd[1] ** 2 + sd[2] ** 2 + 4.0 * sd[0] ** 2))
        moves = movement_sd_mm(sd, conductor[0], conductor_read)
        drift = 2.0 * least_drift_mm(agreement, moves, bias / 2.0, made_m)
        told.append(
            message(
                Unseen.GAUGES_LEAST if conductor_read else Unseen.GAUGES_LEAST_CONDUCTOR_UNREAD,
                ring=Measure(bias / 2.0, "mm"),
                diameter=Measure(bias, "mm"),
                ring_drift=Measure(drift / 2.0, "mm"),
                diameter_drift=Measure(drift, "mm"),
            )
        )
        alike = least_alike_mm(agreement, sd, balance)
        if alike is not None:
            told.append(message(Unseen.GAUGES_ALIKE_LEAST, alike=Measure(alike, "mm")))
    else:
        told.append(message(Unseen.GAUGES_NOT_COMPARED))
    told.append(message(Unseen.NEVER))
    return tuple(told)


def fault_clock_told(readings: pl.DataFrame, line: LineSheet) -> tuple[Message, ...]:
    """That a list of faults is not held against a count beside the readings, where none is logged."""
    counted = "spark_counts" in readings.columns
    return () if counted or line.instrument("spark tester") is None else (message(Unseen.FAULT_CLOCK),)


def least_alike_mm(
    agreement: tuple[AgreementStretch, ...], sd: tuple[float, float, float], balance: MassBalance | None
) -> float | None:
    """Smallest bias of the wall, shared by wall and diameter gauge, that the screw's output shows nine in ten [mm].

    A wall t and a diameter D both too high, by b and 2 b, leave D - d - 2 t as it is and move A - pi/4 (D^2 - d^2) by
    pi D b; what the two relations share is known from the first (derived). None where no stretch has an area.
    """
    weighed = np.array([one.agreement.adjusted for one in agreement if one.agreement.degrees == 2])
    if balance is None or weighed.size == 0:
        return None
    _, across, bare, area = np.median(weighed, axis=0).tolist()
    by_diameter, by_conductor = across * sd[1] ** 2, bare * sd[2] ** 2
    geometry = sd[1] ** 2 + sd[2] ** 2 + 4.0 * sd[0] ** 2
    mass = (0.01 * balance.uncertainty_pct * area) ** 2
    mass += (math.pi / 2.0) ** 2 * (across * by_diameter + bare * by_conductor)
    shared = (math.pi / 2.0 * (by_diameter + by_conductor)) ** 2 / geometry
    least: float = WEIGHED_SIGMA * math.sqrt(mass - shared) / (math.pi * across)
    return least
