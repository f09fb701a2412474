"""What does the wall do when a setting is moved, how much and how late? An answer, or only an association.

Data of a line whose speed is moved by a wall control do not show the plant: they return the controller. Only set
steps, dither or open-loop stretches do. What cannot be told apart is called an association and nothing more.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from pipeline.assumed import Assumed
from pipeline.length.cross_correlation import Delay, delay_between
from pipeline.length.steady_state import STEADY
from pipeline.messages import Measure, Message, message
from pipeline.methods import Method
from pipeline.quantity import Asked, Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Refused, Result
from pipeline.statistics.beyond_wander import CLAIM_P
from pipeline.tuned import Tuned
from pipeline.tuning.line_run import LineRun
from pipeline.tuning.setting_steps import SETTLE_S, SettingStep, steps_in_log
from pipeline.tuning.step_delay import delay_of_steps

SETTINGS = ("line_speed_m_s", "screw_speed_rpm", "covering_screw_speed_rpm")
OUTPUT_UNIT = {
    "line_speed_m_s": "mm per m/s",
    "screw_speed_rpm": "mm per rpm",
    "covering_screw_speed_rpm": "mm per rpm",
    "melt_temperature_c": "mm per degC",
    "melt_pressure_bar": "mm per bar",
}

Floats = NDArray[np.float64]
Loop = Literal["open", "closed", "not known"]
AnswerKind = Literal["response", "association", "not shown"]

MOST_LAG_S = 120.0  # delays looked at either way [s] (chosen here)
LEADS_BY = 3  # lags nearer than this either way are smeared by the gauge's window (chosen here)
FEWEST_STEPS = 2
METHOD_STEPS = message(Method.STEPS_OF_A_SETTING)
METHOD_PARTS = message(Method.SLOPES_OF_PARTS)
# Parts of a stretch whose slopes are averaged, averages each must have, and what they are averages over [s]: as long as
# a crosshead takes to answer (all chosen here; on wanders of 60 to 1000 s the test held its error at 5 and at 0.5 %).
PARTS, FEWEST_IN_PART, AVERAGE_S = 12, 4, 10.0
# Settings of which it is asked: they share the chance of a claim.
SETTINGS_ASKED = 5


@dataclass(frozen=True, slots=True)
class SettingAnswer:
    """How an output goes with a setting.

    Args:
        setting: the setting, as a column of the data dictionary.
        output: the output.
        kind: 'response' if steps of the setting show it, 'association' if the two only moved together beyond chance,
            'not shown' if no gain but nothing is beyond chance.
        gain: change of the output a unit of the setting, with its interval.
        by_balance: what the mass balance alone would make of it; NaN where it says nothing.
        delay_s: how much later the output answers, the way from die to gauge taken off [s]; NaN if not seen. From
            steps it is the time until half of the answer has come.
        delay_low_s: lower end of its interval [s].
        delay_high_s: upper end [s].
        begins_s: how much later the answer begins, as the fitted shape has it [s]; NaN without steps.
        output_leads: whether the output was seen to move before the setting: a control at work.
        steps: the steps found in the log.
        told: what to read of it.
    """

    setting: str
    output: str
    kind: AnswerKind
    gain: Result
    by_balance: float
    delay_s: float
    delay_low_s: float
    delay_high_s: float
    begins_s: float
    output_leads: bool
    steps: tuple[SettingStep, ...]
    told: tuple[Message, ...]


def at_the_die(run: LineRun, output: Literal["mean_mm", "diameter_mm"] = "mean_mm") -> tuple[Floats, Floats]:
    """The output of the wire that was at the die at each instant: (seconds, output), ramps included.

    Args:
        run: the run.
        output: which.
    """
    at, value = (run.wall_at_m, run.mean_mm) if output == "mean_mm" else (run.diameter_at_m, run.diameter_mm)
    front = np.maximum.accumulate(run.die_m)
    known = np.isfinite(at) & np.isfinite(value)
    order = np.argsort(at[known], kind="stable")
    if order.size < 2:
        return run.seconds, np.full(run.seconds.size, np.nan)
    places, values = at[known][order], value[known][order]
    seen = np.interp(front, places, values, left=np.nan, right=np.nan)
    # Nothing is known of wire inside a gap of the gauge; standing wire is one point, not many.
    after = np.clip(np.searchsorted(places, front), 1, places.size - 1)
    step = float(np.median(np.diff(places)))
    seen[(places[after] - places[after - 1]) > 5.0 * max(step, 1e-9)] = np.nan
    seen[np.concatenate(([False], np.diff(front) <= 0.0))] = np.nan
    return run.seconds, seen


def answer_to(
    seconds: Floats,
    setting: Floats,
    output: Floats,
    setting_name: str,
    output_name: str,
    unit: str,
    loop: Loop = "not known",
    others: Mapping[str, Floats] | None = None,
    by_balance: float = math.nan,
    steady: NDArray[np.bool_] | None = None,
    settle_s: float = SETTLE_S,
    confidence: float = 0.95,
) -> SettingAnswer | Refused:
    """How an output goes with a setting, from one log.

    Args:
        seconds: times at equal steps [s].
        setting: the setting at each instant; NaN where unknown.
        output: the output of the wire that was at the die then.
        setting_name: its column.
        output_name: what the output is.
        unit: unit of the gain.
        loop: whether a control moved the setting by the output: 'open', 'closed', or 'not known'.
        others: other settings, to tell those that moved with it.
        by_balance: gain that the mass balance alone would give.
        steady: instants at which the line ran steadily; without steps of the setting only they are looked at, since
            everything moves together in a start. All where left out.
        settle_s: time after a step that is left out [s].
        confidence: coverage of the intervals.

    Returns:
        An `SettingAnswer`, or a `Refused` where the setting was not moved or too little is known.
    """
    question = asks(Quantity.SETTING_RESPONSE, setting_name, output=output_name, setting=setting_name)
    steps = steps_in_log(seconds, setting, output, others, settle_s)
    # Steps at which nothing else moved are enough by themselves.
    alone = tuple(one for one in steps if not one.moved_with)
    steps = alone if len(alone) >= FEWEST_STEPS else steps
    together = tuple(dict.fromkeys(name for one in steps for name in one.moved_with))
    held = output if steady is None else np.where(steady, output, np.nan)
    watched = output if len(steps) >= FEWEST_STEPS else held
    delay, leads = _delay(seconds, setting, watched)
    proven = (
        len(steps) >= FEWEST_STEPS and loop != "closed" and not (leads and loop != "open") and not together
    )
    known = int((np.isfinite(setting) & np.isfinite(output)).sum())
    if len(steps) >= FEWEST_STEPS:
        gain: Result | Refused = _gain_of_steps(question, steps, unit, known, confidence)
    else:
        gain = _gain_of_series(question, seconds, setting, held, unit, confidence)
    if isinstance(gain, Refused):
        return gain
    late = _delay_interval(seconds, setting, watched, delay, confidence, steps)
    kind: AnswerKind = "response" if proven else "association"
    if gain.details["p_value"] >= CLAIM_P / SETTINGS_ASKED:
        kind = "not shown"
    told = _told(kind, gain, by_balance, loop, leads, steps, together)
    return SettingAnswer(setting_name, output_name, kind, gain, by_balance, *late, leads, steps, told)


def _delay(seconds: Floats, setting: Floats, output: Floats) -> tuple[Delay | None, bool]:
    """The delay over the longest stretch without a gap, and whether the output leads."""
    rows = _longest(np.isfinite(setting) & np.isfinite(output))
    step = float(np.median(np.diff(seconds)))
    found = delay_between(setting[rows], output[rows], round(MOST_LAG_S / step))
    if isinstance(found, Refused):
        return None, False
    before = np.abs(found.correlation[found.lags <= -LEADS_BY])
    return found, bool(before.size and float(before.max()) > found.peak_limit)


def _longest(known: NDArray[np.bool_]) -> slice:
    edges = np.flatnonzero(np.diff(known.astype(np.int8), prepend=0, append=0))
    if edges.size == 0:
        return slice(0, 0)
    first, after = edges[::2], edges[1::2]
    at = int(np.argmax(after - first))
    return slice(int(first[at]), int(after[at]))


def _delay_interval(
    seconds: Floats,
    setting: Floats,
    output: Floats,
    delay: Delay | None,
    confidence: float,
    steps: tuple[SettingStep, ...],
) -> tuple[float, float, float, float]:
    """Delay [s], its interval, and when the answer begins, from the steps of the setting.

    Where fewer than two of them show it, by correlation, with an interval from four parts of the longest stretch, half
    a reading at least.
    """
    by_steps = delay_of_steps(seconds, setting, output, steps, confidence)
    if by_steps is not None:
        return by_steps.half_s, by_steps.low_s, by_steps.high_s, by_steps.begins_s
    if delay is None or not delay.significant or delay.peak_lag < -1.0:
        return math.nan, math.nan, math.nan, math.nan
    step = float(np.median(np.diff(seconds)))
    lags = _lags_of_parts(setting, output, step)
    half = 1.0
    if len(lags) >= 3:
        spread = float(np.std(lags, ddof=1)) / math.sqrt(len(lags))
        half = max(0.5, float(stats.t.ppf(0.5 + confidence / 2.0, len(lags) - 1)) * spread)
    return delay.peak_lag * step, (delay.peak_lag - half) * step, (delay.peak_lag + half) * step, math.nan


def _lags_of_parts(setting: Floats, output: Floats, step_s: float) -> list[float]:
    """Delay that each of four parts of the longest stretch shows beyond chance [samples]."""
    rows = _longest(np.isfinite(setting) & np.isfinite(output))
    lags = []
    for first, after in itertools.pairwise(np.linspace(rows.start, rows.stop, 5).astype(int)):
        part = delay_between(setting[first:after], output[first:after], round(MOST_LAG_S / step_s))
        if not isinstance(part, Refused) and part.significant:
            lags.append(part.peak_lag)
    return lags


def _gain_of_steps(
    question: Asked, steps: tuple[SettingStep, ...], unit: str, known: int, confidence: float
) -> Result:
    """Weighted slope through the origin of answers on steps."""
    size = np.array([one.size for one in steps])
    answer = np.array([one.answer for one in steps])
    weight = 1.0 / np.array([one.output_sd for one in steps]) ** 2
    gain = float((weight * size) @ answer / ((weight * size) @ size))
    misfit = float((weight * (answer - gain * size) ** 2).sum()) / max(len(steps) - 1, 1)
    sd = math.sqrt(max(misfit, 1.0) / float((weight * size) @ size))
    free = float(max(len(steps) - 1, 1)) if misfit > 1.0 else math.inf
    half = float(stats.t.ppf(0.5 + confidence / 2.0, free))
    # The wander behind each step's error is known from the whole log, so two steps can be beyond chance.
    p_value = 2.0 * float(stats.norm.sf(abs(gain) / sd))
    return Result(
        question=question,
        estimate=gain,
        low=gain - half * sd,
        high=gain + half * sd,
        confidence=confidence,
        unit=unit,
        method=METHOD_STEPS,
        n=len(steps),
        effective_n=float(len(steps)),
        known_m=None,
        unit_of_inference="section average",
        assumptions=(
            Assumption(
                message(Assumed.STEPS_AGREE), misfit < 4.0, message(Tuned.STEPS_MEAN_SQUARE, square=misfit)
            ),
        ),
        details={"rows_known": float(known), "standard_error": sd, "p_value": p_value},
    )


def _gain_of_series(
    question: Asked, seconds: Floats, setting: Floats, output: Floats, unit: str, confidence: float
) -> Result | Refused:
    """Mean slope over parts of the longest stretch without a gap, each about its own means; Student's t over the parts.

    Both wander, and two wanders that have nothing to do with each other go together over any stretch: only parts that
    agree say more. Source: R. Ibragimov and U.K. Mueller, J. Bus. Econ. Stat. 28 (2010), 453-468 (from memory).
    """
    rows = _longest(np.isfinite(setting) & np.isfinite(output))
    each = max(1, round(AVERAGE_S / float(np.median(np.diff(seconds)))))
    in_part = (rows.stop - rows.start) // each // PARTS
    if in_part < FEWEST_IN_PART:
        reason = message(Reason.SETTING_NOT_STEPPED, needed=Measure(PARTS * FEWEST_IN_PART * AVERAGE_S, "s"))
        return Refused(question, METHOD_PARTS, reason, rows.stop - rows.start)
    used = PARTS * in_part * each
    x, y = (one[rows][:used].reshape(PARTS, in_part, each).mean(axis=2) for one in (setting, output))
    x, y = (one - one.mean(axis=1, keepdims=True) for one in (x, y))
    square = (x**2).sum(axis=1)
    if not (square > 1e-12 * float(np.abs(setting[rows]).max()) ** 2).all():
        return Refused(question, METHOD_PARTS, message(Reason.SERIES_DOES_NOT_VARY), used)
    slopes = (x * y).sum(axis=1) / square
    gain, sd = float(slopes.mean()), max(float(slopes.std(ddof=1)) / math.sqrt(PARTS), 1e-300)
    half = sd * float(stats.t.ppf(0.5 + confidence / 2.0, PARTS - 1))
    p_value = 2.0 * float(stats.t.sf(abs(gain) / sd, PARTS - 1))
    return Result(
        question=question,
        estimate=gain,
        low=gain - half,
        high=gain + half,
        confidence=confidence,
        unit=unit,
        method=METHOD_PARTS,
        n=used,
        effective_n=float(PARTS),
        known_m=None,
        unit_of_inference="section average",
        assumptions=(Assumption(message(Assumed.LOOP_OPEN), None, message(Tuned.NO_STEPS)),),
        details={"standard_error": sd, "p_value": p_value},
    )


def _told(
    kind: str,
    gain: Result,
    by_balance: float,
    loop: Loop,
    leads: bool,
    steps: tuple[SettingStep, ...],
    together: tuple[str, ...],
) -> tuple[Message, ...]:
    told = [message(Tuned.ASSOCIATION)]
    if kind == "response":
        told = [message(Tuned.RESPONSE, steps=len(steps))]
    elif kind == "not shown":
        told = [message(Tuned.NO_ANSWER_SHOWS, p=gain.details["p_value"])]
    span = {name: Measure(getattr(gain, name), gain.unit) for name in ("low", "high")}
    told.append(message(Tuned.GAIN, gain=Measure(gain.estimate, gain.unit), **span))
    if loop == "closed" or (leads and loop != "open"):
        told.append(message(Tuned.CONTROL_AT_WORK))
    if together:
        told.append(message(Tuned.MOVED_TOGETHER, settings=together))
    if len(steps) < FEWEST_STEPS:
        told.append(message(Tuned.FEW_STEPS, n=len(steps), fewest=FEWEST_STEPS))
    if math.isfinite(by_balance) and kind == "response" and not gain.low <= by_balance <= gain.high:
        told.append(message(Tuned.BALANCE_DIFFERS, balance=Measure(by_balance, gain.unit)))
    return tuple(told)


def answers_of_runs(
    runs: Sequence[LineRun], loops: Mapping[str, Loop]
) -> tuple[SettingAnswer | Refused, ...]:
    """For each setting, the answer of the run that moved it most often; the latest where none did.

    Args:
        runs: the runs, in the order of time.
        loops: whether a control acts on the wall, by run.
    """
    found = []
    die = [at_the_die(run) for run in runs]
    for name in OUTPUT_UNIT:
        logged = [(run, *one) for run, one in zip(runs, die, strict=True) if name in run.machine]
        if not logged:
            continue
        steps = [len(steps_in_log(seconds, run.machine[name], wall)) for run, seconds, wall in logged]
        most = max(range(len(logged)), key=lambda n: (steps[n], n))
        run, seconds, wall = logged[most]
        # Melt temperature and pressure follow what is set; they do not make a step of it ambiguous.
        others = {
            other: values for other, values in run.machine.items() if other != name and other in SETTINGS
        }
        found.append(
            answer_to(
                seconds,
                run.machine[name],
                wall,
                name,
                "mean wall",
                OUTPUT_UNIT[name],
                loops[run.run_id],
                others,
                _balance(run, name),
                run.phase == STEADY,
            )
        )
    return tuple(found)


def _balance(run: LineRun, setting: str) -> float:
    """Change of wall a unit of a setting by the mass balance: -A/(2 pi R v) a unit of speed at the same output [mm per
    m/s], A/(2 pi R N) a unit of screw speed at an output proportional to it [mm per rpm]; NaN for the others.
    """
    wall, level = run.mean_wall_mm(), run.level(setting)
    if setting not in ("line_speed_m_s", "screw_speed_rpm") or level is None:
        return math.nan
    sign = -1.0 if setting == "line_speed_m_s" else 1.0
    radius = 0.5 * run.conductor_mm + wall
    return sign * wall * (run.conductor_mm + wall) / (2.0 * radius * level)
