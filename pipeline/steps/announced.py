"""Did the wall or the centre change where the run sheet or the line itself says that something was changed?

Places known beforehand are tested there, apart from the search for changes that nobody announced: a change of a lot,
bolts turned, a stop, a change of speed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from pipeline.length.steady_state import PHASE_NAMES, SPEED_CHANGE, STOP
from pipeline.messages import Place, message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Asked, Quantity, asks
from pipeline.results import Refused, Result
from pipeline.statistics.announced_change import AnnouncedChange, announced_change
from pipeline.statistics.beyond_wander import WANDER_P
from pipeline.steps.bench import Bench
from pipeline.steps.evidence import Floats
from pipeline.steps.section_averages import section_averages

# Chance that any change of a run that persons made is called where none did anything (common practice, no source).
# Somebody asked this question: it does not share the chance of those that are asked of every run.
CALLED_P = 0.05
# The same for what the line did by itself, of which nobody asked.
BY_ITSELF = ("stop", "change of speed")
# Wire after a change over which both states may be in the wire [m], where the line sheet gives no `purge_m` (common
# practice, no source).
MIXED_M = 60.0
WALL, CENTRE = "mean_wall_mm", "eccentricity_mm"


@dataclass(frozen=True, slots=True)
class Announcement:
    """Something that was changed, as it was announced.

    Args:
        at_m: metre of wire at the die then [m].
        what: ``insulation compound lot``, ``bolts``, ``stop`` or ``change of speed``.
        named: which one: the lot's number, the bolts with their turns; "" for a stop or a speed.
    """

    at_m: float
    what: str
    named: str = ""


def announcements(bench: Bench) -> tuple[Announcement, ...]:
    """What was changed within the run, in the order of the wire."""
    found = [
        Announcement(one.from_m, f"{one.material} lot", one.lot)
        for one in bench.run.lots
        if one.from_m is not None
    ]
    for turned in bench.run.bolts_turned:
        named = ", ".join(f"{bolt} {turns:+g}" for bolt, turns in turned.turns.items())
        found.append(Announcement(turned.at_m, "bolts", named))
    kinds = {PHASE_NAMES[STOP]: "stop", PHASE_NAMES[SPEED_CHANGE]: "change of speed"}
    found += [
        Announcement(row["from_m"], kinds[row["phase"]])
        for row in bench.placed.placement.phases.iter_rows(named=True)
        if row["phase"] in kinds
    ]
    first, last = bench.placed.reels[0].from_m, bench.placed.reels[-1].to_m
    return tuple(sorted((one for one in found if first < one.at_m < last), key=lambda one: one.at_m))


def announced_answers(bench: Bench, from_m: float, to_m: float) -> list[Result | Refused]:
    """What the wall and the centre did where something was announced."""
    wall, centre = bench.measured.seen.get(WALL), bench.measured.seen.get(CENTRE)
    parts: tuple[Floats, Floats] | None = None
    if centre is not None:
        frame = bench.measured.frame
        rows = np.searchsorted(frame["row"].to_numpy(), centre.row)
        found = [
            section_averages(
                replace(centre, value=frame[name].cast(pl.Float64).to_numpy()[rows]), from_m, to_m
            )
            for name in ("ecc_cos_mm", "ecc_sin_mm")
        ]
        parts = np.column_stack([averages for averages, _ in found]), found[0][1]
    return _answers(bench, None if wall is None else section_averages(wall, from_m, to_m), parts)


def _answers(
    bench: Bench, wall: tuple[Floats, Floats] | None, centre: tuple[Floats, Floats] | None
) -> list[Result | Refused]:
    """Each announced change with what the wall and the centre did there.

    Args:
        bench: the run.
        wall: averages of the mean wall over stretches, and the middle of each [m]; None where it is not read.
        centre: the same of both parts of the offset, a column each.
    """
    places = announcements(bench)
    channels = [(name, found) for name, found in ((WALL, wall), (CENTRE, centre)) if found is not None]
    alone = sum(one.what in BY_ITSELF for one in places)
    tests = {True: alone * len(channels), False: (len(places) - alone) * len(channels)}
    mixed = bench.line.purge_m or MIXED_M
    answers: list[Result | Refused] = []
    for name, (averages, middle) in channels:
        for number, one in enumerate(places):
            # Between the neighbouring announcements, so that no other change is taken for this one.
            low = places[number - 1].at_m + mixed if number else -math.inf
            high = places[number + 1].at_m if number + 1 < len(places) else math.inf
            near = (middle >= low) & (middle < high)
            question = asks(
                Quantity.ANNOUNCED_CHANGE,
                f"{name}: {one.what} {one.named}".rstrip(),
                channel=name,
                what=one.what,
                **({"named": one.named} if one.named else {}),
            )
            found = announced_change(averages[near], middle[near], one.at_m, mixed)
            answers.append(
                Refused(question, found.method, found.reason, found.n)
                if isinstance(found, Refused)
                else _result(question, found, tests[one.what in BY_ITSELF], one, mixed)
            )
    return answers


def _result(
    question: Asked, found: AnnouncedChange, tests: int, made: Announcement, mixed_m: float
) -> Result:
    """The change as a result; of the centre its size, whose interval may not go below nothing."""
    paid = -math.expm1(tests * math.log1p(-min(found.p_value, 1 - 1e-16)))
    moved = np.subtract(found.after, found.before)
    size = float(moved[0]) if moved.size == 1 else float(np.hypot(*moved))
    half = max(found.half)
    low = size - half if moved.size == 1 else max(size - half, 0.0)
    shows = paid < (WANDER_P if made.what in BY_ITSELF else CALLED_P)
    told = message(
        Note.ANNOUNCED_CHANGE_SHOWS if shows else Note.ANNOUNCED_CHANGE_HIDDEN,
        at=Place(made.at_m),
        p=paid,
        tests=tests,
    )
    details = {"p_value": paid, "shows": float(shows), "at_m": made.at_m, "mixed_m": mixed_m}
    if moved.size == 2:
        details |= {"moved_cos": float(moved[0]), "moved_sin": float(moved[1])}
    return Result(
        question=question,
        estimate=size,
        low=low,
        high=size + half,
        confidence=0.95,
        unit="mm",
        method=message(Method.TWO_LEVELS),
        n=found.n,
        effective_n=None,
        known_m=None,
        unit_of_inference="section average",
        warnings=(told,),
        details=details,
    )
