"""More of the invented plant: reel, lot, nonconformance summary and index."""

from datetime import date, timedelta

import numpy as np

from dashboards.records import (
    AnswerGroup,
    CalibrationRow,
    ChildLength,
    CutPiece,
    CuttingPlan,
    Edge,
    Evidence,
    JudgementEdition,
    LotEntry,
    LotEvent,
    LotHistory,
    LotRow,
    Node,
    NonconformanceSummary,
    PageEntry,
    PanelLimit,
    ReelEntry,
    ReelReview,
    RollUp,
    RunEntry,
    ShiftEntry,
    SiteIndex,
    Tally,
    TallyRow,
)
from dashboards.records.morning import Amount, CauseCost, DayTotal, MorningSheet
from pipeline.quantity import Quantity, asks
from pipeline.results import Result
from tests.dashboards import invented as base


def roll_up(name: str, title: str, level: float, spread: float, dip: bool = False) -> RollUp:
    at = np.arange(0.0, 2500.0, 100.0)
    wave = level + 0.4 * spread * np.sin(at / 190.0)
    low, high = wave - spread, wave + spread
    if dip:
        low[9] = 0.3171
    gap = (at > 2100) & (at < 2160)
    return RollUp(name, title, "mm", at, 100.0, *(np.where(gap, np.nan, one) for one in (low, wave, high)))


def reel() -> ReelReview:
    row = base.run_one().reels[2]
    plan = CuttingPlan(
        (
            CutPiece(0.0, 914.4, "ship", "3,000 ft"),
            CutPiece(914.4, 984.0, "remnant", "228 ft"),
            CutPiece(984.0, 1008.0, "scrap"),
            CutPiece(1008.0, 1617.6, "ship", "2,000 ft"),
            CutPiece(1617.6, 1734.0, "remnant"),
            CutPiece(1734.0, 1748.0, "scrap"),
            CutPiece(1748.0, 2357.6, "ship", "2,000 ft"),
            CutPiece(2357.6, 2500.0, "remnant", "467 ft"),
        ),
        946.0,
        907.0,
        "USD",
        ("The plan of greatest value over all ways to cut, with 6 m kept clear of each finding.",),
        ("Cut, take a slice from each side, mark the thin side.",),
    )
    return ReelReview(
        base.PLANT,
        row,
        base.THHN14,
        (
            roll_up("thinnest_wall_mm", "Thinnest wall", 0.372, 0.012, True),
            roll_up("diameter_mm", "Overall diameter", 2.81, 0.01),
        ),
        (
            PanelLimit("wall", base.POINT),
            PanelLimit("wall", base.AVERAGE),
            PanelLimit("diameter", base.DIAMETER),
        ),
        base.findings()[:2],
        (),
        (AnswerGroup("Capability", (base.capability(1.12, 0.97), base.REFUSED)),),
        plan,
        (LotRow("conductor", "CU-7731"), LotRow("insulation compound", "PVC-2291")),
        (
            ChildLength("R-1043-A", 0.0, 914.4, "order 5512", "releasable"),
            ChildLength("R-1043-B", 1008.0, 1617.6, "", "held", True),
        ),
        "2026-03-12-2",
        base.STAMP,
    )


def lot() -> LotHistory:
    reels = (*base.run_one().reels, *base.run_two().reels[:2])
    nodes = (
        Node("PVC-2291", "material lot", "PVC-2291", "certificate 88-1203"),
        Node("CU-7731", "material lot", "CU-7731"),
        Node("L1-WG1", "gauge", "L1-WG1", "calibrated 2026-01-14"),
        Node("L1-0312-2", "run", "L1-0312-2", "14 AWG THHN/THWN-2"),
        *(Node(one.reel_id, "reel", one.reel_id, one.standing) for one in reels[:5]),
        Node("R-1043-A", "cut length", "R-1043-A", "914 m"),
        Node("R-1043-B", "cut length", "R-1043-B", "610 m"),
        Node("S-5512", "shipment", "S-5512", "order 5512"),
    )
    edges = (
        Edge("PVC-2291", "L1-0312-2", 0.0, 6400.0),
        Edge("CU-7731", "L1-0312-2"),
        Edge("L1-WG1", "L1-0312-2"),
        *(Edge("L1-0312-2", one.reel_id, one.from_m, one.to_m) for one in reels[:5]),
        Edge("R-1043", "R-1043-A", 0.0, 914.4),
        Edge("R-1043", "R-1043-B", 1008.0, 1617.6),
        Edge("R-1043-A", "S-5512"),
    )
    day = base.START
    events = (
        LotEvent(day - timedelta(days=9), "received", "Lot PVC-2291 received, 4 boxes.", "receiving clerk"),
        LotEvent(day, "extruded", "Run L1-0312-2 started.", "line operator, shift 2"),
        LotEvent(
            day + timedelta(hours=8),
            "assessed",
            "Run L1-0312-2 assessed.",
            "quality engineer",
            Evidence("A-000214"),
            "",
            base.SHA,
        ),
        LotEvent(
            day + timedelta(hours=8),
            "finding",
            "Wall under the minimum at any point on reel R-1043.",
            "",
            Evidence(
                "A-000214",
                "L1-0312-2",
                3562.4,
                7124,
                "L1-WG1",
                "L1-wall-0312-2.csv",
                7126,
                base.SHA,
                "F-0412",
            ),
            "R-1043",
            base.SHA[::-1],
        ),
    )
    return LotHistory(
        base.PLANT,
        "PVC-2291",
        "Insulation compound lot PVC-2291",
        nodes,
        edges,
        reels,
        events,
        base.findings()[:3],
        (),
        (
            CalibrationRow("L1-WG1", "wall gauge", "2026-01-14", "2026-07-14", True),
            CalibrationRow("L1-SP1", "spark tester", "2025-03-18", "2026-03-18", None),
        ),
        (
            JudgementEdition(
                "A-000198", day + timedelta(hours=7), "2", "reelproof 0.1.0", "4 releasable, 2 held", False
            ),
            JudgementEdition(
                "A-000214",
                day + timedelta(hours=8),
                "3",
                "reelproof 0.1.0",
                "4 releasable, 2 held, 1 no conclusion",
                True,
            ),
        ),
        8900.0,
        815.0,
        (("lot-history.pdf", base.SHA), ("readings.parquet", base.SHA[::-1])),
        base.STAMP,
    )


def rate(estimate: float, low: float, high: float, n: int) -> Result:
    return Result(
        asks(Quantity.FAULT_RATE),
        estimate,
        low,
        high,
        0.95,
        "per km",
        "Exact Poisson interval (Garwood 1936)",
        n,
        None,
        12_000.0,
        "event",
    )


def nonconformance() -> NonconformanceSummary:
    return NonconformanceSummary(
        base.PLANT,
        "",
        "Nonconformance, March 2026",
        date(2026, 3, 1),
        date(2026, 3, 31),
        base.findings(),
        (
            Tally(
                "rule",
                (
                    TallyRow(
                        "minimum wall at any point",
                        2,
                        0,
                        18.5,
                        12_522.0,
                        11_700.0,
                        rate(0.171, 0.021, 0.62, 2),
                    ),
                    TallyRow("spark fault", 1, 0, 2.5),
                    TallyRow("overall diameter", 1, 1, 3.1),
                ),
            ),
            Tally(
                "line",
                (
                    TallyRow("L1", 4, 1, 24.1, 21_000.0, 20_100.0, rate(0.199, 0.054, 0.51, 4)),
                    TallyRow("L2", 0, 0, 0.0, 2_610.0, 2_600.0, rate(0.0, 0.0, 1.42, 0)),
                ),
            ),
            Tally(
                "cause",
                (
                    TallyRow("drift of the centre", 1, 0, 12.5),
                    TallyRow("capstan C2", 1, 0, 2.5),
                    TallyRow("start-up", 1, 1, 3.1),
                    TallyRow("not known", 1, 0, 6.0),
                ),
            ),
        ),
        0.2,
        19.3,
        base.STAMP,
        "F-0412",
    )


def index() -> SiteIndex:
    days = [date(2026, 3, 12) - timedelta(days=i) for i in range(4)]
    shifts = tuple(
        ShiftEntry(
            f"{day}-{k}",
            f"Shift {k}",
            day,
            ("L1", "L2"),
            9 - k,
            k % 2 + (i == 0),
            int(i == 0 and k == 2),
            k % 2,
        )
        for i, day in enumerate(days)
        for k in (3, 2, 1)
    )
    reels = tuple(
        ReelEntry(
            one.reel_id,
            one.run_id,
            base.THHN14.label,
            days[0],
            one.standing,
            one.to_m - one.from_m,
            ("PVC-2291",),
        )
        for one in base.run_one().reels
    )
    return SiteIndex(
        base.PLANT,
        shifts,
        (
            RunEntry("L1-0312-2", "L1", base.THHN14.label, days[0], "2026-03-12-2", 9912.0),
            RunEntry("L2-0312-2", "L2", base.XHHW.label, days[0], "2026-03-12-2", 2610.0),
        ),
        reels,
        (LotEntry("PVC-2291", "insulation compound", 7, days[0]),),
        (
            PageEntry(
                "nonconformance/index.html",
                "Nonconformance, March 2026",
                "What did not conform, why, and what is still open?",
            ),
        ),
        base.STAMP,
    )


def morning() -> MorningSheet:
    """One production day with four causes, the costs of which are made up; the trend is of its last three days."""
    days = [date(2026, 3, 12) - timedelta(days=back) for back in reversed(range(30))]
    trend = tuple(
        DayTotal(day, 9000.0 * (number > 26), 1200.0 * (number > 27), 300.0 * (number > 26))
        for number, day in enumerate(days)
    )
    return MorningSheet(
        base.PLANT,
        "morning",
        days[-1],
        days[-1],
        base.START + timedelta(days=2),
        Amount(9, 12_000.0),
        (
            ("releasable", Amount(6, 4980.0)),
            ("held", Amount(2, 5000.0)),
            ("no conclusion", Amount(1, 2266.0)),
        ),
        276.0,
        31.0,
        "USD",
        (
            CauseCost("capstan C2", 3, 900.0, 400.0),
            CauseCost("drift of the centre", 1, 1200.0, 90.0),
            CauseCost("wire on no reel (start-up, ramps, stops)", 0, 276.0, 31.0),
            CauseCost("not known", 1, 6.0, 2.0),
        ),
        tuple(one for one in base.findings() if one.status == "open"),
        trend,
    )
