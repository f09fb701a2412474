"""Cases of instruments and loggers on lines drawn at random: what they cannot see, and what they write in other ways.

A sensor that goes round the wire; necks, nicks and bubbles of a centimetre or three; daylight saving time; figures and
rows written on change only; half of a run in another unit.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np

from tests.other_lines import edits
from tests.other_lines.drawn import drawn_line
from tests.other_lines.edits import Edit
from tests.other_lines.lines import OtherLine
from tests.other_lines.products import Made
from tests.other_lines.running import MadeRun, Plan
from tests.other_lines.wire import Defect
from tests.other_lines.writing import Log
from tests.release_matrix.cases import Case, made_run
from tests.release_matrix.drawn_cases import damage
from tests.release_matrix.plants import target_mm
from tests.release_matrix.truths import uncertainties
from tests.release_matrix.wire_cases import reel_m

# The second reel's wire, in turn.
WIRES = ("good", "short off centre", "short thin stretch", "pinhole")
# The changes of the clock in the plant's zone in the year of the runs (tz database): back in autumn, ahead in spring.
AUTUMN, SPRING = datetime(2026, 11, 1, 8, tzinfo=UTC), datetime(2026, 3, 8, 9, tzinfo=UTC)


def _drawn(rounds: int, first: int, each: int) -> Iterator[tuple[int, OtherLine, Made]]:
    """Lines drawn at random, but for those that read so often that they take long and show nothing more here."""
    for seed in range(first, first + each * rounds):
        line, made = drawn_line(seed)
        if line.interval_s >= 0.03:
            yield seed, line, made


def _plan(line: OtherLine, made: Made, wire: str, seed: int) -> Plan:
    rng = np.random.default_rng((seed, 8))
    return Plan(2, reel_m(line), defects=damage(wire, line, made, rng), seed=seed)


def _case(kind: str, size: str, line: OtherLine, made: Made, wire: str, seed: int, edit: Edit) -> Case:
    plan = _plan(line, made, wire, seed)
    return Case(kind, f"{size}, {wire} wire", line, made, plan, edit, good_may_be_held=True)


def scanning(rounds: int, first: int = 904) -> Iterator[Case]:
    for seed, line, made in _drawn(rounds, first, 11):
        assert line.ring is not None
        sensors = [f"wall_{number}_mm" for number in range(1, line.ring.sensors + 1)]
        dwell = (1, 1, 4, 12)[seed % 4]
        for number, between in enumerate(("empty", "held", "alike")):
            wire = WIRES[(seed + number) % 3]
            edit = edits.scanned(sensors, dwell, between)
            yield _case("one sensor going round", f"{between}, {dwell} rows", line, made, wire, seed, edit)


def between_readings(rounds: int, first: int = 950) -> Iterator[Case]:
    """Bad wire shorter than a reading may leave where the run says that such wire is not seen."""
    for seed, line, made in _drawn(rounds, first, 18):
        length = (0.01, 0.02, 0.03)[seed % 3]
        kind = ("neck", "nick", "bubble")[(seed // 3) % 3]
        deep = target_mm(made) - made.point_mm + 6.0 * uncertainties(line, made)[1]
        defect = Defect(kind, (0.2 + 0.03 * (seed % 20)) * reel_m(line), length, deep)  # type: ignore[arg-type]
        plan = Plan(2, reel_m(line), defects=((1, defect),), seed=seed)
        yield Case(f"{kind} of a few centimetres", f"{100 * length:g} cm", line, made, plan, hidden=(1,))


def _began(change: datetime, row: int) -> Edit:
    """The run moved to the day the clocks change, which they do as a row is written."""

    def edit(run: MadeRun, log: Log) -> Log:
        return replace(
            log, began=change - timedelta(seconds=float(run.seconds[row])) + timedelta(milliseconds=1)
        )

    return edit


def clocks_changed(rounds: int, first: int = 1000) -> Iterator[Case]:
    """Logs in local time over the change to or from daylight saving time."""
    for seed, drawn, made in _drawn(rounds, first, 14):
        line = replace(drawn, clock=("local", "iso")[seed % 2])
        wire = WIRES[seed % 4]
        plan = _plan(line, made, wire, seed)
        run = made_run(line, made, plan)
        row = int(
            np.searchsorted(run.front_m - line.spark.station_m, run.reels[1].from_m + 0.4 * plan.reel_m)
        )
        for number, (name, change, by) in enumerate(
            (("autumn", AUTUMN, -3600.0), ("spring", SPRING, 3600.0))
        ):
            how, edit = (
                ("followed", edits.clock_set(row, by, events=True)),
                ("not followed", edits.after()),
                ("not by the spark tester", edits.clock_set(row, by, events=False)),
            )[(seed + number) % 3]
            moved = edits.after(edit, _began(change, row))
            one = _case("daylight saving time", f"{name}, {how}", line, made, wire, seed, moved)
            day = f"{change.date()} night"
            yield replace(one, run_text=lambda text, day=day: text.replace("2026-05-12 day", day))  # type: ignore[misc]


def on_change(rounds: int, first: int = 1050) -> Iterator[Case]:
    for seed, line, made in _drawn(rounds, first, 10):
        run = made_run(line, made, _plan(line, made, WIRES[seed % 4], seed))
        walls = edits.walls_of_columns(run.columns)
        both = [name for name in run.columns if name.startswith("diameter_")]
        band = (0.0, 1.0, 3.0)[seed % 3] * uncertainties(line, made)[0]
        wire = WIRES[seed % 4]
        dead = edits.within_deadband([*walls, *both], band)
        one = _case("figures on change", f"deadband {1000 * band:.0f} um", line, made, wire, seed, dead)
        yield replace(one, form="long") if seed % 2 else one
        rows = edits.rows_on_change([*walls, *both], 4.0 * uncertainties(line, made)[0])
        yield _case("rows on change", "", line, made, wire, seed, rows)


def units_changed(rounds: int, first: int = 1100) -> Iterator[Case]:
    """From a quarter of the second reel on a channel is logged in another unit."""
    for seed, line, made in _drawn(rounds, first, 12):
        wire = WIRES[seed % 4]
        plan = _plan(line, made, wire, seed)
        run = made_run(line, made, plan)
        row = int(np.searchsorted(run.front_m - line.take_up_m, run.reels[1].from_m + 0.25 * plan.reel_m))
        both = [name for name in run.columns if name.startswith("diameter_")]
        changes = (
            ("counter in ft", ["counter_m"], 1.0 / 0.3048),
            ("counter in m", ["counter_m"], 0.3048),
            ("diameter in mm", both, 25.4),
            ("diameter in inch", both, 1.0 / 25.4),
            ("walls in um", edits.walls_of_columns(run.columns), 25.4),
            ("speed in ft", ["line_speed_m_s"], 1.0 / 0.3048),
            ("voltage in V", ["spark_kv"], 1000.0),
        )
        for number in (seed % 7, (seed + 3) % 7):
            name, channels, by = changes[number]
            edit = edits.from_then_on(channels, row, by)
            yield _case("another unit from then on", name, line, made, wire, seed, edit)


INSTRUMENTS: dict[str, Callable[[int], Iterator[Case]]] = {
    one.__name__: one for one in (scanning, between_readings, clocks_changed, on_change, units_changed)
}
