"""A small invented line and wall readings, for tests that need a wall with a known answer."""

from datetime import UTC, datetime

import numpy as np
import polars as pl

from pipeline.length.placement import Placement, place_readings
from pipeline.sheets.line_sheet import Instrument, LineSheet
from pipeline.sheets.run_sheet import Covering

NO_FLAGS = pl.DataFrame(schema={"row": pl.UInt32, "channel": pl.String, "flag": pl.UInt8})


def invented_line(
    sensors: int = 8, sees: str = "insulation", wall_gauge: bool = True, cold_gauge: bool = True
) -> LineSheet:
    """A line with a wall gauge at 20 m and a cold diameter gauge at 60 m."""
    instruments = [Instrument(id="E1", kind="encoder", station_m=0.0)]
    if wall_gauge:
        instruments.append(
            Instrument(
                id="W1", kind="wall gauge", station_m=20.0, sensors=sensors, sees=sees, largest_lobes_mm=0.0
            )
        )
    if cold_gauge:
        instruments.append(
            Instrument(id="D1", kind="cold diameter gauge", station_m=60.0, uncertainty_mm=0.002)
        )
    return LineSheet(
        id="L9",
        name="invented",
        plant="invented",
        revision="1",
        take_up_station_m=105.0,
        instruments=tuple(instruments),
    )


def covering(mean_mm: float = 0.118, offset_mm: float = 0.009, uncertainty_mm: float = 0.003) -> Covering:
    """What a run sheet may say of a covering."""
    return Covering(
        mean_mm=mean_mm, uncertainty_mm=uncertainty_mm, offset_mm=offset_mm, basis="invented cut samples"
    )


def readings(rows: int, speed_m_s: float = 10.0, **channels: np.ndarray) -> pl.DataFrame:
    """A run at constant speed with the given channels."""
    micro = (
        np.arange(rows, dtype=np.int64) * 100_000 + int(datetime(2031, 5, 4, tzinfo=UTC).timestamp()) * 10**6
    )
    frame = {
        "row": np.arange(rows, dtype=np.uint32),
        "file_no": np.zeros(rows, dtype=np.uint16),
        "line": np.arange(2, rows + 2, dtype=np.uint32),
        "time_utc": pl.Series(micro).cast(pl.Datetime("us", "UTC")),
        "counter_m": np.arange(rows) * 0.1 * speed_m_s,
        "line_speed_m_s": np.full(rows, speed_m_s),
    }
    for name, values in channels.items():
        frame[name] = pl.Series(np.asarray(values, dtype=float), nan_to_null=True)
    return pl.DataFrame(frame)


def walls_of(rows: int, sensors: int, mean, e, thin_deg, oval=0.0, oval_deg=0.0, noise=0.0, seed=0):
    """Channels of a wall gauge that sees mean - e cos(a - thin) + oval cos 2(a - oval_deg) plus noise."""
    rng = np.random.default_rng(seed)
    angles = 2 * np.pi * np.arange(sensors) / sensors
    read = {}
    for number, angle in enumerate(angles):
        wall = (
            mean
            - e * np.cos(angle - np.radians(thin_deg))
            + oval * np.cos(2 * (angle - np.radians(oval_deg)))
        )
        read[f"wall_{number + 1}_mm"] = wall + noise * rng.standard_normal(rows) + np.zeros(rows)
    return read


def placed(frame: pl.DataFrame, line: LineSheet) -> Placement:
    """The frame on the wire."""
    return place_readings(frame, NO_FLAGS, line)
