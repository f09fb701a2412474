"""Cases of wire: sound, thin, off centre, oval, thick, faulty, untested, at many sizes down to nothing; honest logs."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from tests.other_lines.lines import LINES, OtherLine
from tests.other_lines.products import MADE_ON, Made
from tests.other_lines.running import Plan
from tests.other_lines.wire import Defect
from tests.release_matrix.cases import Case
from tests.release_matrix.plants import FLAW_MM, target_mm, thin_by
from tests.release_matrix.truths import uncertainties


def reel_m(line: OtherLine) -> float:
    """Usual length of a reel in these short runs [m]."""
    return 350.0 if line.speed_m_s > 5 else 140.0


def each(rounds: int) -> Iterator[tuple[int, OtherLine, Made]]:
    """Every line with what it makes, so often."""
    for turn in range(rounds):
        for line in LINES.values():
            yield turn, line, MADE_ON[line.id][turn % len(MADE_ON[line.id])]


def plan_of(line: OtherLine, *defects: tuple[int, Defect], reels: int = 2) -> Plan:
    return Plan(reels=reels, reel_m=reel_m(line), defects=defects)


def sound(rounds: int) -> Iterator[Case]:
    for turn, line, made in each(rounds):
        yield Case("sound wire", str(turn), line, made, plan_of(line, reels=2 + turn % 2))


def sound_with_stops_or_steps(rounds: int) -> Iterator[Case]:
    """Speed steps within reels leave good wire good; a stop spoils what stood at the die, which truth then says."""
    for turn, line, made in each(rounds):
        plan = plan_of(line)
        start = line.take_up_m + 95.0 + plan.reel_m
        if turn % 2:
            yield Case("steps of speed", str(turn), line, made, replace(plan, speed_steps=((start, 0.8),)))
        else:
            stop = replace(plan, stops_m=(start,))
            yield Case("a stop on a reel", str(turn), line, made, stop, good_may_be_held=True)


def thin(rounds: int) -> Iterator[Case]:
    sizes = (0.0, 0.5, 1.0, 2.0, 3.0, 5.0, 10.0, 25.0)
    lengths = (2.0, 3.0, 6.0, 20.0, 80.0)
    for turn, line, made in each(rounds):
        rng = np.random.default_rng(turn)
        size = sizes[turn % len(sizes)]
        extent = line.speed_m_s * line.interval_s
        length = max(lengths[turn % len(lengths)], 4.0 * extent)
        under = (size + 1.0) * uncertainties(line, made)[0]
        defect = thin_by(made, under, float(rng.uniform(10.0, 50.0)), length)
        yield Case("thin wall", f"{size:g} u, {length:.0f} m", line, made, plan_of(line, (turn % 2, defect)))


def off_centre(rounds: int) -> Iterator[Case]:
    sizes = (0.0, 1.0, 2.0, 3.0, 5.0, 10.0, 20.0)
    for turn, line, made in each(rounds):
        rng = np.random.default_rng(100 + turn)
        size = sizes[turn % len(sizes)]
        by = target_mm(made) - made.point_mm + size * uncertainties(line, made)[1]
        extent = line.speed_m_s * line.interval_s
        length = float(rng.choice([4.0, 15.0, 90.0]))
        defect = Defect(
            "off centre", float(rng.uniform(5, 40)), max(length, 4 * extent), by, float(rng.uniform(0, 6.28))
        )
        yield Case("conductor off centre", f"{size:g} u", line, made, plan_of(line, (turn % 2, defect)))


def oval(rounds: int) -> Iterator[Case]:
    """Lobes that eight and six sensors see; four do not, and their sheet states how large lobes get."""
    for turn, line, made in each(rounds):
        if line.ring is None or line.ring.sensors < 6:
            continue
        rng = np.random.default_rng(200 + turn)
        by = target_mm(made) - made.point_mm + (turn % 6) * uncertainties(line, made)[1]
        defect = Defect("oval", float(rng.uniform(5, 40)), 40.0, by, float(rng.uniform(0, 6.28)))
        # One axis of diameter sees an oval as another wall: the instruments then disagree over their stretch of wire.
        alone = line.cold.axes == 1
        yield Case(
            "oval wall",
            f"{turn % 6} u",
            line,
            made,
            plan_of(line, (turn % 2, defect)),
            good_may_be_held=alone,
        )


def thick(rounds: int) -> Iterator[Case]:
    for turn, line, made in each(rounds):
        by = 0.02 * (turn % 5) * target_mm(made) + (0.06 * target_mm(made) if turn % 2 else 0.0)
        defect = Defect("thick", 30.0, 40.0, by * 2.0)
        yield Case("diameter too large", f"{turn % 5}", line, made, plan_of(line, (turn % 2, defect)))


def faults(rounds: int) -> Iterator[Case]:
    for turn, line, made in each(rounds):
        rng = np.random.default_rng(300 + turn)
        plan = plan_of(line)
        edge = 3.0 + line.speed_m_s * 1.0 + 2.0 * line.accumulator_m
        at = [float(rng.uniform(edge, plan.reel_m - edge)) for _ in range(1 + turn % 3)]
        if turn % 4 == 3:
            at = [edge]
        holes = tuple((turn % 2, Defect("pinhole", one)) for one in at)
        yield Case("spark faults", str(len(at)), line, made, replace(plan, defects=holes))


def flaws(rounds: int) -> Iterator[Case]:
    for turn, line, made in each(rounds):
        size = FLAW_MM * (0.5 + 0.25 * (turn % 5))
        yield Case(
            "surface flaws",
            f"{size:.2f} mm",
            line,
            made,
            plan_of(line, (turn % 2, Defect("flaw", 50.0, 0.0, size))),
        )


def too_fast(rounds: int) -> Iterator[Case]:
    """Wire that passes the electrode too fast for what is asked of the test."""
    for turn, line, made in each(rounds):
        factor = (0.5, 1.3, 2.5)[turn % 3]
        asked = 0.05 if line.spark.hz is None else 9.0 / line.spark.hz
        electrode = asked * line.speed_m_s / factor
        slower = replace(line, spark=replace(line.spark, electrode_m=round(electrode, 4)))
        yield Case("spark test too short", f"{factor:g}", slower, made, plan_of(line))


def low_voltage(rounds: int) -> Iterator[Case]:
    for turn, line, made in each(rounds):
        share = (1.05, 0.95, 0.85, 0.6)[turn % 4]
        plan = replace(plan_of(line), tested_kv=share * line.spark.kv)
        why = "" if share > 0.9 else "tested under the voltage asked"
        yield Case("spark voltage", f"{share:g}", line, made, plan, all_unjudged=why)
