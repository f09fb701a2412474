"""Five invented lines that differ in stations, layout, instruments, noise, units and clocks; no figure is a plant's."""

from __future__ import annotations

from dataclasses import dataclass

from tests.other_lines import noise
from tests.other_lines.noise import Law


@dataclass(frozen=True)
class Gauge:
    """A gauge: where it stands [m from the die], its standard uncertainty [mm], its law and its step [mm]."""

    station_m: float
    u_mm: float
    law: Law = noise.gaussian
    step_mm: float = 0.001
    axes: int = 1


@dataclass(frozen=True)
class Ring(Gauge):
    """A ring of wall sensors; `lobes_mm` is what the line sheet says of lobes that few sensors cannot see."""

    sensors: int = 8
    first_deg: float = 0.0
    both: bool = False
    lobes_mm: float | None = None


@dataclass(frozen=True)
class Spark:
    """A spark tester; direct voltage where `hz` is None."""

    station_m: float
    electrode_m: float
    hz: float | None
    kv: float


@dataclass(frozen=True)
class OtherLine:
    """A line: what stands where, how it runs, and how its logger writes.

    `surge` is the screw's swing of the mean wall as a share, with its period [s]; `ripple` the conductor's, locked to
    a roll, with its circumference [m]; `wander` the mean wall's slow wander as a share, with its memory [m]; `offset`
    the centre's [share of the wall] with its own wander.
    """

    id: str
    imperial: bool
    encoder_m: float
    take_up_m: float
    speed_m_s: float
    interval_s: float
    ramp: str
    counter_step_m: float
    ring: Ring | None
    cold: Gauge
    spark: Spark
    conductor: Gauge | None = None
    hot: Gauge | None = None
    accumulator_m: float = 0.0
    counter_start_m: float = 0.0
    slip_m: float = 0.0
    surge: tuple[float, float] = (0.002, 2.0)
    ripple: tuple[float, float] = (0.0004, 2.0)
    wander: tuple[float, float] = (0.006, 120.0)
    offset: tuple[float, float] = (0.03, 0.01)
    delimiter: str = ","
    decimal: str = "."
    clock: str = "iso"
    melt: bool = True


Q = OtherLine(
    id="Q2", imperial=True, encoder_m=30.0, take_up_m=34.0, speed_m_s=4.0, interval_s=0.2, ramp="smooth",
    counter_step_m=0.3048,
    ring=Ring(21.5, 0.0035, noise.autoregressive, 0.000254, sensors=8, both=True),
    cold=Gauge(23.0, 0.0025, noise.heavy, 0.000254, axes=2),
    hot=Gauge(0.9, 0.005, noise.laplace, 0.00254),
    spark=Spark(27.5, 1.4, 60.0, 6.5),
    surge=(0.003, 1.7), ripple=(0.0003, 2.61),
)  # fmt: skip
K = OtherLine(
    id="K7", imperial=False, encoder_m=88.0, take_up_m=96.0, speed_m_s=0.7, interval_s=1.0, ramp="linear",
    counter_step_m=0.01, counter_start_m=3120.0, accumulator_m=4.0,
    ring=Ring(71.0, 0.008, noise.heavy, 0.001, sensors=6, first_deg=30.0),
    cold=Gauge(74.0, 0.006, noise.wandering, 0.001, axes=1),
    conductor=Gauge(-4.5, 0.004, noise.gaussian, 0.001),
    spark=Spark(80.0, 0.25, None, 12.0),
    surge=(0.002, 6.0), wander=(0.004, 60.0), offset=(0.025, 0.008),
    delimiter=";", decimal=",", clock="epoch ms",
)  # fmt: skip
N = OtherLine(
    id="N5", imperial=False, encoder_m=121.0, take_up_m=130.0, speed_m_s=11.0, interval_s=0.05, ramp="exponential",
    counter_step_m=0.1, slip_m=0.4,
    ring=Ring(64.0, 0.003, noise.drifting, 0.002, sensors=4, first_deg=45.0, lobes_mm=0.006),
    cold=Gauge(66.5, 0.003, noise.gaussian, 0.002, axes=2),
    hot=Gauge(2.2, 0.006, noise.wandering, 0.002),
    conductor=Gauge(-11.0, 0.002, noise.laplace, 0.001),
    spark=Spark(101.0, 0.5, 3000.0, 5.5),
    surge=(0.002, 0.8), ripple=(0.0005, 3.3), wander=(0.004, 300.0),
    clock="utc",
)  # fmt: skip
T = OtherLine(
    id="T1", imperial=True, encoder_m=12.0, take_up_m=41.0, speed_m_s=2.5, interval_s=0.25, ramp="linear",
    counter_step_m=0.03048,
    ring=Ring(18.0, 0.004, noise.wandering, 0.000254, sensors=8, first_deg=11.25),
    cold=Gauge(16.5, 0.003, noise.autoregressive, 0.000254, axes=2),
    conductor=Gauge(-2.0, 0.003, noise.heavy, 0.000254),
    spark=Spark(35.0, 0.61, 50.0, 8.0),
    surge=(0.003, 3.1), ripple=(0.0004, 1.9), wander=(0.005, 80.0), offset=(0.035, 0.012),
    clock="local",
)  # fmt: skip
D = OtherLine(
    id="D1", imperial=False, encoder_m=20.0, take_up_m=26.0, speed_m_s=2.0, interval_s=0.25, ramp="smooth",
    counter_step_m=0.05, ring=None,
    cold=Gauge(14.0, 0.003, noise.gaussian, 0.001, axes=2),
    conductor=Gauge(-3.0, 0.002, noise.gaussian, 0.001),
    spark=Spark(18.0, 0.6, 50.0, 8.0),
)  # fmt: skip

LINES: dict[str, OtherLine] = {one.id: one for one in (Q, K, N, T, D)}
