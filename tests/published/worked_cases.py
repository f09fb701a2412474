"""Reads the published cases in data/: each file names its source in its first lines."""

import csv
import gzip
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

DATA = Path(__file__).parent / "data"


def rows(name: str) -> list[dict[str, str]]:
    """The rows of a case's file, as text."""
    packed = DATA / f"{name}.csv.gz"
    text = gzip.decompress(packed.read_bytes()).decode("utf-8") if packed.exists() else None
    lines = (text or (DATA / f"{name}.csv").read_text(encoding="utf-8")).splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def column(name: str, heading: str) -> NDArray[np.float64]:
    """One column of a case's data as numbers."""
    return np.array([float(row[heading]) for row in rows(name) if row[heading] != ""])


def printed(name: str) -> dict[str, tuple[float, float]]:
    """Published answers by name: the number as printed and half a unit of its last digit."""
    return {
        row["quantity"]: (float(row["published"]), 0.5 * 10.0 ** -int(row["decimals"])) for row in rows(name)
    }
