"""False alarms of all charts of a line together, on reels that differ by chance alone or repeat their neighbors.

Invented reels, normal; nothing about them changes. ``python -m tests.steps.line_alarm_trials LINES`` prints the table
kept in ``line_alarms_found.csv``: separate alarms on later reels, where the plant accepts one.
"""

from __future__ import annotations

import sys
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from pipeline.results import Chart
from pipeline.sheets.plant_sheet import Charts
from pipeline.steps.line_charts import line_charts
from pipeline.steps.line_reels import LineReel

Floats = NDArray[np.float64]
Random = np.random.Generator
DAYS, A_DAY = 7.0, 60.0
CASES = tuple((baseline, repeats) for baseline in (12, 24, 100) for repeats in (0.0, 0.6))


def _walk(middle: float, sd: float, shape: tuple[int, ...], repeats: float, random: Random) -> Floats:
    drawn = random.standard_normal((shape[0] + 60, *shape[1:]))
    made = lfilter([np.sqrt(1.0 - repeats**2)], [1.0, -repeats], drawn, axis=0)[60:]
    return np.asarray(middle + sd * made, dtype=np.float64)


def reels(many: int, repeats: float, random: Random) -> list[LineReel]:
    """Reels in order; mean wall and offset repeat their neighbors by a first-order memory."""
    wall = _walk(0.41, 0.002, (many,), repeats, random)
    offset = _walk(0.02, 0.002, (many, 2), repeats, random)
    made = []
    for k in range(many):
        values = {
            "mean_wall_mm": wall[k],
            "thinnest_wall_mm": wall[k] - 0.03 + random.normal(0.0, 0.001),
            "wall_sd_mm": 0.004 + random.normal(0.0, 0.0002),
            "diameter_mm": 2.8 + random.normal(0.0, 0.004),
            "ecc_cos_mm": offset[k, 0],
            "ecc_sin_mm": offset[k, 1],
            **{f"wall_{one}_mm": wall[k] + random.normal(0.0, 0.002) for one in range(1, 9)},
        }
        means = tuple((wall[k] + random.normal(0.0, 0.001, 9)).tolist())
        faults = int(random.poisson(0.4))
        made.append(
            LineReel(f"R-{k // 4}", f"reel {k}", values, stretch_means_mm=means, readings=900, faults=faults,
                     tested_m=2000.0)
        )  # fmt: skip
    return made


def _separate(chart: Chart) -> int:
    """Alarms that do not follow one another on the chart."""
    items = sorted({one.item for one in chart.signals})
    return sum(b > a + 1 for a, b in zip([-9, *items], items, strict=False))


def alarms(baseline: int, repeats: float, lines: int, seed: int) -> list[int]:
    """Separate alarms on the later reels of each line, all its charts together."""
    random = np.random.default_rng([seed, baseline, round(10 * repeats)])
    settings = Charts(false_alarms=1.0, days=DAYS, reels_per_day=A_DAY, baseline_reels=baseline)
    return [
        sum(
            _separate(one.chart)
            for one in line_charts(reels(baseline + round(DAYS * A_DAY), repeats, random), settings).charts
            if one.chart.phase == "II"
        )
        for _ in range(lines)
    ]


if __name__ == "__main__":
    print("baseline,repeats,lines,alarms,standard_error,seed,date")
    for case in CASES:
        found = np.array(alarms(*case, int(sys.argv[1]), 1))
        error = found.std(ddof=1) / np.sqrt(found.size)
        print(
            f"{case[0]},{case[1]},{found.size},{found.mean():.3f},{error:.3f},1,{datetime.now(UTC).date()}",
            flush=True,
        )
