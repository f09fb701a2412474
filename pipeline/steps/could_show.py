"""Which bias and drift of its gauges could this run have shown at all? Stated whatever was found."""

from __future__ import annotations

import math

import numpy as np
from scipy import special

from pipeline.contradictions import Unseen
from pipeline.messages import Measure, Message, message
from pipeline.sheets.line_sheet import LineSheet
from pipeline.steps.agreement import compared_sd_mm
from pipeline.steps.ring_checks import RingChecked
from pipeline.trust.reading_drift import POWER, least_drift_mm, movement_sd_mm
from pipeline.trust.redundancy import RED_P, AgreementStretch
from pipeline.trust.uncertainty import Uncertainty

# Standard deviations at which a stretch is red: chi-square of one degree is a normal figure squared.
RED_SIGMA = float(np.sqrt(special.chdtri(1, RED_P)))


def could_show(
    line: LineSheet,
    ring: RingChecked,
    agreement: tuple[AgreementStretch, ...],
    known: dict[str, Uncertainty],
    conductor: tuple[float, float],
    conductor_read: bool,
) -> tuple[Message, ...]:
    """The smallest bias and drift of each gauge that this run shows nine times in ten, and what it cannot show.

    Args:
        line: the line sheet.
        ring: what the wall sensors said of each other.
        agreement: how wall and diameters agree, stretch by stretch.
        known: uncertainty of each quantity.
        conductor: diameter of the conductor and its standard uncertainty [mm].
        conductor_read: whether a gauge read it.
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
    if any(one.agreement.state != "unknown" for one in agreement):
        sd = compared_sd_mm(known, conductor)
        bias = (RED_SIGMA + POWER) * float(np.sqrt(sd[1] ** 2 + sd[2] ** 2 + 4.0 * sd[0] ** 2))
        drift = 2.0 * least_drift_mm(movement_sd_mm(sd, conductor[0], conductor_read))
        told.append(
            message(
                Unseen.GAUGES_LEAST if conductor_read else Unseen.GAUGES_LEAST_CONDUCTOR_UNREAD,
                ring=Measure(bias / 2.0, "mm"),
                diameter=Measure(bias, "mm"),
                ring_drift=Measure(drift / 2.0, "mm"),
                diameter_drift=Measure(drift, "mm"),
            )
        )
    else:
        told.append(message(Unseen.GAUGES_NOT_COMPARED))
    told.append(message(Unseen.NEVER))
    return tuple(told)
