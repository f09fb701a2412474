"""Logs to measure on: one simulated line, spoiled here and there, written as CSV and given to several lines.

Lines are copies of one simulated line under other names: hard links to the same bytes, so that making the data does
not take longer than measuring it.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import polars as pl

# Thin wire of 4 s every 36 min and a spark fault every 17 min, so that there is something to find (invented).
_THIN_EVERY, _THIN_FROM, _THIN_ROWS, _THIN = 21_600, 9_000, 40, 0.8
_FAULT_EVERY = 10_200
_LOT = '[[run.lots]]\nmaterial = "insulation compound"\nlot = "PVC-1"\n\n'


def line_logs(home: Path, hours: float) -> Path:
    """The run folder of one line over `hours`, made once."""
    folder = home / f"line-{hours:g}h"
    if (folder / "whole").exists():
        return folder
    from pipeline.cli.app import run

    shutil.rmtree(folder, ignore_errors=True)
    if run(["simulate", str(folder), "--line", "L1", "--hours", f"{hours:g}"]) != 0:
        raise RuntimeError("the line could not be simulated")
    (packed,) = folder.glob("*_log.csv.gz")
    rows = _spoiled(pl.read_csv(packed, infer_schema_length=None))
    rows.write_csv(folder / packed.name.removesuffix(".gz"))
    faults = rows["Timestamp"][_FAULT_EVERY // 2 :: _FAULT_EVERY]
    pl.DataFrame({"Timestamp": faults, "Spark_kV": [7.4] * faults.len()}).write_csv(
        folder / "R-L1-full_spark.csv", float_precision=2
    )
    (folder / "R-L1-full_vision.csv").write_text("Timestamp,Size_mil,Class\n", encoding="utf-8")
    for one in folder.glob("*.csv.gz"):
        one.unlink()
    sheet = folder / "run.toml"
    text = sheet.read_text(encoding="utf-8").replace(".csv.gz", ".csv")
    sheet.write_text(text.replace("[[run.reels]]", _LOT + "[[run.reels]]", 1), encoding="utf-8")
    (folder / "whole").touch()
    return folder


def _spoiled(rows: pl.DataFrame) -> pl.DataFrame:
    walls = [name for name in rows.columns if name.startswith("Wall_")]
    place = pl.int_range(pl.len()) % _THIN_EVERY
    thin = place.is_between(_THIN_FROM, _THIN_FROM + _THIN_ROWS - 1)
    lost_in = pl.mean_horizontal(walls) * (2.0 * (1.0 - _THIN) / 1000.0)
    return rows.with_columns(
        *(
            pl.when(thin).then((pl.col(one) * _THIN).round(2)).otherwise(pl.col(one)).alias(one)
            for one in walls
        ),
        *(
            pl.when(thin).then((pl.col(one) - lost_in).round(5)).otherwise(pl.col(one)).alias(one)
            for one in ("HotOD_in", "ColdOD_X_in", "ColdOD_Y_in")
        ),
    )


def plant_logs(home: Path, hours: float, lines: int) -> Path:
    """A folder with a run folder for each of `lines` lines over `hours`."""
    folder = home / f"plant-{lines}x{hours:g}h"
    if (folder / "whole").exists():
        return folder
    made = line_logs(home, hours)
    shutil.rmtree(folder, ignore_errors=True)
    for number in range(1, lines + 1):
        run = folder / f"R-L{number}"
        run.mkdir(parents=True)
        for one in made.iterdir():
            if one.suffix == ".csv":
                (run / one.name).hardlink_to(one)
            elif one.suffix == ".toml":
                text = (
                    one.read_text(encoding="utf-8")
                    .replace('"L1', f'"L{number}')
                    .replace('id = "R-L1', f'id = "R-L{number}')
                )
                (run / one.name).write_text(text, encoding="utf-8")
    (folder / "whole").touch()
    return folder


def tables(folder: Path) -> list[str]:
    """Tables of readings below a folder of logs."""
    return [str(path) for path in sorted(folder.rglob("*_log.csv"))]
