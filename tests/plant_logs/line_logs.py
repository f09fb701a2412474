"""Logs of four more invented lines: other physics, noise, layout, units and names than `tests.other_lines`.

The centre walks and sags, the die wears, the melt pulses, the line slows at each change of reel. Noise is
autoregressive, heavy tailed or wanders, each sensor has a bias that lasts, and the log has steps. Nothing is a plant's.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

Floats = NDArray[np.float64]
MIL = 0.0254
AXES = ("diameter_x_mm", "diameter_y_mm")


@dataclass(frozen=True)
class Wire:
    """A product [mm]; walls by NFPA 70 (2023), Table 310.4(1), conductors from memory, only to make wire."""

    construction: str
    size: str
    make: str
    bare: float
    average: float
    point: float
    sets: str
    types: str
    own_point: bool = False
    covering: float = 0.0


W12 = Wire("XHHW-2", "12 AWG", "solid", 2.053, 30 * MIL, 27 * MIL, "UL 44", '"XHHW-2"')
W8 = Wire("XHHW-2", "8 AWG", "compressed", 3.58, 45 * MIL, 40 * MIL, "UL 44", '"XHHW-2"')
W20 = Wire("XHHW-2", "2/0 AWG", "compressed", 10.30, 55 * MIL, 50 * MIL, "UL 44", '"XHHW-2"', True)
T12 = Wire(
    "THHN/THWN-2", "12 AWG", "solid", 2.053, 15 * MIL, 13 * MIL, "UL 83", '"THHN", "THWN-2"', covering=4 * MIL
)


@dataclass(frozen=True)
class Lay:
    """A line: its wire, where gauges stand [m from the die], their uncertainty [mm], and how its logger writes."""

    id: str
    wire: Wire
    sensors: int
    speed: float
    every: float
    stations: dict[str, float]
    u: dict[str, float]
    wall_unit: tuple[str, float, int]
    unit: tuple[str, float, int] = ("mm", 1.0, 3)
    spot: bool = False
    axes: int = 2
    hz: float | None = 3000.0
    delim: str = ","
    comma: bool = False
    epoch: bool = False
    lobes: float | None = None
    rows: int = 500

    def step(self, name: str) -> tuple[str, float, int]:
        """Unit of a channel in the log, how many of ours it is, and its digits."""
        if name.startswith("wall"):
            return self.wall_unit
        plain = {
            "counter_m": ("m", 1.0, 2),
            "line_speed_m_s": ("m/min", 1 / 60, 3),
            "spark_kv": ("kV", 1.0, 2),
        }
        return plain.get(name, self.unit)


def _at(ring: float, cold: float, spark: float, enc: float, end: float, **more: float) -> dict[str, float]:
    named = {
        "wall gauge": ring,
        "cold diameter gauge": cold,
        "spark tester": spark,
        "encoder": enc,
        "end": end,
    }
    return named | {name.replace("_", " "): value for name, value in more.items()}


def _u(ring: float, cold: float) -> dict[str, float]:
    return {
        "wall gauge": ring,
        "cold diameter gauge": cold,
        "conductor gauge": 0.003,
        "hot diameter gauge": 0.008,
    }


LAYS = {one.id: one for one in (
    Lay("A4", W12, 4, 6.0, 0.1, _at(31, 33.5, 52, 60, 71, conductor_gauge=-6), _u(0.004, 0.003), ("mil", MIL, 1),
        ("in", 25.4, 5), lobes=0.008),
    Lay("B6", W8, 6, 1.6, 0.5, _at(18, 20, 26, -8, 33, hot_diameter_gauge=1.1), _u(0.006, 0.005), ("um", 0.001, 0),
        spot=True, axes=1, hz=None, delim=";", comma=True),
    Lay("C8", W20, 8, 0.9, 1.0, _at(44, 41, 57, 63, 70, hot_diameter_gauge=1.6, conductor_gauge=-3), _u(0.007, 0.006),
        ("mm", 1.0, 3), hz=60.0, epoch=True),
    Lay("E8", T12, 8, 9.0, 0.1, _at(24, 26, 39, 44, 55, hot_diameter_gauge=1.3, conductor_gauge=-5), _u(0.003, 0.003),
        ("mil", MIL, 1), ("in", 25.4, 5)),
)}  # fmt: skip


@dataclass(frozen=True)
class Run:
    """A run: rows by time, channels in mm, m, m/s and kV, reels with what must become of each, and where it is bad."""

    lay: Lay
    seed: int
    t: Floats
    front: Floats
    cols: dict[str, Floats]
    reels: tuple[tuple[str, float, float], ...]
    must: dict[str, str]
    bad_m: tuple[float, float]
    cover: float = 0.0

    @property
    def walls(self) -> list[str]:
        return [name for name in self.cols if name.startswith("wall")]

    @property
    def gauges(self) -> list[str]:
        return [name for name in self.cols if name.endswith("_mm")]

    @property
    def bad_rows(self) -> slice:
        """Rows at which the bad wire passed the gauges."""
        at = [self.lay.stations[name] for name in ("wall gauge", "cold diameter gauge")]
        low, high = np.searchsorted(self.front, [self.bad_m[0] + min(at), self.bad_m[1] + max(at)])
        return slice(int(low) - 4, int(high) + 4)

    @property
    def worst(self) -> int:
        """The sensor that reads thinnest on the bad wire."""
        return int(np.argmin([self.cols[name][self.bad_rows].mean() for name in self.walls]))

    def having(self, **cols: Floats) -> Run:
        return replace(self, cols={**self.cols, **cols})


def _ou(rng: np.random.Generator, n: int, memory: float) -> Floats:
    keep = np.exp(-1.0 / max(memory, 1.0))
    return np.asarray(lfilter([np.sqrt(1 - keep * keep)], [1.0, -keep], rng.standard_normal(n + 300))[300:])


def noise(rng: np.random.Generator, n: int, law: int) -> Floats:
    """Noise of unit variance: autoregressive, heavy tailed, or that with a slow part."""
    white = rng.standard_t(5, n) / np.sqrt(5 / 3)
    slow = 0.8 * white + 0.6 * _ou(rng, n, 40.0)
    return (np.asarray(lfilter([np.sqrt(0.75)], [1.0, -0.5], rng.standard_normal(n))), white, slow)[law % 3]


def _ride(lay: Lay, ends: list[float], rng: np.random.Generator) -> tuple[Floats, float]:
    """Wire made at a third of each interval [m]: a start in two steps, hunting, slow at each change of reel."""
    dt, v, made, out = lay.every / 3, 0.0, 0.0, [0.0]
    while made < ends[-1] + 8 * lay.speed:
        slow = any(0 <= made - one < 5 * lay.speed for one in ends)
        aim = lay.speed * (0.5 if len(out) * dt < 8 else 0.55 if slow else 1.0)
        v += float(np.clip(aim - v, -0.25 * lay.speed * dt, 0.12 * lay.speed * dt))
        made += v * dt * (1 + 0.004 * np.sin(len(out) * dt / 2.3) + 0.002 * rng.standard_normal())
        out.append(made)
    return np.array(out), dt


def _section(bare: Floats, mean: Floats, off: NDArray[np.complex128], oval: Floats, angle: float) -> Floats:
    """Wall at an angle round a conductor that is off centre in an outside that is not quite round."""
    outer, turned = bare / 2 + mean, off * np.exp(-1j * angle)
    gap = np.sqrt(outer**2 - turned.imag**2) + turned.real - bare / 2
    return np.asarray(gap + (oval * np.exp(-2j * angle)).real, dtype=np.float64)


def made(lay: Lay, seed: int, defect: str = "") -> Run:
    """A run of three reels, the second with wire that is "thin", "off" centre or "short" and off centre, or sound."""
    rng = np.random.default_rng((seed, sum(map(ord, lay.id))))
    w, reel, end = lay.wire, lay.rows * lay.every * lay.speed, lay.stations["end"]
    first = end + 22 * lay.speed + 60.0
    ends = [first + k * reel for k in range(4)]
    fine, dt = _ride(lay, ends, rng)
    t, front, grid = np.arange(fine.size)[::3] * dt, fine[::3], lay.speed * lay.every / 4
    x = np.arange(int(front[-1] / grid) + 8) * grid
    n, when = x.size, np.interp(x, fine, np.arange(fine.size) * dt)
    pace = np.clip(np.gradient(x, when + 1e-9 * x) / lay.speed, 0.3, 1.0)
    bare = w.bare * (1 + 0.0006 * _ou(rng, n, 40 / grid) + 0.0004 * np.sin(2 * np.pi * x / 1.73))
    target = w.average * 1.15 + 0.02
    pulse = 0.002 * np.sin(2 * np.pi * when * np.sqrt(lay.speed) / 3.7)
    mean = target * (1 + 0.005 * _ou(rng, n, 90 / grid) + pulse + 0.004 * x / x[-1] + 0.05 * (1 - pace))
    walk = np.cumsum(rng.standard_normal(n) + 1j * rng.standard_normal(n)) / np.sqrt(n)
    off = target * (0.03 * np.exp(1j * rng.uniform(0, 6)) + 0.012 * walk - 0.012j * (1.2 - pace))
    oval = 0.0022 * np.exp(1j * (rng.uniform(0, 6) + 0.5 * x / x[-1])) * (1 + 0.2 * _ou(rng, n, 60 / grid))
    cover = w.covering * 1.25 * (1 + 0.01 * _ou(rng, n, 120 / grid))
    u = float(np.hypot(lay.u["wall gauge"], 0.004 if w.covering else 0.0))
    share = (0.55, 0.55 + 8 / lay.rows) if defect == "short" else (0.3, 0.7)
    bad_m = (ends[1] - end + share[0] * reel, ends[1] - end + share[1] * reel)
    here = (x >= bad_m[0]) & (x < bad_m[1])
    if defect == "thin":
        mean = mean - here * (target - w.average + 10 * u)
    elif defect:
        off = off + here * (1.04 * target - w.point + 10 * u) * np.exp(1j * rng.uniform(0, 6))

    def see(values: Floats, station: float) -> Floats:
        at, half = np.abs(front - station) + 0.5, np.maximum(np.gradient(front, t) * lay.every, grid) / 2
        summed, edge = np.concatenate(([0.0], np.cumsum(values) * grid)), (np.arange(n + 1) - 0.5) * grid
        mean_of = (np.interp(at + half, edge, summed) - np.interp(at - half, edge, summed)) / (2 * half)
        return np.interp(at, x, values) if lay.spot else mean_of

    cols = {
        "counter_m": front,
        "line_speed_m_s": np.gradient(front, t) * (1 + 0.001 * rng.standard_normal(t.size)),
    }

    def read(name: str, gauge: str, values: Floats, law: int) -> None:
        if gauge in lay.stations:
            bias = 0.3 * rng.standard_normal()
            cols[name] = see(values, lay.stations[gauge]) + lay.u[gauge] * (
                bias + 0.85 * noise(rng, t.size, law)
            )

    def across(angle: float) -> Floats:
        return bare + sum(_section(bare, mean, off, oval, one) for one in (angle, angle + np.pi)) + 2 * cover

    read("conductor_mm", "conductor gauge", bare, 1)
    read("hot_diameter_mm", "hot diameter gauge", np.sqrt(bare**2 + (across(0.7) ** 2 - bare**2) * 1.08), 2)
    for k in range(lay.sensors):
        wall = _section(bare, mean, off, oval, 2 * np.pi * k / lay.sensors)
        read(f"wall_{k + 1}_mm", "wall gauge", wall + cover, seed + k)
    for k, name in enumerate(AXES[: lay.axes]):
        read(name, "cold diameter gauge", across(np.pi / 4 + k * np.pi / 2), seed + 1)
    cols["spark_kv"] = 8.0 + 0.03 * _ou(rng, t.size, 5)
    reels = tuple((f"{lay.id}.{seed}.{k + 1}", ends[k], ends[k + 1]) for k in range(3))
    must = {name: "hold" if defect and k == 1 else "release" for k, (name, _, _) in enumerate(reels)}
    return Run(lay, seed, t, front, cols, reels, must, bad_m, float(cover.mean()))
