"""Cases on lines drawn at random: honest logs of good and bad wire, and logs whose missing readings are coded."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np

from tests.other_lines import edits
from tests.other_lines.drawn import drawn_line
from tests.other_lines.lines import OtherLine
from tests.other_lines.products import Made
from tests.other_lines.running import Plan
from tests.other_lines.wire import Defect
from tests.release_matrix.cases import Case, made_run
from tests.release_matrix.plants import FLAW_MM, target_mm, thin_by
from tests.release_matrix.truths import uncertainties
from tests.release_matrix.wire_cases import reel_m

KINDS = (
    "good", "thin first metres", "thin last metres", "off centre over a reel's end", "sinking in the last metres",
    "short thin stretch", "pinhole", "pinhole beside a reel's end", "flaw", "off centre",
)  # fmt: skip
# What a logger may write where there is no reading.
CODES = (0.0, -999.0, 9999.0, float("nan"))


def damage(
    kind: str, line: OtherLine, made: Made, rng: np.random.Generator
) -> tuple[tuple[int, Defect], ...]:
    """What lies on the second reel, or over the end of the first."""
    reel, extent = reel_m(line), line.speed_m_s * line.interval_s
    u_mean, u_thin, _ = uncertainties(line, made)
    off = target_mm(made) - made.point_mm + 6.0 * u_thin
    angle = float(rng.uniform(0.0, 2.0 * np.pi))
    few = max(3.0, 5.0 * extent)
    return {
        "good": (),
        "thin first metres": ((1, thin_by(made, 6.0 * u_mean, 0.0, few)),),
        "thin last metres": ((1, thin_by(made, 6.0 * u_mean, reel - few, few)),),
        "off centre over a reel's end": ((0, Defect("off centre", reel - few, 2.0 * few, off, angle)),),
        "sinking in the last metres": (
            (1, Defect("sinking", 10.0, reel - 10.0, target_mm(made) - made.average_mm + 8.0 * u_mean)),
        ),
        "short thin stretch": ((1, thin_by(made, 8.0 * u_mean, 0.37 * reel, few)),),
        "pinhole": ((1, Defect("pinhole", float(rng.uniform(0.2, 0.8)) * reel)),),
        "pinhole beside a reel's end": ((1, Defect("pinhole", 0.3)),),
        "flaw": ((1, Defect("flaw", 0.6 * reel, 0.0, 1.4 * FLAW_MM)),),
        "off centre": ((1, Defect("off centre", 0.4 * reel, 0.2 * reel, off, angle)),),
        "short off centre": ((1, Defect("off centre", 0.45 * reel, few, off + 3.0 * u_thin, angle)),),
    }[kind]  # fmt: skip


def drawn(rounds: int, first: int = 0) -> Iterator[Case]:
    """Honest logs of lines drawn at random; a pinhole beside a reel's end may be on either reel."""
    for seed in range(first, first + 21 * rounds):
        line, made = drawn_line(seed)
        rng = np.random.default_rng((seed, 6))
        others = rng.permutation(len(KINDS) - 1)[:3] + 1
        for kind in ("good", *(KINDS[int(k)] for k in others)):
            plan = Plan(2, reel_m(line), defects=damage(kind, line, made, rng), seed=seed)
            near = any(word in kind for word in ("end", "first", "last"))
            yield Case("drawn line", kind, line, made, plan, good_may_be_held=near)


def codes(rounds: int, first: int = 500) -> Iterator[Case]:
    """No reading over part of the second reel, written as a figure; and channels written by change only."""
    for seed in range(first, first + 12 * rounds):
        line, made = drawn_line(seed)
        # Lines that read very often take long and show nothing more here.
        if line.interval_s < 0.02:
            continue
        plan = Plan(2, reel_m(line), seed=seed)
        run = made_run(line, made, plan)
        assert line.ring is not None
        second = run.reels[1]
        low, high = second.from_m + 0.3 * plan.reel_m, second.from_m + 0.6 * plan.reel_m
        sensors = edits.walls_of_columns(run.columns)
        both = [name for name in run.columns if name.startswith("diameter_")]
        code = CODES[seed % len(CODES)]
        for name, channels, station in (
            ("wall", sensors, line.ring.station_m),
            ("diameter", both, line.cold.station_m),
            ("voltage", ["spark_kv"], line.spark.station_m),
        ):
            rows = edits.rows_seeing(run, station, low, high)
            yield Case(
                "missing readings coded", f"{name} {code:g}", line, made, plan, edits.coded(channels, code, rows),
                unread=((1, low, high),), good_may_be_held=True,
            )  # fmt: skip
        yield Case(
            "channels by change", "", line, made,
            replace(plan, defects=damage("off centre", line, made, np.random.default_rng(seed))),
            edits.by_change([*sensors, *both]), good_may_be_held=True,
        )  # fmt: skip


def forms(rounds: int, first: int = 700) -> Iterator[Case]:
    """The same honest logs as Parquet and as long tables."""
    for seed in range(first, first + 10 * rounds):
        line, made = drawn_line(seed)
        # A long table has a line a value, so lines that read often are left to the others.
        if line.interval_s < 0.03:
            continue
        rng = np.random.default_rng((seed, 7))
        for kind in ("good", ("short thin stretch", "off centre", "pinhole")[seed % 3]):
            plan = Plan(2, reel_m(line), defects=damage(kind, line, made, rng), seed=seed)
            for form in ("parquet", "long"):
                yield Case(f"log as {form}", kind, line, made, plan, form=form)  # type: ignore[arg-type]


DRAWN: dict[str, Callable[[int], Iterator[Case]]] = {one.__name__: one for one in (drawn, codes, forms)}
