"""Small sheets for the tests of logs: only what a log needs, the rest as plain as it can be."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from pipeline.logs.run_logs import LoadedRun, read_logs
from pipeline.sheets.line_sheet import LineSheet
from pipeline.sheets.run_sheet import LogFile, RunSheet

ZONE = "America/Chicago"
WIDE: dict[str, Any] = {
    "kind": "readings",
    "files": ["gauge.csv"],
    "time": {"column": "time"},
    "channels": {
        "counter_m": {"column": "counter", "unit": "m"},
        "line_speed_m_s": {"column": "speed", "unit": "m/s"},
    },
    "walls": {"columns": ["w1", "w2"], "unit": "mm"},
}
HEADER = "time,counter,speed,w1,w2\n"


def line_sheet(**gauge: Any) -> LineSheet:
    return LineSheet.model_validate(
        {
            "id": "L1",
            "name": "test line",
            "plant": "P",
            "revision": "1",
            "take_up_station_m": 80.0,
            "instruments": [
                {"id": "E", "kind": "encoder", "station_m": 60.0},
                {"id": "W", "kind": "wall gauge", "station_m": 20.0, "sensors": 3, **gauge},
                {"id": "D", "kind": "cold diameter gauge", "station_m": 40.0},
            ],
        }
    )


def run_sheet(*logs: dict[str, Any]) -> RunSheet:
    return RunSheet.model_validate(
        {
            "id": "R1",
            "plant": "P",
            "plant_sheet": "plant.toml",
            "line": "L1",
            "line_sheet": "line.toml",
            "shift": "A",
            "operator_role": "operator",
            "product": {"construction": "THHN/THWN-2", "size": "14 AWG", "conductor": "solid"},
            "reels": [{"id": "R", "from_m": 0, "to_m": 10}],
            "logs": list(logs),
        }
    )


def read(folder: Path, *logs: dict[str, Any], zone: str = ZONE) -> LoadedRun:
    return read_logs(run_sheet(*logs), line_sheet(), folder, zone)


def log_file(**changes: Any) -> LogFile:
    return LogFile.model_validate(WIDE | changes)
