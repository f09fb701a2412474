"""Whether a channel was mapped in its right unit: its middle value against what the product makes plausible.

A wall of 17 read as millimetres is a wall of 17 mil. The complaint names the unit in which the same figures would be
plausible. It cannot tell two units apart whose ratio is smaller than the plausible range is wide.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import polars as pl

from pipeline.columns import CHANNEL_BY_NAME
from pipeline.errors import Complaint
from pipeline.log_notes import Unlikely
from pipeline.logs.log_plan import mapped
from pipeline.messages import message
from pipeline.sheets.run_sheet import LogFile
from pipeline.units import scale_and_offset

# Units that instruments of such lines are seen to log in, by the store's unit, the likeliest first (common
# practice, no source).
CANDIDATES: dict[str, tuple[str, ...]] = {
    "mm": ("mm", "mil", "in", "um"),
    "m": ("m", "ft", "mm", "km"),
    "m/s": ("m/s", "m/min", "ft/min", "ft/s"),
    "degC": ("degC", "degF", "K"),
    "bar": ("bar", "psi", "MPa", "kPa", "kgf/cm**2"),
    "kV": ("kV", "V"),
    "rpm": ("rpm", "Hz", "rad/s"),
}


# Wire is not judged by these: only a likely other unit is worth a refusal.
_JUDGES_NOTHING = {"melt_temperature_c", "melt_pressure_bar"}
# Channels held to what they reach and not to their median.
_JUDGED_BY_REACH = {"counter_m", "line_speed_m_s"}


def implausible_units(
    readings: pl.DataFrame, expected: Mapping[str, tuple[float, float]], logs: Iterable[LogFile]
) -> tuple[Complaint, ...]:
    """Channels whose middle value cannot be right in the unit they were mapped in.

    Args:
        readings: the run's readings, in the units of the store.
        expected: for a channel, the least and greatest middle value that the product makes plausible, in the
            store's unit. Channels left out are held against the range of the data dictionary.
        logs: the run's logs, whose mappings name column and unit.

    Returns:
        One complaint a channel, which names the likely unit where there is one.
    """
    found: list[Complaint] = []
    walls: list[Complaint] = []
    for log in logs:
        if log.kind != "readings":
            continue
        for channel, column, unit in mapped(log):
            if channel not in readings.columns:
                continue
            low, high = expected.get(channel, _dictionary(channel))
            complaint = _complaint(readings[channel], channel, column, unit, low, high, ", ".join(log.files))
            if complaint is not None:
                (walls if channel.startswith("wall_") else found).append(complaint)
    # All walls have one unit in the mapping, so one complaint says it.
    return (*found, *walls[:1])


def _dictionary(channel: str) -> tuple[float, float]:
    column = CHANNEL_BY_NAME[channel]
    return (
        float("-inf") if column.low is None else column.low,
        float("inf") if column.high is None else column.high,
    )


def _complaint(
    values: pl.Series, channel: str, column: str, unit: str, low: float, high: float, name: str
) -> Complaint | None:
    if channel not in _JUDGED_BY_REACH and _most_within(values, low, high):
        return None
    middle = _middle(values, channel)
    if middle is None or low <= middle <= high:
        return None
    store_unit = CHANNEL_BY_NAME[channel].unit
    figure = _figure(middle, unit, store_unit)
    likely = [
        candidate
        for candidate in CANDIDATES.get(store_unit, ())
        if candidate != unit and low <= _stored(figure, candidate, store_unit) <= high
    ]
    if channel in _JUDGES_NOTHING and not likely:
        return None
    seen = {"channel": channel, "middle": middle, "stored": store_unit, "low": low, "high": high}
    # In the log's own units whatever the reader's, for the unit is what is asked about.
    return Complaint(
        f"{name}: column '{column}'",
        message(Unlikely.MIDDLE, **seen, unit=unit or "plain numbers")
        if unit == store_unit
        else message(Unlikely.MIDDLE_CONVERTED, **seen, unit=unit, figure=figure),
        message(Unlikely.RIGHT_IN, units=likely) if likely else message(Unlikely.CHECK_COLUMN),
    )


def _most_within(values: pl.Series, low: float, high: float) -> bool:
    """Whether so few values lie below or above that the median must lie between; counting costs less than sorting."""
    half = (values.len() - values.null_count()) / 2.0
    return int((values < low).sum()) < half and int((values > high).sum()) < half


def _middle(values: pl.Series, channel: str) -> float | None:
    """Median while there is something to read; a counter and a speed are judged by what they reach."""
    known = values.drop_nulls()
    if known.len() == 0:
        return None
    if channel == "line_speed_m_s":
        # A stopped line says nothing of the unit.
        fast = known.quantile(0.95)
        running = known.filter(known > 0.05 * (fast or 0.0))
        known = running if running.len() else known
    if channel == "counter_m":
        top = known.max()
        return float(top) if isinstance(top, int | float) else None
    middle = known.median()
    return float(middle) if isinstance(middle, int | float) else None


def _stored(figure: float, unit: str, store_unit: str) -> float:
    factor, offset = scale_and_offset(unit, store_unit, "")
    return figure * factor + offset


def _figure(stored: float, unit: str, store_unit: str) -> float:
    factor, offset = scale_and_offset(unit, store_unit, "")
    figure: float = (stored - offset) / factor
    return figure
