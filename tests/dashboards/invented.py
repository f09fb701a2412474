"""An invented plant, its records and nothing real: what the page tests draw. Every figure is made up."""

from datetime import UTC, date, datetime, timedelta

import numpy as np

from dashboards.records import (
    AnswerGroup,
    CounterEvent,
    DataQuality,
    DispositionRow,
    Evidence,
    Extreme,
    FaultMark,
    FindingRow,
    FirstThing,
    Interval,
    LogFileRow,
    LotRow,
    PanelLimit,
    Phase,
    Plant,
    ProcessChannel,
    ProcessValues,
    ProductRow,
    ReasonShown,
    ReelRow,
    RequirementVerdict,
    RunChange,
    RunReview,
    RunRow,
    ShiftReview,
    ShiftTotals,
    Stamp,
    Trace,
)
from pipeline.messages import Measure
from pipeline.products.limits import Limit
from pipeline.products.source_standing import SourceStanding
from pipeline.quantity import Quantity, asks
from pipeline.results import Assumption, Refused, Result

PLANT = Plant(
    "P1",
    "Demo plant",
    "America/Chicago",
    "mil and foot",
    is_demo=True,
    cautions=("Reels stay on the hold floor until the quality engineer signs.",),
    call=(("shift quality technician", "radio 3"), ("quality engineer", "extension 4210")),
    due=(("critical", "quality engineer", 4.0), ("major", "shift quality technician", 8.0)),
)
SHA = "9f2c1b7e44d0a6c3e8f15b20d97a4c6683be0f1d2a5c7e9800b4d6f81a3c5e72"
THHN14 = ProductRow("THHN/THWN-2", "14 AWG", "solid", "copper", "black")
XHHW = ProductRow("XHHW-2", "1/0 AWG", "compressed", "aluminum", "black")
START = datetime(2026, 3, 12, 20, 0, tzinfo=UTC)


def limit(
    requirement: str,
    value: float,
    record: str,
    unit: str,
    sense: str = "at least",
    document: str = "Demo wall table",
) -> Limit:
    return Limit(
        limit_id=f"LIM-{requirement.replace(' ', '-')}-{record}",
        requirement=requirement,
        sense=sense,
        value=value,
        unit="%" if unit == "%" else "mm",
        value_of_record=float(record),
        unit_of_record=unit,
        requirement_set="Demo building wire set",
        document=document,
        edition="2025",
        table="Table 1",
        revision="3",
        effective_from=date(2025, 1, 1),
        effective_to=None,
        entered_by="quality engineer",
        checked_by="quality manager",
        source="entered for the demo",
        standing=SourceStanding.PLANT,
    )


AVERAGE = limit("minimum average wall", 0.381, "15", "mil")
POINT = limit("minimum wall at any point", 0.3302, "13", "mil")
DIAMETER = limit("overall diameter", 2.87, "113", "mil", "at most")
CONCENTRICITY = limit("concentricity", 70.0, "70", "%")
STAMP = Stamp(
    ("A-000214", "A-000215"),
    START + timedelta(hours=8, minutes=20),
    "quality engineer",
    "reelproof 0.1.0",
    "3",
    (AVERAGE, POINT, DIAMETER, CONCENTRICITY),
    (
        "Minimum wall at any point: a reading conforms when it is 1.645 standard uncertainties above the limit.",
    ),
    "36642e73c2540ab121e3a6bf9545b0a24982cd830eb13d3cd19de3ce6c021ec1",
)


def capability(estimate: float, low: float) -> Result:
    return Result(
        asks(
            Quantity.PERFORMANCE_INDEX,
            "average",
            symbol="PpkL",
            requirement="minimum average wall",
            sense="at least",
            limit=Measure(0.381, "mm"),
        ),
        estimate,
        low,
        float("inf"),
        0.95,
        "",
        "One-sided performance index P_pkL, exact interval by the noncentral t distribution (ISO 22514-2)",
        288_000,
        412.6,
        9_840.0,
        "section average",
        (
            Assumption(
                "The mean does not wander from stretch to stretch",
                False,
                "between-reel share 31 % of the variance",
            ),
            Assumption("Section averages are near normal", True, "Anderson-Darling 0.41, p 0.33"),
            Assumption("No drift of the gauge", None, ""),
        ),
        ("The process is not stable between reels: this is a performance figure, not a capability.",),
        {"standard_deviation_mm": 0.00612, "lag_1_autocorrelation": 0.93},
    )


RATE = Result(
    asks(Quantity.FAULT_RATE),
    0.305,
    0.0629,
    0.891,
    0.95,
    "per km",
    "Exact Poisson interval (Garwood 1936)",
    3,
    None,
    9_836.0,
    "event",
    (Assumption("Faults come independently", True, "no cluster found, p 0.41"),),
    ("A count is a lower bound: faults nearer than 610 mm may be one.",),
)
REFUSED = Refused(
    asks(Quantity.REEL_MINIMUM_RISK, "point"),
    "Generalised Pareto below a threshold, declustered",
    "Only 11 clusters lie below the threshold and the method asks for 30; 20 km more steady wire would do.",
    11,
)


def evidence(run_id: str, at_m: float, finding: str = "") -> Evidence:
    return Evidence(
        "A-000214",
        run_id,
        at_m,
        int(at_m * 2),
        "L1-WG1",
        "L1-wall-0312-2.csv",
        int(at_m * 2) + 2,
        SHA,
        finding,
        POINT.limit_id,
    )


def judgement(
    requirement: str,
    row: Limit | None,
    outcome: str,
    worst: Extreme | None,
    length: float,
    gap: float,
    sentence: str,
) -> RequirementVerdict:
    return RequirementVerdict(
        requirement,
        outcome,
        sentence,
        row,
        worst,
        "guarded by 1.645 u",
        length - gap,
        gap,
        Evidence("A-000214", limit_id=row.limit_id if row else ""),
    )


def reel(
    number: int,
    run_id: str,
    line: str,
    from_m: float,
    to_m: float,
    standing: str = "releasable",
    **more: object,
) -> ReelRow:
    generator = np.random.default_rng(number)
    at = from_m + float(generator.uniform(0.1, 0.9)) * (to_m - from_m)
    worst = more.pop("worst", None) or Extreme(
        float(generator.uniform(0.345, 0.362)),
        "mm",
        at,
        to_m - at,
        at - from_m,
        float(generator.uniform(0, 360)),
        0.0024,
        evidence(run_id, at),
    )
    gap = float(more.get("unmonitored_m", 0.0))
    length = to_m - from_m
    under = worst.value < POINT.value
    rows = (
        judgement(
            "minimum average wall",
            AVERAGE,
            "conforms",
            Extreme(0.3874, "mm", at, to_m - at, at - from_m),
            length,
            gap,
            "Lowest section average over any cut sample's length.",
        ),
        judgement(
            "minimum wall at any point",
            POINT,
            "does not conform" if under else "conforms",
            worst,
            length,
            gap,
            "Below the limit by more than its uncertainty."
            if under
            else "Above the limit by more than its uncertainty.",
        ),
        judgement(
            "overall diameter",
            DIAMETER,
            "conforms",
            Extreme(2.816, "mm", at, to_m - at, at - from_m),
            length,
            0.0,
            "Largest diameter on the reel.",
        ),
        judgement(
            "spark test voltage",
            None,
            "not judged",
            None,
            length,
            0.0,
            "No limit on file for spark test voltage of 14 AWG THHN/THWN-2; enter it in the plant sheet.",
        ),
    )
    return ReelRow(
        f"R-{number}",
        run_id,
        line,
        from_m,
        to_m,
        standing,
        thinnest_wall=worst,
        mean_wall_mm=float(generator.uniform(0.402, 0.416)),
        judgements=rows,
        spark_faults=more.pop("spark_faults", 0),
        **more,
    )


def run_one() -> RunRow:
    run_id = "L1-0312-2"
    thin = Extreme(0.3171, "mm", 3562.4, 1507.6, 992.4, 205.0, 0.0024, evidence(run_id, 3562.4, "F-0412"))
    edge = Extreme(0.33015, "mm", 6003.0, 1567.0, 933.0, 188.0, 0.0024, evidence(run_id, 6003.0, "F-0413"))
    faults = tuple(
        FaultMark(
            i,
            "spark fault",
            at,
            0.6,
            "R-1043",
            5070.0 - at,
            at - 2570.0,
            6.0,
            None,
            2,
            "repeats at 1.257 m: fits capstan C2",
            evidence(run_id, at),
        )
        for i, at in enumerate((4310.2, 4311.5, 4312.7))
    )
    reels = (
        reel(1041, run_id, "L1", 70.0, 1320.0),
        reel(
            1042,
            run_id,
            "L1",
            1320.0,
            2570.0,
            intervals=(Interval(1320.0, 1334.0, "either reel", "take-up change"),),
        ),
        reel(
            1043,
            run_id,
            "L1",
            2570.0,
            5070.0,
            "held",
            worst=thin,
            spark_faults=3,
            faults=faults,
            open_findings=2,
            intervals=(
                Interval(3559.0, 3571.5, "nonconforming", "thin on one side", "F-0412"),
                Interval(3520.0, 3559.0, "indeterminate", "within the uncertainty of the limit"),
            ),
            reasons=(
                ReasonShown(
                    "Thinnest wall 12.48 mil is under the 13 mil allowed at any point, over 41 ft.",
                    "minimum wall at any point",
                    "F-0412",
                ),
                ReasonShown(
                    "3 spark faults in 8 ft, repeating at the turn of capstan C2.", "spark fault", "F-0414"
                ),
            ),
        ),
        reel(
            1044,
            run_id,
            "L1",
            5070.0,
            7570.0,
            "held",
            worst=edge,
            open_findings=1,
            unmonitored_m=12.0,
            intervals=(
                Interval(6000.0, 6006.0, "indeterminate", "within the uncertainty of the limit", "F-0413"),
            ),
            reasons=(
                ReasonShown(
                    "20 ft lie within the uncertainty of the limit: neither shown to conform nor shown not to.",
                    "minimum wall at any point",
                    "F-0413",
                ),
            ),
        ),
        reel(
            1045,
            run_id,
            "L1",
            7570.0,
            9836.0,
            "no conclusion",
            unmonitored_m=803.0,
            untested_m=0.0,
            intervals=(Interval(8211.0, 9014.0, "unmonitored", "wall gauge dropped out"),),
            reasons=(
                ReasonShown(
                    "The wall gauge gave nothing over 2,635 ft; nothing can be said of the wall there.",
                    "unmonitored length",
                ),
            ),
        ),
    )
    quality = DataQuality(
        "amber",
        (
            "Sensor 5 of wall gauge L1-WG1 dropped out for 2 min 14 s.",
            "Calibration of spark tester L1-SP1 ends in 6 days.",
        ),
        288_412,
        288_400,
        12,
    )
    return RunRow(
        run_id,
        "L1",
        "Line 1",
        THHN14,
        "line operator, shift 2",
        START,
        START + timedelta(hours=7, minutes=42),
        9912.0,
        9640.0,
        9766.0,
        146.0,
        quality,
        reels,
        (
            AnswerGroup("Capability", (capability(1.42, 1.21),)),
            AnswerGroup("Spark faults", (RATE, REFUSED)),
        ),
        3,
        "New die at 18:40",
    )


def run_two() -> RunRow:
    run_id = "L2-0312-2"
    reels = tuple(
        reel(
            2010 + i,
            run_id,
            "L2",
            60.0 + 620 * i,
            680.0 + 620 * i,
            **(
                {
                    "disposition": DispositionRow(
                        "release", "quality engineer", "cut sample passed", START + timedelta(hours=8)
                    )
                }
                if i == 0
                else {}
            ),
        )
        for i in range(4)
    )
    return RunRow(
        run_id,
        "L2",
        "Line 2",
        XHHW,
        "line operator, shift 2",
        START + timedelta(minutes=20),
        START + timedelta(hours=7),
        2610.0,
        2480.0,
        2480.0,
        130.0,
        DataQuality("green", (), 144_020, 144_020, 0),
        reels,
        (AnswerGroup("Capability", (capability(1.88, 1.64),)),),
        0,
    )


def shift() -> ShiftReview:
    return ShiftReview(
        PLANT,
        "2026-03-12-2",
        "Shift 2",
        date(2026, 3, 12),
        ShiftTotals(6, 2, 1, 4980.0, 5000.0, 2266.0, 276.0, 815.0, 3, 3),
        (run_one(), run_two()),
        (
            FirstThing(
                "Cut reel R-1043 at 3,255 ft and keep the piece: take a slice with the thin side marked.",
                "12.48 mil found by 3 sensors over 41 ft, under 13 mil.",
                "R-1043",
                "L1-0312-2",
                "F-0412",
            ),
            FirstThing(
                "Look at capstan C2 before the next start.",
                "Three spark faults 1.257 m apart fit its turn of 1.256 m.",
                "",
                "L1-0312-2",
                "F-0414",
            ),
            FirstThing(
                "Decide on reel R-1044: a cut sample would settle it.",
                "20 ft within the uncertainty of the limit.",
                "R-1044",
                "",
                "F-0413",
            ),
            FirstThing(
                "Find out why sensor 5 of gauge L1-WG1 dropped out.",
                "2,635 ft of reel R-1045 have no wall reading.",
                "R-1045",
            ),
        ),
        START,
        START + timedelta(hours=8),
        STAMP,
        "2026-03-12-1",
        "",
        findings=findings(),
    )


def findings() -> tuple[FindingRow, ...]:
    one = run_one().reels
    return (
        FindingRow(
            "F-0412",
            "wall under the point minimum",
            "minimum wall at any point",
            "stop",
            "open",
            "Wall under the minimum at any point over 12.5 m, thin on one side.",
            "L1-0312-2",
            "L1",
            THHN14.label,
            ("R-1043",),
            3559.0,
            3571.5,
            one[2].thinnest_wall,
            POINT,
            "drift of the centre",
            ("L1-WG1",),
            START + timedelta(hours=8),
            None,
            None,
            "cut out, keep for a slice",
        ),
        FindingRow(
            "F-0414",
            "spark faults that repeat",
            "spark fault",
            "stop",
            "open",
            "3 spark faults within 2.5 m repeat at 1.257 m.",
            "L1-0312-2",
            "L1",
            THHN14.label,
            ("R-1043",),
            4310.2,
            4312.7,
            None,
            None,
            "capstan C2",
            ("L1-SP1",),
            START + timedelta(hours=8),
            None,
            None,
            "cut out",
        ),
        FindingRow(
            "F-0413",
            "wall within the uncertainty of the point minimum",
            "minimum wall at any point",
            "hold",
            "open",
            "Wall within its uncertainty of the minimum at any point over 6 m.",
            "L1-0312-2",
            "L1",
            THHN14.label,
            ("R-1044",),
            6000.0,
            6006.0,
            one[3].thinnest_wall,
            POINT,
            "",
            ("L1-WG1",),
            START + timedelta(hours=8),
            None,
            None,
            "take a cut sample",
        ),
        FindingRow(
            "F-0409",
            "diameter over the maximum",
            "overall diameter",
            "hold",
            "closed",
            "Diameter over the maximum over 3.1 m at the start-up.",
            "L1-0312-1",
            "L1",
            THHN14.label,
            ("R-1038",),
            88.0,
            91.1,
            Extreme(2.884, "mm", 90.2, 1229.8, 20.2, None, 0.002, Evidence(run_id="L1-0312-1")),
            DIAMETER,
            "start-up",
            ("L1-DG2",),
            START - timedelta(hours=4),
            START + timedelta(hours=1),
            DispositionRow(
                "scrap",
                "quality engineer",
                "start-up length cut off",
                START + timedelta(hours=1),
                "",
                "F-0409",
                "R-1038",
                "J-118",
            ),
        ),
    )


def traces(n: int = 60_000, seed: int = 7) -> tuple[Trace, ...]:
    generator = np.random.default_rng(seed)
    at = np.linspace(0.0, 9912.0, n)
    slow = 0.004 * np.sin(at / 700.0) + 0.002 * np.sin(at / 41.0)
    mean = 0.409 + slow + generator.normal(0, 0.0016, n)
    eccentricity = 0.030 + 0.012 * np.sin(at / 1900.0) ** 2 + generator.normal(0, 0.0015, n)
    eccentricity[(at > 3559) & (at < 3571.5)] += 0.034
    thinnest = mean - eccentricity
    dropout = (at > 8211) & (at < 9014)
    mean, thinnest, eccentricity = (np.where(dropout, np.nan, one) for one in (mean, thinnest, eccentricity))
    diameter = 2.808 + 2 * slow + generator.normal(0, 0.002, n)
    speed = np.clip(np.minimum(at / 60.0, 12.0), 0, 12) + generator.normal(0, 0.02, n)
    speed[(at > 5400) & (at < 5480)] = 6.0
    common = {"instrument_id": "L1-WG1", "standard_uncertainty": 0.0024}
    return (
        Trace("mean_wall_mm", "Mean wall", "mm", "wall", at, mean, **common),
        Trace("thinnest_wall_mm", "Thinnest wall", "mm", "wall", at, thinnest, **common),
        Trace("diameter_mm", "Overall diameter", "mm", "diameter", at, diameter, "L1-DG2", 0.002),
        Trace("eccentricity_mm", "Eccentricity", "mm", "eccentricity", at, eccentricity, **common),
        Trace("line_speed_m_s", "Line speed", "m/s", "speed", at, speed, "L1-EN1"),
    )


def process(n: int = 2_000, seed: int = 11) -> ProcessValues:
    """Process values of the run, which drop out between 4,000 and 4,400 s."""
    generator = np.random.default_rng(seed)
    at_s = np.linspace(0.0, 7200.0, n)
    at_m = 9912.0 * at_s / 7200.0
    missing = (at_s > 4000.0) & (at_s < 4400.0)
    told = (
        ("melt_temperature_c", "Melt temperature", "degC", 188.0, 0.6),
        ("melt_pressure_bar", "Melt pressure", "bar", 204.0, 2.0),
        ("screw_speed_rpm", "Screw speed", "rpm", 62.0, 0.2),
        ("line_speed_m_s", "Line speed", "m/s", 12.0, 0.02),
        ("hot_diameter_mm", "Hot diameter", "mm", 2.92, 0.004),
    )
    channels = tuple(
        ProcessChannel(
            name, title, unit, at_m, at_s, np.where(missing, np.nan, level + generator.normal(0, sd, n))
        )
        for name, title, unit, level, sd in told
    )
    changes = (
        RunChange("insulation compound lot PVC-2292", 6400.0, 4649.0),
        RunChange("Screw speed", 8000.0, 5811.0, "rpm", 62.0, 63.5),
    )
    return ProcessValues(START, channels, changes)


def run(n: int = 60_000) -> RunReview:
    row = run_one()
    return RunReview(
        PLANT,
        row,
        traces(n),
        (PanelLimit("wall", AVERAGE), PanelLimit("wall", POINT), PanelLimit("diameter", DIAMETER)),
        (
            Phase(0, 70, "ramp up", False),
            Phase(70, 140, "settle", False),
            Phase(140, 5400, "steady", True),
            Phase(5400, 5480, "speed change", False),
            Phase(5480, 9840, "steady", True),
            Phase(9840, 9912, "ramp down", False),
        ),
        tuple(one for one in findings() if one.run_id == row.run_id),
        tuple(fault for one in row.reels for fault in one.faults),
        (Interval(8211.0, 9014.0, "unmonitored", "wall gauge dropped out"),),
        (
            CounterEvent(
                "reset",
                7571.0,
                7571.0,
                "The counter fell back to 0 at the reel change; the length before it was carried on.",
            ),
        ),
        (
            LogFileRow("L1-wall-0312-2.csv", "readings", SHA, 41_200_318, 288_412, 288_400, 12),
            LogFileRow("L1-spark-0312-2.csv", "spark faults", SHA[::-1], 412, 6, 6, 0),
        ),
        (
            LotRow("conductor", "CU-7731"),
            LotRow("insulation compound", "PVC-2291", 0.0, 6400.0),
            LotRow("insulation compound", "PVC-2292", 6400.0, 9912.0),
            LotRow("covering compound", "PA-118"),
        ),
        "2026-03-12-2",
        STAMP,
        process(),
    )
