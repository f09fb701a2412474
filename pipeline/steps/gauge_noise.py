"""How much do the gauges scatter by themselves? Each stop of the line is a free study of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import polars as pl

from pipeline.length.placement import Placement
from pipeline.length.steady_state import STOP
from pipeline.quantity import Quantity, asks
from pipeline.results import Refused, Result
from pipeline.sheets.line_sheet import LineSheet
from pipeline.steps.instrument_channels import DIMENSION_KINDS, channels_of
from pipeline.trust.repeatability import stop_repeatability, stops_of


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
