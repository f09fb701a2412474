"""The sentences by which stores once knew their answers, and the key that each stands for."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from typing import Any

from pipeline.messages import Measure
from pipeline.quantity import Asked, Quantity, asks, asks_of

Row = dict[str, Any]


_LIMIT = r"(?P<requirement>[a-z ]+?) (?P<sense>at least|at most) (?P<value>\S+) (?P<unit>\S+?)"


_CHANNELS = {
    "mean wall": "mean_wall_mm",
    "offset of the conductor": "eccentricity_mm",
    "diameter": "diameter_mm",
    "thin wall": "thinnest_wall_mm",
    "unusual diameter": "diameter_mm",
}


CHARTED = {
    "spread of the wall within a reel": "wall spread within a reel",
    "spread of the wall between stretches": "wall spread between stretches",
    "mean wall and offset together": "mean wall and offset",
    "spark faults per km": "spark fault rate",
    "reels between reels with a spark fault": "reels between reels with a fault",
    "share of a run's reels with a spark fault": "share of reels with a fault",
}


# What a chart that could not be made was called where its question named no value.
UNNAMED = {
    "Is any reel's mean or inner spread out of the ordinary?": ("mean wall of stretches", "mean chart"),
    "Do spark faults come closer together?": ("wire between spark faults", "CUSUM of gaps between faults"),
    "Do reels with a spark fault come closer together?": ("reels between reels with a fault", "g-chart"),
    "Has any run more reels with a spark fault?": ("share of reels with a fault", "p-chart"),
}


class _Bound:
    """A limit as a sentence named it, with the id it has on file."""

    def __init__(self, row: Row) -> None:
        self.limit_id: str = row["limit_id"]
        self.requirement: str = row["requirement"]
        self.sense: str = row["sense"]
        self.value: float = row["value"]
        self.unit: str = row["unit"]


Found = re.Match[str]


Limits = list[Row]


Key = Callable[[Found, Limits], Asked]


def _bound(found: Found, limits: Limits, requirement: str = "", sense: str = "") -> _Bound:
    """The limit on file of that requirement, side and value, or what the sentence says where there is none."""
    named = found.groupdict()
    wanted = requirement or named.get("requirement") or ""
    side, value = sense or named.get("sense") or "", named.get("value")
    for row in limits:
        same_value = value is None or f"{row['value']:.4g}" == value
        if row["requirement"] == wanted and same_value and side in ("", row["sense"]):
            return _Bound(row)
    return _Bound(
        {
            "limit_id": "",
            "requirement": wanted,
            "sense": side or "at least",
            "value": float(value) if value is not None else math.nan,
            "unit": named.get("unit") or "mm",
        }
    )


def _against(quantity: Quantity, requirement: str = "", sense: str = "", **more: str) -> Key:
    """Answers about a limit; `more` names groups of the sentence that are lengths [m]."""

    def key(found: Found, limits: Limits) -> Asked:
        lengths = {name: Measure(float(found[group]), "m") for name, group in more.items()}
        return asks_of(_bound(found, limits, requirement, sense), quantity, **lengths)

    return key


def _plain(quantity: Quantity) -> Key:
    return lambda _, __: asks(quantity)


def _along(quantity: Quantity) -> Key:
    def key(found: Found, _: Limits) -> Asked:
        name = _CHANNELS[found["channel"]]
        return asks(quantity, name, channel=name)

    return key


def _pair(quantity: Quantity) -> Key:
    return lambda found, _: asks(
        quantity, f"{found['one']} : {found['other']}", one=found["one"], other=found["other"]
    )


def _charted(found: Found, _: Limits) -> Asked:
    value = CHARTED.get(found["title"], found["title"])
    return asks(Quantity.CONTROL_CHART, value, charted=value)


_POINT = "minimum wall at any point"


_UNDER = r"to have a point under (?P<value>\S+) (?P<unit>\S+?)"


KEYS: tuple[tuple[str, Key], ...] = (
    (
        rf"How far does {_LIMIT.replace(' (?P<sense>', ' stand from (?P<sense>')}\?",
        _against(Quantity.PERFORMANCE_INDEX),
    ),
    (rf"How far do whole reels stand from {_LIMIT}\?", _against(Quantity.PERFORMANCE_INDEX)),
    (
        rf"How far would readings stand from {_LIMIT} if every reel were set up alike\?",
        _against(Quantity.WITHIN_REEL_INDEX),
    ),
    (
        rf"How far do the readings stand from {_LIMIT} by the quantiles of their own shape\?",
        _against(Quantity.QUANTILE_INDEX),
    ),
    (
        rf"How far do the readings stand from {_LIMIT}, by redrawing the wire in blocks\?",
        _against(Quantity.REDRAWN_INDEX),
    ),
    (
        r"How do whole reels sit between (?P<low>\S+) and (?P<high>\S+) (?P<unit>\S+) \((?P<name>\w+)\)\?",
        lambda found, _: asks(
            Quantity.TWO_SIDED_PERFORMANCE_INDEX,
            f"{found['name']}_mm",
            channel=f"{found['name']}_mm",
            low=Measure(float(found["low"]), found["unit"]),
            high=Measure(float(found["high"]), found["unit"]),
        ),
    ),
    (
        r"Above which value do (?P<share>\S+) % of reels lie \((?P<requirement>[^)]+)\)\?",
        lambda found, limits: asks_of(
            _bound(found, limits, sense="at least"),
            Quantity.REEL_TOLERANCE_LIMIT,
            share=float(found["share"]) / 100.0,
        ),
    ),
    (
        r"What share of reels has a reading of (?P<requirement>[a-z ]+) under (?P<value>\S+) (?P<unit>\S+)\?",
        _against(Quantity.SHARE_OF_BAD_REELS, sense="at least"),
    ),
    (
        rf"How likely is a reel of (?P<reel>\S+) m {_UNDER}, from the thinnest reading of each reel\?",
        _against(Quantity.BLOCK_REEL_MINIMUM_RISK, _POINT, "at least", reel="reel"),
    ),
    (
        rf"How likely is a reel of (?P<reel>\S+) m {_UNDER}\?",
        _against(Quantity.REEL_MINIMUM_RISK, _POINT, "at least", reel="reel"),
    ),
    (
        rf"By normal theory, how likely is a reel of (?P<reel>\S+) m {_UNDER}\?",
        _against(Quantity.NORMAL_REEL_MINIMUM_RISK, _POINT, "at least", reel="reel"),
    ),
    (
        r"How many deviations lie between the wall and (?P<value>\S+) (?P<unit>\S+) on a cut slice\?",
        _against(Quantity.SPECIMEN_MARGIN, _POINT, "at least"),
    ),
    (
        r"Of how many readings under (?P<value>\S+) mm is one a thin place of its own\?",
        lambda found, _: asks(Quantity.EXTREMAL_INDEX, threshold=Measure(float(found["value"]), "mm")),
    ),
    (
        r"How thin is the thinnest reading that (?P<who>half|one).+, on (?P<reel>\S+) m\?",
        lambda found, _: _passed(math.log(2.0) if found["who"].startswith("half") else 1e-3, found["reel"]),
    ),
    (r"How thin does a reel get\?", _plain(Quantity.RETURN_LEVEL)),
    (r"Does the (?P<channel>.+) come back along the wire\?", _along(Quantity.PERIOD)),
    (
        r"Does the (?P<channel>.+) come back along the wire, looked for through its gaps\?",
        _along(Quantity.PERIOD_THROUGH_GAPS),
    ),
    (r"Where did the level of the (?P<channel>.+) change\?", _along(Quantity.CHANGE_POINT)),
    (r"How fast does the (?P<channel>.+) drift along the run\?", _along(Quantity.DRIFT)),
    (r"How many spark faults are there (for each length of .+|per km)\?", _plain(Quantity.FAULT_RATE)),
    (
        r"How many faults per km are there with those hidden behind a neighbour\?",
        _plain(Quantity.FAULT_RATE_UNMERGED),
    ),
    (
        r"Do (the faults come in bunches along the wire|faults scatter more from reel to reel than by chance)\?",
        _plain(Quantity.FAULT_DISPERSION),
    ),
    (
        r"How many times as many faults has the end of reel (?P<reel>.+) as its start\?",
        lambda found, _: asks(Quantity.FAULT_TREND, found["reel"], reel=found["reel"]),
    ),
    (
        r"What share of the faults has a place of (?P<channel>.+) within reach\?",
        _along(Quantity.FAULT_PRECURSORS),
    ),
    (r"Do the spark faults repeat with something that turns on the line\?", _plain(Quantity.FAULT_REPEAT)),
    (
        r"Do the spark faults come back after any length from (?P<one>\S+) to (?P<other>\S+) m\?",
        lambda found, _: asks(
            Quantity.FAULT_REPEAT_ANY,
            shortest=Measure(float(found["one"]), "m"),
            longest=Measure(float(found["other"]), "m"),
        ),
    ),
    (
        r"Is the fault rate of (?P<one>.+) another than that of (?P<other>.+)\?",
        _pair(Quantity.FAULT_RATE_RATIO),
    ),
    (
        r"How many times the rate at (?P<other>.+) is the rate at (?P<one>.+)\?",
        _pair(Quantity.FAULT_RATE_RATIO_ADJUSTED),
    ),
    (
        r"Which circumstance goes with more faults, the others held equal\?",
        _plain(Quantity.FAULT_RATE_RATIO_ADJUSTED),
    ),
    (
        r"What is the fault rate at (?P<base>.+)\?",
        lambda found, _: asks(Quantity.FAULT_RATE_BASE, found["base"], base=found["base"]),
    ),
    (r"From which reel on did the fault rate change\?", _plain(Quantity.FAULT_RATE_CHANGE)),
    (
        r"How long was the least tested point of .+ under the spark test's voltage\?",
        _plain(Quantity.SPARK_EXPOSURE),
    ),
    (
        r"How far apart along the wire do (?P<one>.+) and (?P<other>the .+) stand, by their own readings\?",
        _pair(Quantity.STATION_DISTANCE),
    ),
    (
        r"How far does the clock of (?P<one>.+) stand ahead of that of (?P<other>.+)\?",
        _pair(Quantity.CLOCK_OFFSET),
    ),
    (
        r"How much does one reading of (?P<id>.+) \((?P<kind>[a-z ]+)\) scatter by itself\?",
        lambda found, _: asks(Quantity.GAUGE_NOISE, found["id"], instrument=found["id"], kind=found["kind"]),
    ),
    (
        r"How far does the insulation shrink from hot to cold \(cold over hot area\)\?",
        _plain(Quantity.HOT_TO_COLD),
    ),
    (
        r"Which shrinkage do earlier runs of this product lead one to expect\?",
        _plain(Quantity.USUAL_HOT_TO_COLD),
    ),
    (
        r"Which printed length stands at the (?P<end>inner|outer) end of reel .+\?",
        lambda found, _: asks(Quantity.PRINTED_LENGTH, found["end"], end=found["end"]),
    ),
    (r"How much insulation is on the wire\?", _plain(Quantity.INSULATION_MASS)),
    (
        r"How much insulation is on the wire over the (?P<value>\S+) mm that the average wall must have\?",
        lambda found, _: asks(Quantity.INSULATION_EXCESS_MASS, limit=Measure(float(found["value"]), "mm")),
    ),
    (r"How much wire of the run is on no reel\?", _plain(Quantity.SCRAP_LENGTH)),
    (r"How much insulation is on wire of the run that is on no reel\?", _plain(Quantity.SCRAP_MASS)),
    (r"How thin is the insulation of .+ where it is thinnest\?", _plain(Quantity.INSULATION_MINIMUM)),
    (
        r"variance (?P<where>within reels|between reels|between runs), of (?P<of>stretches|readings) of the mean wall",
        lambda found, _: asks(
            Quantity.VARIANCE_COMPONENT,
            f"{found['of']} {found['where']}",
            of=found["of"],
            where=found["where"],
        ),
    ),
    (
        r"Where does the spread of (?P<of>stretches|readings) of the mean wall come from\?",
        lambda found, _: asks(Quantity.VARIANCE_COMPONENT, found["of"], of=found["of"]),
    ),
    (r"Is any reel out of the ordinary in its (?P<title>.+)\?", _charted),
    (r"Is any reel's (?P<title>.+) a surprise, given those before it\?", _charted),
)


def _passed(times: float, reel: str) -> Asked:
    return asks(Quantity.RETURN_LEVEL, f"{times:.6g}", times=times, reel=Measure(float(reel), "m"))
