"""A small invented line and its log, for tests that need a run with a known answer."""

from datetime import UTC, datetime

import numpy as np
import polars as pl

from pipeline.sheets.line_sheet import Instrument, LineSheet

NO_FLAGS = pl.DataFrame(schema={"row": pl.UInt32, "channel": pl.String, "flag": pl.UInt8})
START = datetime(2031, 5, 4, 6, 0, tzinfo=UTC)


def invented_line(**changes) -> LineSheet:
    """A line with the encoder at the die, hot gauge at 2 m, wall gauge 20 m, cold 60 m, spark 90 m."""
    instruments = (
        Instrument(id="E1", kind="encoder", station_m=0.0),
        Instrument(id="H1", kind="hot diameter gauge", station_m=2.0),
        Instrument(id="W1", kind="wall gauge", station_m=20.0, sensors=8),
        Instrument(id="D1", kind="cold diameter gauge", station_m=60.0),
        Instrument(id="S1", kind="spark tester", station_m=90.0, window_m=0.9, frequency_hz=3000.0),
    )
    whole = {
        "id": "L9",
        "name": "invented",
        "plant": "invented",
        "revision": "1",
        "take_up_station_m": 105.0,
        "instruments": instruments,
    }
    return LineSheet(**{**whole, **changes})


def speed_profile(seconds: np.ndarray, points: list[tuple[float, float]]) -> np.ndarray:
    """Speed [m/s] along straight lines between (time, speed)."""
    times, speeds = zip(*points, strict=True)
    return np.interp(seconds, times, speeds)


def log_of(seconds: np.ndarray, counter=None, speed=None, **channels) -> pl.DataFrame:
    """A frame of logged readings."""
    micro = (seconds * 1e6).round().astype(np.int64) + int(START.timestamp() * 1e6)
    frame = {
        "row": np.arange(seconds.size, dtype=np.uint32),
        "file_no": np.zeros(seconds.size, dtype=np.uint16),
        "line": np.arange(2, seconds.size + 2, dtype=np.uint32),
        "time_utc": pl.Series(micro).cast(pl.Datetime("us", "UTC")),
    }
    if counter is not None:
        frame["counter_m"] = pl.Series(counter, nan_to_null=True)
    if speed is not None:
        frame["line_speed_m_s"] = pl.Series(speed, nan_to_null=True)
    for name, values in channels.items():
        frame[name] = pl.Series(np.asarray(values, dtype=float), nan_to_null=True)
    return pl.DataFrame(frame)


def made_by(seconds: np.ndarray, speed: np.ndarray) -> np.ndarray:
    """Length made at each instant [m], the exact integral of a speed that runs straight between rows."""
    return np.concatenate(([0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1]) * np.diff(seconds))))
