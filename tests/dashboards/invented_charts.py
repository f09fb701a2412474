"""Control charts of the invented plant's line: two phases, a signal of one reading, one of a sum, and a refusal."""

import numpy as np

from dashboards.records import ChartPhase, ChartSignal, ControlChart, LineCharts, ProductCharts
from pipeline.quantity import Quantity, asks
from pipeline.results import Assumption, Refused, Result
from tests.dashboards import invented as base

REELS = tuple(f"R-{1000 + number}" for number in range(60))
INDEPENDENT = Assumption("neighboring points are independent", True, "lag-1 0.08")


def phase(name: str, values: np.ndarray, half: float, start: int, centre: float = 0.0) -> ChartPhase:
    n = values.size
    return ChartPhase(
        name,
        "individuals chart, 3.777 standard deviations",
        ("L1-0312-2",) * n,
        REELS[start : start + n],
        values,
        np.full(n, centre),
        np.full(n, centre - half),
        np.full(n, centre + half),
        6300.0,
        (INDEPENDENT,),
        (
            "Limits from 20 points only. Below 100 points the false-alarm rate may be far from the computed one.",
        )
        if name == "I"
        else (),
    )


def charts() -> LineCharts:
    rng = np.random.default_rng(8)
    wall = 0.360 + rng.normal(0.0, 0.002, 60)
    wall[43] = 0.3171
    wall[5] = np.nan
    sums = np.maximum.accumulate(np.abs(rng.normal(0.0, 0.001, 60)))
    sums[40:] += 0.012
    thin = ChartSignal(
        23,
        "L1-0312-2",
        "R-1043",
        3562.4,
        0.3171,
        0.3505,
        "1 point beyond 3.777 standard deviations",
        "R-1043",
        "II",
    )
    lasting = tuple(
        ChartSignal(
            item, "L1-0312-2", REELS[20 + item], None, float(sums[20 + item]), 0.009,
            "CUSUM beyond its decision interval", "R-1040", "II",
        )
        for item in range(20, 40)
    )  # fmt: skip
    gaps = ChartPhase(
        "I", "exponential CUSUM of the wire between faults (Lucas 1985)", ("L1-0312-2",) * 4, ("R-1043",) * 4,
        np.array([0.0, 120.0, 60.0, 0.0]), np.zeros(4), np.full(4, np.nan), np.full(4, 5200.0), None,
        (Assumption("gaps are exponential, faults do not bunch", None, "see the clustering test"),), (),
    )  # fmt: skip
    share = Result(
        asks(Quantity.VARIANCE_COMPONENT, "stretches between reels", of="stretches", where="between reels"),
        3.7e-6, 1.3e-6, 3.2e-5, 0.95, "mm^2",
        "nested analysis of variance, Satterthwaite interval", 144, None, 27_432.0, "section average", (),
        ("61 % of the variance lies between reels: set-up and reel change.",), {"standard_deviation": 0.0019},
    )  # fmt: skip
    product = ProductCharts(
        base.THHN14.label,
        60,
        "Alarm budget: 1 false alarm in 7 days, shared by all charts a line may have, at 60 points a day.",
        (
            ControlChart(
                "thinnest wall", "individuals chart", "mm",
                "reel", (phase("I", wall[:20], 0.0095, 0, 0.36), phase("II", wall[20:], 0.0095, 20, 0.36)), (thin,),
            ),
            ControlChart(
                "mean wall", "CUSUM chart", "mm", "reel",
                (phase("I", sums[:20], 0.009, 0), phase("II", sums[20:], 0.009, 20)), lasting,
            ),
            ControlChart(
                "wire between spark faults", "CUSUM of gaps between faults",
                "m", "event", (gaps,),
            ),
        ),
        (
            Refused(
                asks(Quantity.CONTROL_CHART, "mean wall", charted="mean wall", family="residual chart"),
                "autoregression (Yule-Walker)",
                "Needs at least 20 values for an autoregression; there are 12.", 12,
            ),
        ),
        (share,),
    )  # fmt: skip
    return LineCharts(base.PLANT, "L1", (product,), base.STAMP)
