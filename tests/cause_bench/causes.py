"""What is planted: one cause a run, as a change of the wire, of the log and of the sheets, at sizes from nothing on.

Sizes are in units of a reel's mean (tests/cause_bench/lines.py), of the wall or of the centre; spark faults are
counted.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from tests.cause_bench.lines import REELS, Place
from tests.other_lines.edits import Edit
from tests.other_lines.running import MadeRun
from tests.other_lines.wire import Wire
from tests.other_lines.writing import Log

Floats = NDArray[np.float64]
Claim = tuple[str, str]
CHANCE_FAULTS = 12
"""Spark faults that lie anywhere on every run with a roll's faults."""


@dataclass(frozen=True)
class Planted:
    """A cause at a size on a line.

    Args:
        wire: what becomes of the wire, from the time at which each place was at the die [s].
        edit: what becomes of the log.
        run_text: more of the run sheet.
        named: claims that name it rightly.
        met: kinds of claims that say that there is something of its kind.
    """

    wire: Callable[[Wire, Floats], Wire] | None = None
    edit: Edit | None = None
    run_text: str = ""
    named: frozenset[Claim] = field(default_factory=frozenset)
    met: frozenset[str] = field(default_factory=frozenset)


Maker = Callable[[Place, float, np.random.Generator], Planted]


def _first_m(place: Place) -> float:
    """Metre of wire at which the first reel begins, as `tests.other_lines.running.run_of` places it."""
    speed = place.line.speed_m_s
    return max(90.0, 38.0 * speed if speed > 5 else 90.0)


def _at_reel(place: Place, reels: float) -> float:
    """Metre of wire after so many reels."""
    return _first_m(place) + reels * place.reel_m


def _counter(place: Place, at_m: float) -> float:
    """The take-up's counter when that metre of wire came from the die."""
    return place.line.counter_start_m + at_m


def _wall(wire: Wire, more_mm: Floats) -> Wire:
    return replace(wire, mean_mm=wire.mean_mm + more_mm)


def nothing(place: Place, size: float, rng: np.random.Generator) -> Planted:
    return Planted()


def swing(name: str) -> Maker:
    """The mean wall swings with the turn of an element: by the wire's length, or of the screw by time."""

    def make(place: Place, size: float, rng: np.random.Generator) -> Planted:
        phase, amplitude = rng.uniform(0.0, 6.0), size * place.wall_unit_mm

        def change(wire: Wire, seconds: Floats) -> Wire:
            turns = seconds / place.screw_s if name == "screw" else wire.at_m / place.turns_m[name]
            return _wall(wire, amplitude * np.sin(2.0 * np.pi * turns + phase))

        return Planted(change, named=frozenset({("period", name)}), met=frozenset({"period", "hunting"}))

    return make


def hunting(place: Place, size: float, rng: np.random.Generator) -> Planted:
    """A control that hunts: a swing of some 40 s in time that loses step after three turns or so."""

    def change(wire: Wire, seconds: Floats) -> Wire:
        step = 0.5
        keep = float(np.exp(-step / 120.0))
        drive = rng.standard_normal(int(seconds[-1] / step) + 400)
        swung = lfilter([1.0], [1.0, -2.0 * keep * np.cos(2.0 * np.pi * step / 40.0), keep**2], drive)[300:]
        swung *= np.sqrt(0.5) / swung.std()
        at = np.interp(seconds, np.arange(swung.size) * step, swung)
        return _wall(wire, size * place.wall_unit_mm * at)

    return Planted(change, named=frozenset({("hunting", "wall")}), met=frozenset({"period", "hunting"}))


def _lot_text(place: Place, at_m: float) -> str:
    counter = _counter(place, at_m)
    return f'[[run.lots]]\nmaterial = "insulation compound"\nlot = "I-second"\nfrom_m = {counter:.2f}\n'


def level(announced: bool) -> Maker:
    """The mean wall is thinner from the middle of the run on, with the compound's lot or without a word."""

    def make(place: Place, size: float, rng: np.random.Generator) -> Planted:
        at = _at_reel(place, rng.uniform(4.2, 7.8))
        lag = rng.uniform(10.0, 80.0) if announced else 0.0

        def change(wire: Wire, seconds: Floats) -> Wire:
            along = wire.at_m - at - lag
            return _wall(wire, -size * place.wall_unit_mm * np.clip(along / 20.0, 0.0, 1.0))

        who = "insulation compound" if announced else ""
        return Planted(
            change,
            run_text=_lot_text(place, at) if announced else "",
            named=frozenset({("wall level", who)}),
            met=frozenset({"wall level", "wall drift"}),
        )

    return make


def centre_from_lot(place: Place, size: float, rng: np.random.Generator) -> Planted:
    """From a change of lot on the centre moves over one reel to another place and stays there."""
    at, angle = _at_reel(place, rng.uniform(3.8, 6.2)), rng.uniform(0.0, 6.3)

    def change(wire: Wire, seconds: Floats) -> Wire:
        along = np.clip((wire.at_m - at) / place.reel_m, 0.0, 1.0)
        moved = size * place.centre_unit_mm * np.exp(1j * angle) * along
        return replace(wire, offset=wire.offset + moved)

    named = frozenset({("centre", "insulation compound")})
    return Planted(change, run_text=_lot_text(place, at), named=named, met=frozenset({"centre"}))


def die_offset(place: Place, size: float, rng: np.random.Generator) -> Planted:
    """The die stands off centre all through the run."""
    angle = rng.uniform(0.0, 360.0)

    def change(wire: Wire, seconds: Floats) -> Wire:
        thick = size * place.centre_unit_mm * np.exp(1j * np.radians(angle))
        return replace(wire, offset=wire.offset + thick)

    thin = round((angle + 180.0) % 360.0, 1)
    return Planted(change, named=frozenset({("die offset", f"{thin}")}), met=frozenset({"die offset"}))


def wear(place: Place, size: float, rng: np.random.Generator) -> Planted:
    """The output falls evenly over the run, by four units in all."""

    def change(wire: Wire, seconds: Floats) -> Wire:
        along = np.clip((wire.at_m - _first_m(place)) / (REELS * place.reel_m), 0.0, 1.0)
        return _wall(wire, -4.0 * size * place.wall_unit_mm * along)

    return Planted(change, named=frozenset({("wall drift", "")}), met=frozenset({"wall drift", "wall level"}))


def melt(place: Place, size: float, rng: np.random.Generator) -> Planted:
    """The melt's temperature is set to and fro by 4 degrees and the wall goes with it."""
    edges = [_at_reel(place, one) for one in (1.9, 4.1, 6.2, 8.3)]

    def stepped(at_m: Floats) -> Floats:
        return 4.0 * np.sum([sign * np.clip((at_m - at) / 15.0, 0.0, 1.0)
                             for at, sign in zip(edges, (1, -1, 1, -1), strict=True)], axis=0)  # fmt: skip

    def change(wire: Wire, seconds: Floats) -> Wire:
        return _wall(wire, -size * place.wall_unit_mm / 4.0 * stepped(wire.at_m))

    def edit(run: MadeRun, log: Log) -> Log:
        noise = np.random.default_rng(3).standard_normal(run.front_m.size) * 0.15
        return log.having(melt_temperature_c=np.round(178.0 + stepped(run.front_m) + noise, 1))

    gain = -1000.0 * size * place.wall_unit_mm / 4.0
    return Planted(
        change, edit, named=frozenset({("melt gain", f"{gain:.4f}")}), met=frozenset({"melt gain"})
    )


def roll_faults(name: str, each: int) -> Maker:
    """Spark faults at one place of an element's turn, so many a unit of size, among some that lie anywhere."""

    def make(place: Place, size: float, rng: np.random.Generator) -> Planted:
        first, last = _at_reel(place, 0.0), _at_reel(place, float(REELS))
        turn, phase = place.turns_m[name], rng.uniform(0.0, 1.0)
        turns = np.arange(np.ceil(first / turn - phase), np.floor(last / turn - phase)) + phase
        locked = rng.choice(turns, min(round(each * size), turns.size), replace=False) * turn
        electrode = place.line.spark.electrode_m

        def change(wire: Wire, seconds: Floats) -> Wire:
            # A mark is a spot of some length, and it fires where in the electrode it happens to.
            marked = (
                locked
                + rng.uniform(-0.5, 0.5, locked.size) * electrode
                + 0.02 * rng.standard_normal(locked.size)
            )
            chance = rng.uniform(first, last, CHANCE_FAULTS)
            return replace(wire, pinholes_m=(*wire.pinholes_m, *marked.tolist(), *chance.tolist()))

        return Planted(change, named=frozenset({("roll faults", name)}), met=frozenset({"roll faults"}))

    return make


@dataclass(frozen=True)
class Cause:
    """A cause by its name, whose maker plants it; what a size of 1 is, and the sizes tried."""

    name: str
    make: Maker
    unit: str = "reel's mean"
    sizes: tuple[float, ...] = (0.0, 0.5, 1.0, 2.0, 5.0)


CAUSES: Mapping[str, Cause] = {
    one.name: one
    for one in (
        Cause("nothing", nothing, sizes=(0.0,)),
        Cause("capstan swing", swing("capstan")),
        Cause("roll swing", swing("roll-A")),
        Cause("screw swing", swing("screw")),
        Cause("hunting", hunting),
        Cause("lot step", level(True)),
        Cause("unannounced step", level(False)),
        Cause("centre from lot", centre_from_lot),
        Cause("die offset", die_offset),
        Cause("output wear", wear),
        Cause("melt gain", melt),
        Cause("roll faults", roll_faults("roll-B", 10), "ten faults"),
        Cause("short roll faults", roll_faults("roll-C", 100), "hundred faults"),
    )
}
