"""The rest of the invented plant: finding, capability, faults, centring, data quality and the others."""

from datetime import date, timedelta

import numpy as np

from dashboards.records import (
    CapabilityCell,
    CapabilityMatrix,
    CapabilityPoint,
    CentringReview,
    ConstructionComparison,
    ConstructionRow,
    Containment,
    DataQualityReview,
    FaultRateRow,
    FaultReview,
    FaultWire,
    FindingReview,
    Guides,
    GuideStep,
    InstrumentRow,
    LotRow,
    PanelLimit,
    RepeatRow,
    RunQualityRow,
    SectionProfile,
    SetAsideRow,
    TouchedLength,
    Trace,
)
from pipeline.messages import as_written
from pipeline.quantity import Asked, Quantity, asks
from pipeline.results import Result
from tests.dashboards import invented as base
from tests.dashboards.invented_more import rate


def finding() -> FindingReview:
    window = tuple(
        Trace(one.name, one.title, one.unit, one.panel, one.at_m[keep], one.values[keep], one.instrument_id)
        for one in base.traces()
        if one.panel in {"wall", "eccentricity"}
        for keep in [(one.at_m > 3540) & (one.at_m < 3590)]
    )
    angles = np.arange(0.0, 360.0, 45.0)
    walls = 0.3815 - 0.0644 * np.cos(np.radians(angles - 205.0))
    walls[5] = np.nan
    return FindingReview(
        base.PLANT,
        base.findings()[0],
        base.THHN14,
        window,
        (PanelLimit("wall", base.POINT), PanelLimit("wall", base.AVERAGE)),
        (),
        SectionProfile(3562.4, 1.628, 0.3815, 0.0644, 205.0, angles, walls, 0.3302),
        (as_written("simple acceptance: the value itself is compared with the limit."),),
        (
            Result(
                asks(Quantity.REEL_MINIMUM_RISK, "point"),
                0.999998,
                0.9991,
                1.0,
                0.95,
                "",
                "JCGM 106, flat prior",
                12,
                None,
                12.5,
                "point at specimen scale",
            ),
        ),
        tuple(base.evidence("L1-0312-2", 3560.0 + i, "F-0412") for i in range(5)),
        base.findings()[1:2],
        (),
        (LotRow("insulation compound", "PVC-2291"),),
        (
            "Cut out with clearance on both sides and test again.",
            "A splice and repair are allowed only where the adopted standard and the order allow them.",
        ),
        base.STAMP,
    )


def small(question: Asked, estimate: float, low: float, high: float, unit: str = "") -> Result:
    return Result(
        question,
        estimate,
        low,
        high,
        0.95,
        unit,
        "Profile likelihood of a generalised Pareto fit",
        240,
        118.0,
        60_000.0,
        "reel",
    )


def capability() -> CapabilityMatrix:
    def trend(level: float) -> tuple[CapabilityPoint, ...]:
        return tuple(
            CapabilityPoint(
                f"L1-03{d:02}-1",
                base.START - timedelta(days=12 - d),
                base.capability(level + 0.05 * np.sin(d), level - 0.2),
            )
            for d in range(2, 12)
        )

    return CapabilityMatrix(
        base.PLANT,
        "Capability, March 2026",
        (
            CapabilityCell(
                "L1",
                base.THHN14.label,
                "minimum average wall",
                base.AVERAGE,
                base.capability(1.42, 1.21),
                None,
                None,
                trend(1.42),
                1.33,
                31,
            ),
            CapabilityCell(
                "L2",
                base.XHHW.label,
                "minimum average wall",
                base.AVERAGE,
                base.capability(1.88, 1.64),
                None,
                None,
                trend(1.88),
                1.33,
                12,
            ),
            CapabilityCell(
                "L1",
                base.THHN14.label,
                "minimum wall at any point",
                base.POINT,
                base.capability(1.36, 1.15),
                small(asks(Quantity.NORMAL_REEL_MINIMUM_RISK), 0.00002, 0.000001, 0.0004),
                small(asks(Quantity.REEL_MINIMUM_RISK), 0.0048, 5e-9, 0.0099),
                trend(1.36),
                1.33,
                31,
            ),
            CapabilityCell(
                "L2",
                base.XHHW.label,
                "minimum wall at any point",
                base.POINT,
                base.REFUSED,
                None,
                base.REFUSED,
                (),
                1.33,
                12,
            ),
        ),
        date(2026, 3, 1),
        date(2026, 3, 12),
        base.STAMP,
    )


def faults() -> FaultReview:
    run = base.run_one()
    marks = tuple(fault for reel in run.reels for fault in reel.faults)
    return FaultReview(
        base.PLANT,
        "Spark faults, March 2026",
        (
            FaultRateRow("L1", "line", 14, 21, 61_200.0, 800.0, rate(0.229, 0.125, 0.384, 14)),
            FaultRateRow("L2", "line", 0, 0, 8_400.0, 0.0, rate(0.0, 0.0, 0.439, 0)),
            FaultRateRow("L1-0312-2", "run", 3, 6, 9_836.0, 0.0, base.RATE, "L1-0312-2"),
        ),
        (FaultWire("L1-0312-2", "L1", 9912.0, marks),),
        (
            RepeatRow(
                "L1-0312-2",
                Result(
                    asks(Quantity.FAULT_REPEAT),
                    1.257,
                    1.249,
                    1.265,
                    0.95,
                    "m",
                    "Rayleigh test with a look-elsewhere correction",
                    3,
                    None,
                    9_836.0,
                    "event",
                ),
                "capstan C2",
                1.2566,
                "Three faults repeat within 8 mm of the turn of capstan C2; by chance once in 240 runs.",
            ),
        ),
        (
            small(
                asks(Quantity.FAULT_RATE_RATIO, "line L1 : line L2", one="line L1", other="line L2"),
                2.4,
                0.7,
                float("inf"),
            ),
        ),
        base.STAMP,
    )


def centring() -> CentringReview:
    at = np.arange(150.0, 9900.0, 150.0)
    angle = np.radians(205.0 + 14.0 * np.sin(at / 2100.0))
    size = 0.031 + 0.006 * np.sin(at / 900.0)
    size[:2] = 0.19, 0.11  # start-up
    return CentringReview(
        base.PLANT,
        "L1-0312-2",
        "L1",
        base.THHN14.label,
        at,
        -size * np.cos(angle),
        -size * np.sin(angle),
        150.0,
        Result(
            asks(Quantity.CENTRE_OFFSET),
            0.0304,
            0.0289,
            0.0319,
            0.95,
            "mm",
            "Mean of the offset vector, effective n by autocorrelation",
            65,
            22.0,
            9_640.0,
            "section average",
        ),
        206.0,
        3.0,
        0.0005,
        0.0448,
        (
            "The wall is thin toward 206 degrees by 0.030 mm (1.2 mil): move the die toward 206 degrees.",
            "The minimum average binds: centring saves nothing below 0.045 mm (1.8 mil).",
        ),
        (small(asks(Quantity.CENTRE_OFFSET), 9.0, 4.0, 14.0, "deg"),),
        base.STAMP,
        at > 400.0,
    )


def data_quality() -> DataQualityReview:
    return DataQualityReview(
        base.PLANT,
        "Data quality, March 2026",
        (
            InstrumentRow(
                "L1-WG1",
                "L1",
                "wall gauge",
                date(2026, 1, 14),
                date(2026, 7, 14),
                True,
                small(asks(Quantity.GAUGE_NOISE), 0.0040, 0.0037, 0.0044, "mm"),
                small(asks(Quantity.GAUGE_BIAS), 0.0024, 0.0008, 0.0040, "mm"),
                0.918,
                (("missing", 1340), ("stuck", 12), ("spike", 88)),
            ),
            InstrumentRow(
                "L1-SP1",
                "L1",
                "spark tester",
                date(2025, 3, 18),
                date(2026, 3, 18),
                None,
                None,
                base.REFUSED,
                1.0,
            ),
        ),
        (
            RunQualityRow(
                "L1-0312-2",
                "L1",
                "amber",
                ("Sensor 5 dropped out for 2 min 14 s.",),
                288_412,
                288_400,
                12,
                9_109.0,
                803.0,
                0.0,
            ),
            RunQualityRow("L2-0312-2", "L2", "green", (), 144_020, 144_020, 0, 2_610.0, 0.0, None),
            RunQualityRow(
                "L1-0311-3",
                "L1",
                "red",
                ("Wall gauge and diameter gauge disagree by 0.04 mm; cause unknown.",),
                201_000,
                201_000,
                0,
                0.0,
                7_000.0,
                0.0,
            ),
        ),
        (
            SetAsideRow(
                "L1-0312-2",
                "L1-wall-0312-2.csv",
                4411,
                "The line has 11 columns, not 19.",
                "2026-03-12T15:07:21.1,0.402,0.39",
            ),
            SetAsideRow(
                "L1-0312-2",
                "L1-wall-0312-2.csv",
                4412,
                "'0,4l2' is not a number.",
                "2026-03-12T15:07:21.2,0,4l2,<b>0.39",
            ),
        ),
        12,
        (small(asks(Quantity.GAUGE_BIAS), 0.0031, -0.0007, 0.0069, "mm"),),
        base.STAMP,
    )


def construction() -> ConstructionComparison:
    code = "wire code, chapter 9, table 5"
    return ConstructionComparison(
        base.PLANT,
        "14-THHN-AND-XHHW",
        "14 AWG THHN/THWN-2",
        "14 AWG XHHW-2",
        (0.814, 1.195, 1.296),
        (0.814, 1.576),
        ("conductor", "insulation", "nylon"),
        ("conductor", "insulation"),
        (
            ConstructionRow("Walls", "minimum average wall", "mm", 0.381, 0.762, code, code),
            ConstructionRow(
                "Walls",
                "minimum wall at any point",
                "mm",
                0.3302,
                None,
                "style page",
                "",
                "The printed value was not seen for the second.",
            ),
            ConstructionRow("Walls", "overall diameter", "mm", 2.591, 3.15, code, code),
            ConstructionRow(
                "Temperatures",
                "dry and wet",
                "",
                "90 degC dry, 75 or 90 degC wet",
                "90 degC dry and wet",
                "wire code",
                "wire code",
                "Public sheets disagree on the wet rating of the first.",
            ),
            ConstructionRow(
                "Electrical",
                "stress at the conductor at rated voltage",
                "kV/mm",
                1.42,
                1.1,
                "coaxial formula",
                "coaxial formula",
            ),
        ),
        (),
        base.STAMP,
    )


def containment() -> Containment:
    return Containment(
        base.PLANT,
        "C-2026-004",
        "Insulation compound lot PVC-2291",
        "Supplier's notice of 2026-03-20: gels in part of the lot.",
        "quality manager",
        base.START + timedelta(days=8),
        (
            TouchedLength(
                "R-1043",
                "L1-0312-2",
                0.0,
                2500.0,
                "hold floor, row 4",
                "in house",
                "held",
                ("PVC-2291", "L1-0312-2", "R-1043"),
            ),
            TouchedLength(
                "R-1043-A",
                "L1-0312-2",
                0.0,
                914.4,
                "shipped on order 5512",
                "shipped",
                "released",
                ("PVC-2291", "L1-0312-2", "R-1043", "R-1043-A"),
            ),
            TouchedLength(
                "R-1044",
                "L1-0312-2",
                0.0,
                1200.0,
                "not known",
                "not known",
                "released",
                ("PVC-2291", "L1-0312-2", "R-1044"),
            ),
            TouchedLength(
                "R-1043-B",
                "L1-0312-2",
                0.0,
                30.5,
                "scrapped",
                "elsewhere",
                "held",
                ("PVC-2291", "L1-0312-2", "R-1043", "R-1043-B"),
            ),
        ),
        2500.0,
        1200.0,
        914.4,
        ("In house means that no shipment of it is on file.",),
        base.STAMP,
    )


def guides() -> Guides:
    return Guides(
        base.PLANT,
        (
            GuideStep(
                "Open shift 2 of 12 March",
                (
                    "Two reels are held and one has no conclusion.",
                    "Reel R-1043 is thin on one side over 12.5 m.",
                ),
                "shifts/2026-03-12-2.html",
                "Open the shift",
            ),
        ),
        stamp=base.STAMP,
    )
