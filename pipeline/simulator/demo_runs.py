"""The runs that the demo plant made: what each is for and what goes wrong in it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from pipeline.sheets.run_sheet import Lot
from pipeline.simulator.lines import LINES
from pipeline.simulator.troubles import (
    BoltTurn,
    CentreDrift,
    ColdStart,
    DropOut,
    EncoderReset,
    ScrewStep,
    SparkFaults,
    Spikes,
    StopMark,
    Stuck,
    SurfaceFlaws,
    ThinAllRound,
    ThinOneSide,
    Trouble,
    WrongUnit,
)

Size = Literal["14 AWG", "12 AWG", "1/0 AWG"]


@dataclass(frozen=True, slots=True)
class PlannedRun:
    """A run of the demo plant in a few words.

    Args:
        number: the run's number.
        day: day of the month of March 2026.
        clock: local start, ``HH:MM``.
        size: which product.
        reels: number of reels.
        story: what a correct judgement of it is, for the README.
        troubles: what goes wrong.
        first_m: counter at the start of the first reel [m]; the line's usual one where left out.
        dips: slow stretches (see plain_plan).
        stops: stops (see plain_plan).
        lots: material lots; the product's usual ones where left out.
        log_parts: number of files in sequence.
        trial: whether it is a trial of settings.
        interval_s: time between readings [s].
    """

    number: str
    day: int
    clock: str
    size: Size
    reels: int
    story: str
    troubles: tuple[Trouble, ...] = ()
    first_m: float | None = None
    dips: tuple[tuple[float, float, float], ...] = ()
    stops: tuple[tuple[float, float], ...] = ()
    lots: tuple[Lot, ...] = ()
    log_parts: int = 1
    trial: bool = False
    interval_s: float = 0.1


def _flaws(*flaws: tuple[float, float, str]) -> SurfaceFlaws:
    return SurfaceFlaws(
        tuple(at for at, _, _ in flaws),
        tuple(size for _, size, _ in flaws),
        tuple(name for *_, name in flaws),
    )


def _burst(from_m: float, length_m: float, count: int, seed: int) -> tuple[float, ...]:
    """Places of `count` faults at random over a short stretch."""
    places = np.random.default_rng(seed).uniform(from_m, from_m + length_m, count)
    return tuple(round(float(one), 2) for one in np.sort(places))


def _repeating(
    from_m: float, to_m: float, circumference_m: float, share: float, seed: int
) -> tuple[float, ...]:
    """Places a nick on a roll of that circumference leaves, striking in `share` of its turns."""
    draw = np.random.default_rng(seed)
    turns = np.arange(0.0, to_m - from_m, circumference_m)
    struck = turns[draw.random(turns.size) < share]
    places = from_m + struck + draw.normal(0.0, 0.02, struck.size)
    return tuple(round(float(one), 2) for one in places)


def _bolts_tried(places_m: tuple[float, ...]) -> tuple[BoltTurn, ...]:
    """Each bolt of line L2 turned half a turn by itself; opposite bolts take each other back."""
    tried = zip(places_m, LINES["L2"]().bolts, (-0.5, 0.5, -0.5, 0.5), strict=True)
    return tuple(BoltTurn(at_m, bolt.id, turns, 140.0, 12.0) for at_m, bolt, turns in tried)


# How long the line stands before each start tried on L2 [s], and how much too cold the melt then is [deg C].
_STARTS_TRIED = (
    (90.0, 0.0), (150.0, 9.0), (60.0, 1.0), (210.0, 7.5), (120.0, 0.0), (180.0, 6.0), (75.0, 8.5), (100.0, 0.5),
)  # fmt: skip


def _stops_tried() -> tuple[tuple[float, float], ...]:
    """Where the line slows down for each of those stops, the start before it having had its wire [m]."""
    at_m, before_c, stops = 0.0, 0.0, []
    for stands_s, colder_c in _STARTS_TRIED:
        at_m += 500.0 + 20.0 * before_c
        stops.append((at_m, stands_s))
        before_c = colder_c
    return tuple(stops)


def day_and_evening_l1() -> tuple[PlannedRun, ...]:
    """Runs of line L1, day and evening."""
    return (
        PlannedRun(
            "0411",
            3,
            "06:40",
            "14 AWG",
            4,
            "Clean. Two small surface flaws are reported and hold nothing. All four reels are releasable.",
            (_flaws((1503.0, 0.12, "lump"), (5210.0, 0.30, "scratch")),),
        ),
        PlannedRun(
            "0412",
            3,
            "07:40",
            "14 AWG",
            4,
            "Two spots thin all round: 14 m on the second reel, with one spark fault inside it (wall, "
            "diameter and spark tester see one defect at three times), and 6 m on the third. Both reels are "
            "held for minimum average wall, minimum wall at any point and overall diameter. The others are "
            "releasable.",
            (
                ThinAllRound(3600.0, 14.0, 0.095),
                SparkFaults("single", (3607.2,)),
                ThinAllRound(6100.0, 6.0, 0.095),
                _flaws((3606.8, 0.15, "pit")),
            ),
        ),
        PlannedRun(
            "0413",
            3,
            "08:50",
            "14 AWG",
            4,
            "Two one-sided thin spots, both on the third reel. The first begins 18 m after the reel change "
            "and had passed the wall gauge before the take-up changed: cutting by time would put it on the "
            "second reel. Six spikes of a single reading of a single wall sensor on the first reel, three thin "
            "and three thick: the sensors beside it and the diameter on its axis do not show them. Only the "
            "third reel is held: minimum wall at any point and concentricity.",
            (
                ThinOneSide(5000.0, 10.0, 0.110, 45.0),
                ThinOneSide(5900.0, 25.0, 0.110, 150.0),
                Spikes("wall_3_mm", (700.0, 1340.5, 2100.0), -0.080),
                Spikes("wall_6_mm", (1012.0, 1751.0, 2402.0), 0.120),
                _flaws((8020.0, 0.25, "scratch")),
            ),
        ),
        PlannedRun(
            "0414",
            3,
            "14:20",
            "14 AWG",
            4,
            "The center drifts from 4,200 m on, where the insulation compound's lot changed. The first two "
            "reels are releasable; the third and fourth are held for concentricity and minimum wall at any "
            "point.",
            (CentreDrift(4200.0, 8200.0, 0.115, 150.0),),
            lots=(
                Lot(material="conductor", lot="CU14-0226"),
                Lot(material="insulation compound", lot="PVC-7740", from_m=0.0, to_m=4200.0),
                Lot(material="insulation compound", lot="PVC-7741", from_m=4200.0, to_m=9900.0),
                Lot(material="covering compound", lot="PA-0318"),
                Lot(material="colour", lot="BK-112"),
            ),
        ),
        PlannedRun(
            "0415",
            3,
            "15:40",
            "12 AWG",
            3,
            "The first reel was put on too early and carries start-up wire over its first meters: off "
            "center. It is held for minimum wall at any point and concentricity; the other two are "
            "releasable.",
            first_m=126.0,
        ),
        PlannedRun(
            "0416",
            3,
            "17:10",
            "12 AWG",
            3,
            "Spark faults at random: three on the first reel, one of them counted twice, and five on the "
            "third. Both are held; the second is releasable.",
            (
                SparkFaults("random", (702.4, 2211.8)),
                SparkFaults("single", (1480.3,), counts=2),
                SparkFaults("random", (5120.6, 5537.9, 6044.1, 6310.2, 7011.7)),
            ),
        ),
    )


def night_l1() -> tuple[PlannedRun, ...]:
    """Runs of line L1 at night."""
    return (
        PlannedRun(
            "0417",
            3,
            "22:20",
            "12 AWG",
            3,
            "A burst of spark faults within 25 m of the second reel, some nearer to each other than the "
            "electrode is long, so that the count is a lower bound. That reel is held, the others are "
            "releasable.",
            (SparkFaults("burst", _burst(3900.0, 25.0, 12, 417)), _flaws((3901.0, 0.5, "lump"))),
        ),
        PlannedRun(
            "0418",
            3,
            "23:30",
            "12 AWG",
            3,
            "Spark faults on the second reel that repeat at the circumference of roll A, 2.199 m. It is "
            "held; the others are releasable.",
            (SparkFaults("repeating", _repeating(3000.0, 3500.0, 2.199, 0.2, 418)),),
        ),
        PlannedRun(
            "0419",
            4,
            "00:40",
            "14 AWG",
            4,
            "The wall gauge gave nothing over 540 m of the second reel. Nothing is known to be wrong with "
            "that wire, and nothing shows that it is right: the reel is held for unmonitored length.",
            (DropOut("L1-WG", 3300.0, 3840.0),),
        ),
        PlannedRun(
            "0420",
            4,
            "02:00",
            "14 AWG",
            4,
            "Clean, with a slow stretch at 60 % of the speed. All four reels are releasable.",
            dips=((4000.0, 0.6, 25.0),),
            log_parts=2,
        ),
        PlannedRun(
            "0421",
            4,
            "03:30",
            "14 AWG",
            3,
            "The run sheet says the walls are in mil and the figures are millimeters. Nothing may be "
            "judged: no reel is releasable and no finding is made until the sheet is mended. (The wire "
            "itself is sound.)",
            (WrongUnit("mm", "mil"),),
        ),
    )


def line_l2() -> tuple[PlannedRun, ...]:
    """Runs of line L2."""
    return (
        PlannedRun(
            "0511",
            3,
            "07:00",
            "1/0 AWG",
            3,
            "Clean. All three reels are releasable.",
            (_flaws((512.0, 0.4, "scratch")),),
        ),
        PlannedRun(
            "0512",
            3,
            "09:10",
            "1/0 AWG",
            3,
            "Wall sensor 5 is stuck for 150 m of the second reel, and the length counter is reset on it. "
            "Seven sensors still go round the wire and the counter is repaired: all three reels are "
            "releasable.",
            (Stuck("wall_5_mm", 450.0, 600.0), EncoderReset(700.0)),
            log_parts=2,
        ),
        PlannedRun(
            "0513",
            3,
            "15:00",
            "1/0 AWG",
            3,
            "The line stopped for a minute and a half. The wire that stood at the die, on the second reel, "
            "has a neck: held for minimum average wall, minimum wall at any point and overall diameter. The "
            "others are releasable.",
            (StopMark(8.0, 0.30),),
            stops=((520.0, 90.0),),
        ),
        PlannedRun(
            "0514",
            3,
            "17:30",
            "1/0 AWG",
            3,
            "A one-sided thin spot of 6 m on the third reel, after a counter reset on the second: the spot "
            "is in the right place only if the counter is repaired. The third reel is held for minimum wall "
            "at any point and concentricity; the others are releasable.",
            (EncoderReset(600.0), ThinOneSide(800.0, 6.0, 0.300, 310.0), _flaws((801.5, 0.8, "lump"))),
        ),
        PlannedRun(
            "0515",
            3,
            "23:00",
            "1/0 AWG",
            3,
            "Clean, with a slow stretch at 70 % of the speed. All three reels are releasable.",
            dips=((600.0, 0.7, 40.0),),
        ),
        PlannedRun(
            "0516",
            3,
            "18:40",
            "1/0 AWG",
            6,
            "A trial of settings with the wall control off: each centering bolt is turned half a turn by itself, "
            "out, in, out and in, which leaves the center where it was, and the screw is set 4 % faster twice. "
            "The wall keeps its limits throughout. All six reels are releasable.",
            (
                *_bolts_tried((330.0, 590.0, 850.0, 1110.0)),
                ScrewStep(1370.0, 1570.0, 0.04, 8.4),
                ScrewStep(1790.0, 2400.0, 0.04, 8.4),
            ),
            trial=True,
        ),
        PlannedRun(
            "0517",
            4,
            "00:40",
            "1/0 AWG",
            1,
            "A trial of starts, logged twice a second with the wall control off: eight times the line is stopped and "
            "started again, four of them with the melt 6 to 9 deg C too cold, and the colder it is the longer the wall "
            "is too thick and off center. All that wire is scrap and on no reel. Of the reel made after it two "
            "readings a second see a third: it is held for unmonitored length.",
            tuple(
                ColdStart(stop, colder_c, 0.12, 0.45, 120.0, 12.0 + 14.0 * colder_c)
                for stop, (_, colder_c) in enumerate(_STARTS_TRIED, 1)
            ),
            first_m=5000.0,
            stops=_stops_tried(),
            trial=True,
            interval_s=0.5,
        ),
    )
