"""Tuning and overwall of the invented plant."""

from dataclasses import replace

from dashboards.records import tuning as tuned
from pipeline.quantity import Quantity, asks
from pipeline.results import Result
from tests.dashboards import invented as base


def _target() -> Result:
    return Result(
        asks(Quantity.TARGET_WALL),
        0.3969,
        0.3942,
        0.4011,
        0.95,
        "mm",
        "Per-reel risk by extremes, 1 reel in 1000",
        31,
        None,
        61_200.0,
        "reel",
    )


def _today() -> Result:
    return replace(_target(), question=asks(Quantity.MEAN_WALL), estimate=0.4093, low=0.4081, high=0.4105)


def _worth(wall_mm: float, kg_per_km: float, money: float | None = None) -> tuned.Worth:
    return tuned.Worth(wall_mm, kg_per_km, money, "USD" if money is not None else "")


def overwall() -> tuned.OverwallReview:
    return tuned.OverwallReview(
        base.PLANT,
        "Overwall, March 2026",
        (
            tuned.OverwallRow(
                "L1",
                base.THHN14.label,
                "minimum average wall at least 15 mil",
                0.381,
                _today(),
                _target(),
                "minimum average wall",
                (
                    tuned.WallShare("slow drift within reels", _worth(0.0075, 0.08, 576.0)),
                    tuned.WallShare("periods", _worth(0.0031, 0.033, 238.0)),
                    tuned.WallShare("fast variation and noise", _worth(0.0053, 0.056, 403.0)),
                    tuned.WallShare(
                        "above the target", _worth(0.0124, 0.131, 943.0), "No requirement needs it."
                    ),
                ),
                _worth(0.0124, 0.131, 943.0),
                _worth(0.0082, 0.087, 626.0),
                _worth(0.0151, 0.160, 1152.0),
                61.2,
                ("If the slow drift were halved, the target could fall by 0.004 mm (0.2 mil).",),
                ("Money is for the plant's own length a month.",),
            ),
            tuned.OverwallRow(
                "L2",
                base.XHHW.label,
                "minimum wall at any point at least 50 mil",
                1.27,
                replace(_today(), estimate=1.41, low=1.40, high=1.42),
                replace(_target(), estimate=1.43, low=1.41, high=1.46),
                "minimum wall at any point",
                (tuned.WallShare("offset of the center and lobes", _worth(0.12, 4.9)),),
                _worth(-0.02, -0.8),
                _worth(-0.06, -2.4),
                _worth(0.01, 0.4),
                4.1,
            ),
            tuned.OverwallRow("L3", base.XHHW.label, "", None, None, base.REFUSED, "", made_km=2.6),
        ),
        "Prices are the plant's own, 1.80 USD per kg; yearly figures are not extrapolated here.",
        base.STAMP,
    )


def tuning() -> tuned.TuningReview:
    """Line L1: one product with everything, one without a target."""
    whole = tuned.TunedProduct(
        product=base.THHN14.label,
        runs="6 runs and 61.2 km on file, 6 runs read in full",
        today=_today(),
        target=_target(),
        advised_mm=0.4011,
        binding="minimum average wall",
        overwall=_worth(0.0124, 0.131, 943.0),
        overwall_low=_worth(0.0082, 0.087, 626.0),
        overwall_high=_worth(0.0151, 0.160, 1152.0),
        acts=(
            tuned.TuningAct(
                "the wall lowered to what is advised",
                _worth(0.0082, 0.087, 626.0),
                0.0082,
                0.0082,
                "Lower the mean wall from 0.409 mm (16.11 mil) to 0.401 mm (15.79 mil).",
            ),
            tuned.TuningAct(
                "if the centering were halved", _worth(0.0, 0.0, 0.0), 0.0, 0.001, "It could not fall."
            ),
            tuned.TuningAct("the screw replaced", None, None, None, "Nobody knows."),
        ),
        rules=(
            tuned.RuleNeed(
                "minimum average wall at least 15 mil", False, "0.1 % of cut samples", _target(), 1e-9, True
            ),
            tuned.RuleNeed("overall diameter at most 107 %", True, "1 % of reels", _today(), 0.012, False),
        ),
        parts=(
            tuned.SpreadPart("level of the mean wall", 0.21, "set-up and material"),
            tuned.SpreadPart("eccentricity", 0.55, "centring"),
            tuned.SpreadPart("slow drift within reels", 0.25, "material and temperature"),
            tuned.SpreadPart("periodic", -0.01, "a turning element"),
        ),
        spread_mm=0.0067,
        centring=(
            tuned.CentringRow("L1-0312-2", 0.03, 0.0289, 0.0319, 206.0, 3.0, 0.012, 0.2, 0.98),
            tuned.CentringRow("L1-0312-3", 0.004, 0.0, 0.009, 20.0, 180.0, 0.002, 0.7, 0.31),
            tuned.CentringRow(
                "L1-0312-4", refused="Less than 8 stretches of 50 m were read; bring more steady wire."
            ),
        ),
        advice=("The wall is thin at 206 degrees by 30 um (1.18 mil).", "Move the die toward 206 degrees."),
        bolts=(
            "L1-B1: a turn in moves the thin side by 140 um (+/- 12).",
            "L1-B2 was never turned on record.",
        ),
        swings=(
            tuned.SwingRow(
                "mean wall",
                3.77,
                0.0008,
                0.021,
                "L1-capstan",
                "4 of 6",
                "The mean wall swings every 3.770 m: look at the bearing of the capstan.",
            ),
        ),
        unshown=("The readings stand too far apart to show: L1-screw (2 a turn).",),
        compared=(
            "Newest change on the run sheets: bolts turned at 1,200 m of L1-0312-3.",
            "The mean wall went from 409 to 408.2 um (-0.8 um, -2.1 to +0.5 um): no change is shown.",
        ),
        settings=("By line speed: from 13.33 to 13.93 m/s (+4.5 %), under the ceiling of 14 m/s.",),
        replies=(
            tuned.ReplyRow(
                "screw speed",
                "response",
                replace(
                    _target(),
                    question=asks(Quantity.SETTING_RESPONSE, output="mean wall", setting="screw speed"),
                    estimate=0.0052,
                    low=0.0044,
                    high=0.006,
                    unit="mm per rpm",
                ),
                "6.0 s (5.3 to 6.6)",
                ("Response, from 3 steps of the setting.",),
            ),
            tuned.ReplyRow("melt temperature", "not known", base.REFUSED, "", ()),
        ),
        tools=(
            tuned.ToolRow("Covering: tube tooling, die 4.83 mm, tip 4 mm", ("Draw balance 1.102, inside.",)),
        ),
        balance=("L1-0312-2: 0.853 kg/h per rpm. The specific output keeps.",),
        loss=("5 um thinner would cost more than 5 um thicker.",),
        told=("19 reels cannot demonstrate a risk of 0.001.",),
    )
    refused = tuned.TunedProduct(
        base.XHHW.label,
        "1 run and 2.6 km on file, 1 run read in full",
        None,
        base.REFUSED,
        None,
        "",
        None,
        None,
        None,
    )
    return tuned.TuningReview(
        base.PLANT,
        "L1",
        (whole, refused),
        (
            tuned.StartRow("L1-0312-2", base.THHN14.label, 0.0, 548.0, 548.0, 80.0, 24.0, "speed"),
            tuned.StartRow("L1-0312-3", base.THHN14.label, 9_100.0, None, 300.0, None, None, "not over"),
        ),
        ("2 starts that came to an end are on record, 8 are needed.",),
        ("Crosshead, die and melt are hot and under pressure.",),
        base.STAMP,
    )
