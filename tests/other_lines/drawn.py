"""Lines drawn at random: no two alike in sampling, speed, stations, sensors, noise, steps, units or clock.

Nothing here is a plant's. Ranges: 60 to 1200 m/min, 1 to 200 readings a second, four to ten sensors from any angle,
with and without hot and conductor gauges, readings in steps of a micrometre or a tenth of a mil.
"""

from __future__ import annotations

import numpy as np

from tests.other_lines import noise
from tests.other_lines.lines import Gauge, OtherLine, Ring, Spark
from tests.other_lines.products import EVERY, Made

LAWS = (noise.gaussian, noise.heavy, noise.laplace, noise.autoregressive, noise.wandering, noise.drifting)


def drawn_line(seed: int) -> tuple[OtherLine, Made]:
    """A line and what it makes."""
    rng = np.random.default_rng((seed, 5))
    made = EVERY[seed % len(EVERY)]
    imperial = bool(rng.random() < 0.5)
    # Large wire is made slowly.
    speed = float(np.exp(rng.uniform(np.log(1.0), np.log(20.0 if made.conductor_mm < 4.0 else 4.0))))
    hertz = float(np.exp(rng.uniform(np.log(max(1.0, speed / 2.0)), np.log(60.0))))
    if rng.random() < 0.1:
        hertz = 200.0
    step = 0.00254 if imperial else float(rng.choice([0.001, 0.002]))

    def gauge_u() -> float:
        return round(float(rng.uniform(0.002, 0.006)), 4)

    def law() -> noise.Law:
        return LAWS[int(rng.integers(len(LAWS)))]

    at = np.cumsum(rng.uniform(1.5, 30.0, 4))
    sensors = int(rng.choice([4, 6, 8, 10]))
    both = made.covering_mil is not None and bool(rng.random() < 0.7)
    hz = [50.0, 60.0, 3000.0, None][int(rng.integers(4))]
    electrode = (0.05 if hz is None else 9.0 / hz) * speed * float(rng.uniform(1.4, 2.5))
    line = OtherLine(
        id=f"W{seed}",
        imperial=imperial,
        encoder_m=round(float(rng.uniform(0.2, 1.0) * at[-1]), 1),
        take_up_m=round(float(at[-1] + rng.uniform(2.0, 30.0)), 1),
        speed_m_s=round(speed, 3),
        interval_s=round(1.0 / hertz, 3),
        ramp=str(rng.choice(["smooth", "linear", "exponential"])),
        counter_step_m=float(rng.choice([0.3048, 0.03048] if imperial else [0.01, 0.1])),
        ring=Ring(
            round(float(at[1]), 2),
            gauge_u(),
            law(),
            step,
            sensors=sensors,
            first_deg=round(float(rng.uniform(0.0, 360.0 / sensors)), 2),
            both=both,
            lobes_mm=0.006 if sensors < 5 else None,
        ),
        cold=Gauge(round(float(at[2]), 2), gauge_u(), law(), step, axes=int(rng.choice([1, 2]))),
        hot=Gauge(round(float(at[0]) / 3.0, 2), 0.006, law(), step) if rng.random() < 0.5 else None,
        conductor=Gauge(-round(float(rng.uniform(1.0, 15.0)), 1), 0.003, law(), 0.001)
        if rng.random() < 0.6
        else None,
        spark=Spark(round(float(at[3]), 2), round(electrode, 4), hz, float(rng.choice([6.5, 8.0, 12.0]))),
        counter_start_m=float(rng.choice([0.0, 812.0, 45_210.0])),
        surge=(float(rng.uniform(0.0005, 0.004)), float(rng.uniform(0.6, 9.0))),
        ripple=(float(rng.uniform(0.0001, 0.0006)), round(float(rng.uniform(0.8, 4.0)), 3)),
        wander=(float(rng.uniform(0.002, 0.006)), float(rng.uniform(40.0, 400.0))),
        offset=(float(rng.uniform(0.0, 0.03)), float(rng.uniform(0.002, 0.01))),
        delimiter=";" if not imperial else ",",
        decimal="," if not imperial and rng.random() < 0.5 else ".",
        clock=str(rng.choice(["iso", "utc", "local", "epoch ms"])),
        melt=bool(rng.random() < 0.7),
    )
    return line, made
