"""What can go wrong on a line, as data: each trouble says where on the wire it is and how large.

Positions are metres of wire by the line's own length counter, counted through any reset, from the first metre
made. Angles are from the first wall sensor, in its counting direction.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class ThinAllRound:
    """The whole wall is `depth_mm` thinner over `length_m` from `at_m`, with smooth ends."""

    at_m: float
    length_m: float
    depth_mm: float


@dataclass(frozen=True, slots=True)
class ThinOneSide:
    """The wall is `depth_mm` thinner on the side at `angle_deg` and as much thicker opposite."""

    at_m: float
    length_m: float
    depth_mm: float
    angle_deg: float


@dataclass(frozen=True, slots=True)
class CentreDrift:
    """The conductor's centre moves steadily from `from_m` on, by `size_mm` at `to_m`, and stays there."""

    from_m: float
    to_m: float
    size_mm: float
    angle_deg: float


@dataclass(frozen=True, slots=True)
class StopMark:
    """What each stop leaves on the wire at the die: a neck of `depth_mm` over `length_m` from the stop on."""

    length_m: float
    depth_mm: float


@dataclass(frozen=True, slots=True)
class SparkFaults:
    """Faults that break down in the spark tester.

    Args:
        pattern: how they lie on the wire, for the truth.
        at_m: their places on the wire [m].
        counts: how often the tester counts each of them while it is inside the electrode.
    """

    pattern: Literal["single", "random", "burst", "repeating"]
    at_m: tuple[float, ...]
    counts: int = 1


@dataclass(frozen=True, slots=True)
class SurfaceFlaws:
    """Flaws the surface vision reports: place [m], size [mm] and class of each."""

    at_m: tuple[float, ...]
    size_mm: tuple[float, ...]
    flaw_class: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class DropOut:
    """The named instrument gives nothing while the wire from `from_m` to `to_m` passes it."""

    instrument: str
    from_m: float
    to_m: float


@dataclass(frozen=True, slots=True)
class Stuck:
    """The named channel repeats one value while the wire from `from_m` to `to_m` passes its instrument."""

    channel: str
    from_m: float
    to_m: float


@dataclass(frozen=True, slots=True)
class Spikes:
    """Single readings of the named channel that are off by `size_mm` although the wire is sound."""

    channel: str
    at_m: tuple[float, ...]
    size_mm: float


@dataclass(frozen=True, slots=True)
class EncoderReset:
    """The length counter falls to zero and starts again when it stood at `at_m`."""

    at_m: float


@dataclass(frozen=True, slots=True)
class EncoderSlip:
    """The counter's wheel slips from `from_m` to `to_m` and misses `lost_m` of them."""

    from_m: float
    to_m: float
    lost_m: float


@dataclass(frozen=True, slots=True)
class WrongUnit:
    """The run sheet says one unit for the walls and the log's figures are in another."""

    written_in: str
    mapped_as: str


@dataclass(frozen=True, slots=True)
class BoltTurn:
    """A centring bolt is turned when the counter stands at `at_m`, and the die moves with it from there on.

    Args:
        at_m: where [m].
        bolt: its id on the line sheet.
        turns: how far; in is positive.
        um_per_turn: what a turn truly does [um]; the line sheet may not know.
        settle_m: length in which the wall follows to 63 % [m].
    """

    at_m: float
    bolt: str
    turns: float
    um_per_turn: float
    settle_m: float


@dataclass(frozen=True, slots=True)
class ScrewStep:
    """The screw turns faster by `share` from `from_m` to `to_m`; the wall follows `late_m` further on.

    The plastic's area grows by the same share (conservation of mass), over about two metres.
    """

    from_m: float
    to_m: float
    share: float
    late_m: float


@dataclass(frozen=True, slots=True)
class ColdStart:
    """The line starts again with the melt too cold, and the wall takes the longer to settle.

    Args:
        stop: after which stop, counted from 1.
        colder_c: how much colder the melt is when the wire moves [deg C]; it is gone to 37 % after 100 s.
        thick_mm: how much the wall is too thick at first [mm].
        offset_mm: how far off centre the conductor is at first [mm].
        angle_deg: direction of its thin side from the first wall sensor [deg].
        settle_m: length in which both are gone to 37 % [m].
    """

    stop: int
    colder_c: float
    thick_mm: float
    offset_mm: float
    angle_deg: float
    settle_m: float


WireTrouble = ThinAllRound | ThinOneSide | CentreDrift | StopMark | ColdStart
Adjusted = BoltTurn | ScrewStep
EventTrouble = SparkFaults | SurfaceFlaws
LogTrouble = DropOut | Stuck | Spikes | EncoderReset | EncoderSlip | WrongUnit
Trouble = WireTrouble | Adjusted | EventTrouble | LogTrouble
