"""Which wire is on which reel? Take-up changes carried from the counter to the wire.

When the take-up changes at counter x, the wire then crossing over was at the die at x - d, with d the length
of wire from die to take-up. Cutting by the time of the change instead puts d metres of wire on the wrong
reel: 85 m of 1500 m in the worked case of a wall gauge 20 m, and a take-up 105 m, down the line.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from pipeline.errors import Complaint, SheetError
from pipeline.length.reel_places import from_other_end, place_on_reel
from pipeline.messages import Measure, Place, message
from pipeline.sheets.line_sheet import LineSheet
from pipeline.sheets.run_sheet import Reel
from pipeline.why import Unplaced

# A run sheet's reel ends are written by hand from the counter's display (common practice, no source).
WRITTEN_TO_M = 1.0
# Counter and line speed agree within this share, as the two are calibrated (chosen here).
SCALE_AGREES = 0.01


@dataclass(frozen=True, slots=True)
class PlacedReel:
    """A reel's wire.

    Args:
        id: the reel.
        from_m: first metre of its wire [m]; it was wound first and lies at the core.
        to_m: last metre of its wire [m]; it lies outside and comes off first.
        counter_from_m: repaired counter at the take-up change that began the reel [m].
        counter_to_m: repaired counter at the change that ended it [m].
        end_unsure_m: half-range of where the ends lie [m]: an accumulator of unknown content, counters that disagree,
            a change that the line slowed for elsewhere. Wire within it counts as being on both reels.
    """

    id: str
    from_m: float
    to_m: float
    counter_from_m: float
    counter_to_m: float
    end_unsure_m: float = 0.0

    @property
    def length_m(self) -> float:
        """Length of wire on the reel [m]."""
        return self.to_m - self.from_m

    @property
    def may_from_m(self) -> float:
        """First metre of wire that is, or may be, on the reel [m]."""
        return self.from_m - self.end_unsure_m

    @property
    def may_to_m(self) -> float:
        """Last metre of wire that is, or may be, on the reel [m]."""
        return self.to_m + self.end_unsure_m

    def from_outer_end_m(self, wire_m: float) -> float:
        """Distance of wire coordinate `wire_m` [m] from the reel's outer end [m], as it is paid off."""
        return place_on_reel(wire_m, self.to_m)

    def from_core_m(self, wire_m: float) -> float:
        """Distance of wire coordinate `wire_m` [m] from the reel's inner end [m]."""
        return from_other_end(self.from_outer_end_m(wire_m), self.length_m)

    def holds(self, wire_m: float) -> bool:
        """Whether the wire at `wire_m` [m] is, or may be, on this reel."""
        return self.may_from_m <= wire_m < self.may_to_m


@dataclass(frozen=True, slots=True)
class LooseWire:
    """Wire of the run that is on no reel.

    Args:
        from_m: its first metre [m].
        to_m: its last metre [m].
        what: 'before the first reel', 'between reels', 'after the last reel' or 'still in the line'.
    """

    from_m: float
    to_m: float
    what: str


def reels_on_counter(reels: Sequence[Reel], reel_ends: str, line: LineSheet) -> tuple[Reel, ...]:
    """The reels of a run sheet with their ends on the length counter at the take-up's changes.

    Args:
        reels: as the run sheet gives them.
        reel_ends: 'counter', or 'wire' where the ends are metres of wire.
        line: the line's sheet.
    """
    if reel_ends == "counter":
        return tuple(reels)
    path = line.take_up_station_m
    return tuple(
        one.model_copy(update={"from_m": one.from_m + path, "to_m": one.to_m + path}) for one in reels
    )


def place_reels(
    reels: tuple[Reel, ...],
    line: LineSheet,
    made_m: float,
    start_m: float = 0.0,
    accumulator_unsure_m: float = 0.0,
) -> tuple[PlacedReel, ...]:
    """The wire on each reel: from_m - d to to_m - d, with d the line's length from die to take-up.

    Args:
        reels: reels of the run sheet, on the repaired counter.
        line: the line's sheet.
        made_m: repaired counter at the end of the run [m].
        start_m: repaired counter at the start of the run [m].
        accumulator_unsure_m: half-range of the wire held in an accumulator at a change [m]; 0 where it is
            measured and taken up in the sheet.

    Returns:
        The reels in the order of the wire. Wire before `start_m` on a first reel was made before the log
        began: it is on the reel and has no evidence.

    Raises:
        SheetError: a reel lies outside the run, overlaps another, or took up no wire of this run.
    """
    path = line.take_up_station_m
    complaints = [one for reel in reels for one in _complaints(reel, made_m, start_m)]
    if reels and made_m - start_m < path:
        complaints.append(
            Complaint(
                f"line {line.id}",
                message(
                    Unplaced.NO_REEL_REACHED, made=Measure(made_m - start_m, "m"), path=Measure(path, "m")
                ),
                message(Unplaced.CORRECT_STATION),
            )
        )
    ordered = sorted(reels, key=lambda reel: reel.from_m)
    for before, after in pairwise(ordered):
        if after.from_m < before.to_m:
            complaints.append(
                Complaint(
                    f"reel {after.id}",
                    message(
                        Unplaced.REELS_OVERLAP,
                        start=Place(after.from_m),
                        before=before.id,
                        end=Place(before.to_m),
                    ),
                    message(Unplaced.ONE_WIRE),
                )
            )
    if complaints:
        raise SheetError(complaints)
    return tuple(
        PlacedReel(
            reel.id, reel.from_m - path, reel.to_m - path, reel.from_m, reel.to_m, accumulator_unsure_m
        )
        for reel in ordered
    )


def unsure_by_scale(
    reels: Sequence[PlacedReel], scale: float, start_m: float, made_m: float
) -> tuple[PlacedReel, ...]:
    """The reels with ends as unsure as counter and line speed disagree about the wire before them.

    A change written down from another counter than the log's then lies elsewhere on it: by its share of the wire since
    the run's start, or since both counters stood at nought, as far as the run has wire for it (derived).

    Args:
        reels: the reels.
        scale: counter length per length by line speed.
        start_m: repaired counter at the start of the run [m].
        made_m: repaired counter at its end [m].
    """
    apart = abs(scale - 1.0)
    if apart <= SCALE_AGREES or not reels:
        return tuple(reels)
    # A counter that is long has the changes further on, one that is short further back, and all of them in the run.
    room = made_m - max(one.counter_to_m for one in reels)
    if scale < 1.0:
        room = min(one.counter_from_m for one in reels) - start_m

    def unsure(to_m: float) -> float:
        return max(apart * (to_m - start_m), min(apart * to_m, room))

    return tuple(replace(one, end_unsure_m=one.end_unsure_m + unsure(one.counter_to_m)) for one in reels)


def _complaints(reel: Reel, made_m: float, start_m: float) -> list[Complaint]:
    where = f"reel {reel.id}"
    if reel.from_m > made_m + WRITTEN_TO_M:
        found = message(Unplaced.STARTS_AFTER, at=Place(reel.from_m))
    elif reel.to_m > made_m + WRITTEN_TO_M:
        found = message(Unplaced.ENDS_AFTER, at=Place(reel.to_m))
    elif reel.from_m < start_m - WRITTEN_TO_M:
        found = message(Unplaced.STARTS_BEFORE, at=Place(reel.from_m))
    else:
        return []
    return [Complaint(where, found, message(Unplaced.COUNTER_GOES, start=Place(start_m), end=Place(made_m)))]


def loose_wire(
    placed: tuple[PlacedReel, ...], line: LineSheet, made_m: float, start_m: float = 0.0
) -> tuple[LooseWire, ...]:
    """Wire of the run that is on no reel: scrap, gaps between reels, and what is still in the line.

    Args:
        placed: the run's reels in the order of the wire.
        line: the line's sheet.
        made_m: repaired counter at the end of the run [m].
        start_m: repaired counter at the start of the run [m].

    Returns:
        The stretches in the order of the wire; with the reels they cover the run's wire exactly.
    """
    reached = max(start_m, made_m - line.take_up_station_m)
    loose: list[LooseWire] = []
    at = start_m
    for number, reel in enumerate(placed):
        if reel.from_m > at:
            loose.append(LooseWire(at, reel.from_m, "between reels" if number else "before the first reel"))
        at = max(at, reel.to_m)
    if reached > at:
        loose.append(LooseWire(at, reached, "after the last reel" if placed else "before the first reel"))
        at = reached
    if made_m > at:
        loose.append(LooseWire(at, made_m, "still in the line"))
    return tuple(loose)
