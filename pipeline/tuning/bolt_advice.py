"""Which way to move the die, by how much, and which bolts to turn: in plain geometry, in two halves.

The outer circle must shift toward the thin side by the offset, so the die moves toward the thin side; where the
tip is what moves, it moves the opposite way.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.messages import Measure, Message, message
from pipeline.sheets.line_sheet import Bolt
from pipeline.tuned import Tuned
from pipeline.tuning.bolt_response import Response, sheet_direction
from pipeline.tuning.centring import Centring

Floats = NDArray[np.float64]

SMALLEST_TURN = 0.01


@dataclass(frozen=True, slots=True)
class AdvisedTurn:
    """How far one bolt would be turned in all.

    Args:
        bolt: its id.
        turns: turns, in is positive; NaN where only the way is known.
        way: 'in' or 'back out'.
    """

    bolt: str
    turns: float
    way: str


@dataclass(frozen=True, slots=True)
class CentringAdvice:
    """What to do about the centring.

    Args:
        act: whether there is anything to correct.
        thin_deg: where the wall is thin, from twelve o'clock, clockwise, looking against the travel [deg].
        turns: bolts to turn in all; empty where nothing is to be done or no bolt is entered.
        first_half: the same halved: what to turn before looking again.
        known_from: 'learned response', 'line sheet' or 'direction only'.
        settle_m: wire that must pass before looking again [m].
        told: the advice, the caution last.
    """

    act: bool
    thin_deg: float
    turns: tuple[AdvisedTurn, ...]
    first_half: tuple[AdvisedTurn, ...]
    known_from: str
    settle_m: float
    told: tuple[Message, ...]


def least_turns(offset_um: Floats, per_turn_um: Floats) -> Floats:
    """Turns that take the offset away with the least turning in all: -K+ e.

    Args:
        offset_um: e, offset vector [um].
        per_turn_um: K, change of it a turn of each bolt, two rows [um].

    Source: Moore-Penrose inverse (G.H. Golub and C.F. Van Loan, Matrix Computations, section 5.5, from memory).
    """
    return np.asarray(-np.linalg.pinv(per_turn_um) @ offset_um, dtype=np.float64)


def clock_hour(angle_deg: float) -> int:
    """The hour on a clock face nearest to an angle from twelve, clockwise."""
    return int((angle_deg % 360.0) / 30.0 + 0.5) % 12 or 12


def centring_advice(
    found: Centring,
    bolts: Sequence[Bolt],
    response: Response | None,
    gauge_station_m: float,
    purge_m: float,
    worth: Message | None = None,
) -> CentringAdvice:
    """What to do about the centring, given what is known of the bolts.

    Args:
        found: how the conductor lies.
        bolts: the line sheet's bolts; none gives the direction only.
        response: what was learned of them; None where nothing was.
        gauge_station_m: wire from die to wall gauge [m].
        purge_m: wire made until the crosshead's content is renewed [m].
        worth: what better centring is worth, from `what_if`.
    """
    settle = gauge_station_m + purge_m
    if not found.beyond_noise:
        noise = message(
            Tuned.OFFSET_IN_NOISE,
            size=Measure(found.size_um, "um"),
            dead_zone=Measure(found.dead_zone_um, "um"),
        )
        told = (noise, *((worth,) if worth else ()))
        return CentringAdvice(False, found.thin_deg, (), (), "direction only", settle, told)
    offset = found.size_um * np.array(
        [math.cos(math.radians(found.thin_deg)), math.sin(math.radians(found.thin_deg))]
    )
    turns, source = _turns(offset, bolts, response)
    half = tuple(AdvisedTurn(one.bolt, 0.5 * one.turns, one.way) for one in turns)
    told = (
        message(
            Tuned.THIN_AT,
            thin=found.thin_deg,
            hour=clock_hour(found.thin_deg),
            size=Measure(found.size_um, "um"),
            half=Measure(found.size_high_um - found.size_um, "um"),
            half_deg=found.angle_half_deg,
        ),
        _movement(found, bolts),
        *_turns_told(turns, half, source, Measure(settle, "m")),
        *((worth,) if worth else ()),
        *found.warnings,
        message(Tuned.BOLT_CAUTION),
    )
    return CentringAdvice(True, found.thin_deg, turns, half, source, settle, told)


def _turns(
    offset: Floats, bolts: Sequence[Bolt], response: Response | None
) -> tuple[tuple[AdvisedTurn, ...], str]:
    """Bolts to turn and where that is known from."""
    if not bolts:
        return (), "direction only"
    learned = None if response is None else response.matrix(bolts)
    if learned is None and all(one.um_per_turn is not None for one in bolts):
        k = np.stack([sheet_direction(one) * (one.um_per_turn or 0.0) for one in bolts], axis=1)
        source = "line sheet"
    elif learned is not None:
        k, source = learned, "learned response"
    else:
        k, source = np.stack([sheet_direction(one) for one in bolts], axis=1), "direction only"
    if np.linalg.matrix_rank(k, tol=1e-9) < 2:
        return (), "direction only"
    wanted = least_turns(offset, k)
    largest = float(np.abs(wanted).max())
    made = []
    for bolt, turns in zip(bolts, wanted.tolist(), strict=True):
        if abs(turns) < (0.2 * largest if source == "direction only" else SMALLEST_TURN):
            continue
        shown = float("nan") if source == "direction only" else turns
        made.append(AdvisedTurn(bolt.id, shown, "in" if turns > 0.0 else "back out"))
    return tuple(made), source


def _movement(found: Centring, bolts: Sequence[Bolt]) -> Message:
    size = Measure(found.size_um, "um")
    if bolts and all(one.moves == "tip" for one in bolts):
        return message(Tuned.MOVE_TIP, toward=(found.thin_deg + 180.0) % 360.0, size=size)
    return message(Tuned.MOVE_DIE, toward=found.thin_deg, size=size)


def _turns_told(
    turns: tuple[AdvisedTurn, ...], half: tuple[AdvisedTurn, ...], source: str, settle: Measure
) -> tuple[Message, ...]:
    look = message(Tuned.LOOK_AGAIN, settle=settle)
    if not turns:
        return message(Tuned.NO_BOLTS), look
    if source == "direction only":
        ways = [message(Tuned.BOLT_WAY, bolt=one.bolt, way=one.way) for one in turns]
        return message(Tuned.WHICH_WAY, ways=ways), look
    first, whole = (
        [message(Tuned.BOLT_TURN, bolt=one.bolt, turns=abs(one.turns), way=one.way) for one in some]
        for some in (half, turns)
    )
    return message(Tuned.FIRST_HALF, ways=first, look=look), message(Tuned.IN_ALL, source=source, ways=whole)
