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

from pipeline.sheets.line_sheet import Bolt
from pipeline.tuning.bolt_response import Response, sheet_direction
from pipeline.tuning.centring import Centring
from pipeline.units import mil_from_mm

Floats = NDArray[np.float64]

CAUTION = (
    "The crosshead and its bolts are hot and under pressure, and the line has moving parts: turn bolts "
    "only on a stopped line or as the plant's own procedure allows, with the protection it asks for, by "
    "someone it authorises."
)
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
        thin_by_um: by how much [um].
        turns: bolts to turn in all; empty where nothing is to be done or no bolt is entered.
        first_half: the same halved: what to turn before looking again.
        known_from: 'learned response', 'line sheet' or 'direction only'.
        settle_m: wire that must pass before looking again [m].
        sentences: the advice in words, the caution last.
    """

    act: bool
    thin_deg: float
    thin_by_um: float
    turns: tuple[AdvisedTurn, ...]
    first_half: tuple[AdvisedTurn, ...]
    known_from: str
    settle_m: float
    sentences: tuple[str, ...]


def least_turns(offset_um: Floats, per_turn_um: Floats) -> Floats:
    """Turns that take the offset away with the least turning in all: -K+ e.

    Args:
        offset_um: e, offset vector [um].
        per_turn_um: K, change of it a turn of each bolt, two rows [um].

    Source: Moore-Penrose inverse (G.H. Golub and C.F. Van Loan, Matrix Computations, section 5.5, from memory).
    """
    return np.asarray(-np.linalg.pinv(per_turn_um) @ offset_um, dtype=np.float64)


def paired_turns(offset_um: Floats, per_turn_um: Floats, pairs: Sequence[tuple[int, int]]) -> Floats:
    """Turns of opposite bolts by the same amount, one in and one out, that take the offset away.

    Args:
        offset_um: offset vector [um].
        per_turn_um: K, two rows [um].
        pairs: numbers of the bolts of each pair; two pairs fix the two axes.

    Returns:
        One value a pair: turns in of its first bolt, out of its second.

    No page asks for it: advice takes the least turns; pairs are another way to the same centre.
    """
    axes = np.stack([per_turn_um[:, a] - per_turn_um[:, b] for a, b in pairs], axis=1)
    return np.asarray(-np.linalg.pinv(axes) @ offset_um, dtype=np.float64)


def opposite_pairs(bolts: Sequence[Bolt], within_deg: float = 10.0) -> tuple[tuple[int, int], ...]:
    """Numbers of bolts that stand opposite each other.

    Args:
        bolts: the bolts.
        within_deg: how far from opposite they may stand [deg].

    No page asks for it: advice takes the least turns; pairs are another way to the same centre.
    """
    return tuple(
        (a, b)
        for a in range(len(bolts))
        for b in range(a + 1, len(bolts))
        if abs((bolts[b].angle_deg - bolts[a].angle_deg) % 360.0 - 180.0) <= within_deg
    )


def clock_hour(angle_deg: float) -> int:
    """The hour on a clock face nearest to an angle from twelve, clockwise."""
    return int((angle_deg % 360.0) / 30.0 + 0.5) % 12 or 12


def centring_advice(
    found: Centring,
    bolts: Sequence[Bolt],
    response: Response | None,
    gauge_station_m: float,
    purge_m: float,
    worth: str = "",
) -> CentringAdvice:
    """What to do about the centring, given what is known of the bolts.

    Args:
        found: how the conductor lies.
        bolts: the line sheet's bolts; none gives the direction only.
        response: what was learned of them; None where nothing was.
        gauge_station_m: wire from die to wall gauge [m].
        purge_m: wire made until the crosshead's content is renewed [m].
        worth: a sentence on what better centring is worth, from `what_if`.
    """
    settle = gauge_station_m + purge_m
    if not found.beyond_noise:
        told = (
            (
                f"The mean offset of {found.size_um:.1f} um lies within the {found.dead_zone_um:.1f} um "
                "that noise and wandering make: leave the bolts alone. Correcting noise doubles its "
                "variance."
            ),
            *((worth,) if worth else ()),
        )
        return CentringAdvice(False, found.thin_deg, found.size_um, (), (), "direction only", settle, told)
    offset = found.size_um * np.array(
        [math.cos(math.radians(found.thin_deg)), math.sin(math.radians(found.thin_deg))]
    )
    turns, source = _turns(offset, bolts, response)
    half = tuple(AdvisedTurn(one.bolt, 0.5 * one.turns, one.way) for one in turns)
    told = (
        (
            f"The wall is thin at {found.thin_deg:.0f} degrees (about {clock_hour(found.thin_deg)} o'clock, "
            f"clockwise from the top, looking against the travel) by {found.size_um:.0f} um "
            f"({mil_from_mm(found.size_um / 1000.0):.2f} mil), give or take "
            f"{found.size_high_um - found.size_um:.0f} um and {found.angle_half_deg:.0f} degrees."
        ),
        _movement(found, bolts),
        *_in_words(turns, half, source, settle),
        *((worth,) if worth else ()),
        *found.warnings,
        CAUTION,
    )
    return CentringAdvice(True, found.thin_deg, found.size_um, turns, half, source, settle, told)


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


def _movement(found: Centring, bolts: Sequence[Bolt]) -> str:
    opposite = (found.thin_deg + 180.0) % 360.0
    if bolts and all(one.moves == "tip" for one in bolts):
        return (
            f"Move the tip away from it, toward {opposite:.0f} degrees, by {found.size_um:.0f} um: the "
            "conductor follows the tip."
        )
    return f"Move the die toward {found.thin_deg:.0f} degrees by {found.size_um:.0f} um."


def _in_words(
    turns: tuple[AdvisedTurn, ...], half: tuple[AdvisedTurn, ...], source: str, settle_m: float
) -> tuple[str, ...]:
    look = f"Then let {settle_m:.0f} m pass, the way to the gauge and the crosshead's purge, and look again."
    if not turns:
        return (
            "The line sheet does not name bolts that move the die both ways: enter them as [[line.bolts]].",
            look,
        )
    if source == "direction only":
        ways = "; ".join(f"{one.bolt} {one.way}" for one in turns)
        return (
            (
                f"Which way: {ways}. How far a turn moves it is not known: turn a little, log the turn and "
                "the metre, and the response will be learned."
            ),
            look,
        )
    ways = "; ".join(f"{one.bolt} {abs(one.turns):.2f} turn {one.way}" for one in half)
    whole = "; ".join(f"{one.bolt} {abs(one.turns):.2f} {one.way}" for one in turns)
    return (f"First half: {ways}. {look}", f"In all, by the {source}: {whole}.")
