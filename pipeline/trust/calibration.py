"""Was the instrument in calibration, and which reels does a drift found now reach back to?

A bias found at a calibration began some time after the last good check. Taken as growing evenly in between,
it is put to every reel since, and each is judged anew: what passed by less than the bias is the scope of
containment.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

from pipeline.found import Drifted
from pipeline.messages import Measure, Message, message
from pipeline.sheets.line_sheet import Instrument, LineSheet
from pipeline.warned import Calibration

# One-sided 95 %.
GUARD = 1.645


@dataclass(frozen=True, slots=True)
class CalibrationState:
    """An instrument's calibration on a day.

    Args:
        instrument: its id.
        kind: what it is.
        state: 'in date', 'lapsed', 'not yet calibrated' or 'not on file'.
        told: for a reader.
    """

    instrument: str
    kind: str
    state: Literal["in date", "lapsed", "not yet calibrated", "not on file"]
    told: Message

    @property
    def trusted(self) -> bool:
        """Whether its readings stand on a calibration in date."""
        return self.state == "in date"


def calibration_on(instrument: Instrument, day: date) -> CalibrationState:
    """The state of an instrument's calibration on the day a run was made.

    Args:
        instrument: the instrument.
        day: the day the run ran; a run over midnight is judged by each of its days.
    """
    named = {"instrument": instrument.id, "kind": instrument.kind}
    if instrument.calibrated is None or instrument.calibration_due is None:
        return CalibrationState(
            instrument.id, instrument.kind, "not on file", message(Calibration.NOT_ON_FILE, **named)
        )
    if day < instrument.calibrated:
        return CalibrationState(
            instrument.id,
            instrument.kind,
            "not yet calibrated",
            message(Calibration.NOT_YET, **named, calibrated=f"{instrument.calibrated}", day=f"{day}"),
        )
    if day > instrument.calibration_due:
        return CalibrationState(
            instrument.id,
            instrument.kind,
            "lapsed",
            message(Calibration.LAPSED, **named, due=f"{instrument.calibration_due}", day=f"{day}"),
        )
    return CalibrationState(
        instrument.id,
        instrument.kind,
        "in date",
        message(Calibration.IN_DATE, **named, due=f"{instrument.calibration_due}"),
    )


def calibrations_over(line: LineSheet, days: Sequence[date]) -> tuple[CalibrationState, ...]:
    """The calibration of every instrument of a line over the days of a run; counters of length included.

    Args:
        line: the line's sheet.
        days: the days the run ran on.
    """
    return tuple(worst_calibration(one, days) for one in line.instruments)


def days_of_run(first: datetime, last: datetime, zone: str) -> tuple[date, ...]:
    """Every day, by the plant's clock, on which a run ran; a run over midnight has two.

    Args:
        first: its first reading; without an offset it is UTC.
        last: its last reading.
        zone: IANA zone of the plant.
    """
    begin, end = (
        (one if one.tzinfo is not None else one.replace(tzinfo=UTC)).astimezone(ZoneInfo(zone)).date()
        for one in (first, last)
    )
    return tuple(begin + timedelta(days=more) for more in range((end - begin).days + 1)) or (begin,)


def worst_calibration(instrument: Instrument, days: Iterable[date]) -> CalibrationState:
    """The state of an instrument's calibration over several days: the first day it did not hold, or in date.

    Args:
        instrument: the instrument.
        days: the days, at least one.
    """
    states = [calibration_on(instrument, day) for day in days]
    return next((one for one in states if not one.trusted), states[0])


@dataclass(frozen=True, slots=True)
class DriftFound:
    """A bias an instrument was found with.

    Args:
        instrument: its id.
        good_on: day of the last check at which it read true.
        found_on: day the bias was found.
        bias_mm: bias found: reading less truth [mm].
        bias_sd_mm: its standard uncertainty [mm].
    """

    instrument: str
    good_on: date
    found_on: date
    bias_mm: float
    bias_sd_mm: float = 0.0

    def bias_on(self, day: date) -> float:
        """Bias on a day [mm]: grown evenly from 0 at the last good check; as found on days after."""
        span = (self.found_on - self.good_on).days
        gone = (day - self.good_on).days
        if span <= 0:
            return self.bias_mm
        return self.bias_mm * min(max(gone / span, 0.0), 1.0)


@dataclass(frozen=True, slots=True)
class JudgedReel:
    """A reel as it was judged by the instrument's readings.

    Args:
        reel: the reel.
        made_on: day it was made.
        requirement: what was judged.
        sense: 'at least' or 'at most'.
        worst_mm: its worst reading [mm].
        sd_mm: standard uncertainty of that reading [mm].
        limit_mm: the limit [mm].
    """

    reel: str
    made_on: date
    requirement: str
    sense: Literal["at least", "at most"]
    worst_mm: float
    sd_mm: float
    limit_mm: float


@dataclass(frozen=True, slots=True)
class Readjudged:
    """A reel judged anew after a drift was found.

    Args:
        reel: the reel as it was judged.
        bias_mm: bias on the day it was made [mm].
        corrected_mm: its worst reading with the bias taken off [mm].
        margin_mm: what it had over the limit before [mm]; below 0 it failed.
        state: 'fails' where it passed and now does not; 'in doubt' where its margin is less than the bias and
            1.645 standard uncertainties; 'passes' where it failed and now does not; otherwise 'unchanged'.
        contained: whether it belongs to the scope of containment.
        told: the same, to be said.
    """

    reel: JudgedReel
    bias_mm: float
    corrected_mm: float
    margin_mm: float
    state: Literal["fails", "in doubt", "passes", "unchanged"]
    contained: bool
    told: Message


def readjudicate(drift: DriftFound, reels: Iterable[JudgedReel]) -> tuple[Readjudged, ...]:
    """Every reel made since the last good check, judged anew with the bias taken off.

    In scope where margin < |bias(day)| + 1.645 u, u of reading and bias together.

    Args:
        drift: the bias found.
        reels: reels judged by that instrument.

    Returns:
        The reels made after the last good check, in order of the day they were made. The even growth is an
        assumption: a gauge that was knocked is biased in full from that day, and then the scope is wider.
    """
    touched = sorted(
        (one for one in reels if one.made_on > drift.good_on), key=lambda one: (one.made_on, one.reel)
    )
    return tuple(_anew(drift, one) for one in touched)


def _anew(drift: DriftFound, reel: JudgedReel) -> Readjudged:
    bias = drift.bias_on(reel.made_on)
    corrected = reel.worst_mm - bias
    sign = 1.0 if reel.sense == "at least" else -1.0
    before, after = sign * (reel.worst_mm - reel.limit_mm), sign * (corrected - reel.limit_mm)
    u = (reel.sd_mm**2 + drift.bias_sd_mm**2) ** 0.5
    contained = before < abs(bias) + GUARD * u
    state: Literal["fails", "in doubt", "passes", "unchanged"] = "unchanged"
    if before >= 0 > after:
        state = "fails"
    elif before < 0 <= after:
        state = "passes"
    elif contained and before >= 0:
        state = "in doubt"
    told = message(
        Drifted.ANEW,
        reel=reel.reel,
        day=reel.made_on.isoformat(),
        requirement=reel.requirement,
        worst=Measure(reel.worst_mm, "mm"),
        corrected=Measure(corrected, "mm"),
        bias=Measure(bias, "mm"),
        instrument=drift.instrument,
        sense=reel.sense,
        limit=Measure(reel.limit_mm, "mm"),
        state=state,
    )
    return Readjudged(reel, bias, corrected, before, state, contained, told)
