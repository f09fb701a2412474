"""Cases of data: rows, channels, sensors, clocks and counters missing, swapped, stuck or wrong."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from tests.other_lines import edits
from tests.other_lines.edits import Edit
from tests.other_lines.lines import LINES, OtherLine
from tests.other_lines.products import MADE_ON, Made
from tests.other_lines.running import MadeRun, Plan, ReelMade
from tests.other_lines.wire import Defect
from tests.release_matrix.cases import Case, Sheet, made_run
from tests.release_matrix.plants import target_mm, thin_by
from tests.release_matrix.truths import uncertainties
from tests.release_matrix.wire_cases import plan_of

SHORT_PIECES = Sheet(
    "short pieces allowed",
    lambda sheet: replace(
        sheet, holds=sheet.holds + "longest_unmonitored_m = 25.0\nunmonitored_pct = 25.0\n"
    ),
)
# What lies on the second reel: nothing, thin wire, a conductor off centre, a spark fault.
WIRES = ("good", "thin", "off centre", "pinhole")


@dataclass(frozen=True)
class Scene:
    """A run that data faults are put on."""

    line: OtherLine
    made: Made
    plan: Plan
    wire: str
    rng: np.random.Generator

    @property
    def run(self) -> MadeRun:
        return made_run(self.line, self.made, self.plan)

    @property
    def second(self) -> ReelMade:
        return self.run.reels[1]

    def row_at(self, reel_m: float, station_m: float) -> int:
        """First row at which an instrument saw a place on the second reel."""
        return int(np.searchsorted(self.run.front_m - station_m, self.second.from_m + reel_m))

    @property
    def ring_m(self) -> float:
        return self.line.ring.station_m if self.line.ring is not None else self.line.cold.station_m

    @property
    def sensors(self) -> list[str]:
        return edits.walls_of_columns(self.run.columns)


def scenes(
    rounds: int, first_seed: int, wires: tuple[str, ...] = WIRES, ring: bool = False
) -> Iterator[Scene]:
    """Every line with every wire, so often."""
    for turn in range(rounds):
        for line in LINES.values():
            if ring and line.ring is None:
                continue
            made = MADE_ON[line.id][turn % len(MADE_ON[line.id])]
            for wire in wires:
                plan = _plan(line, made, wire, first_seed + turn)
                rng = np.random.default_rng((first_seed, turn, WIRES.index(wire)))
                yield Scene(line, made, plan, wire, rng)


def _plan(line: OtherLine, made: Made, wire: str, seed: int) -> Plan:
    """Something plainly wrong over the middle half of the second reel, or nothing."""
    rng = np.random.default_rng(seed)
    plan = plan_of(line)
    long = plan.reel_m / 2.0
    angle = float(rng.uniform(0.0, 2.0 * np.pi))
    by = target_mm(made) - made.point_mm + 6.0 * uncertainties(line, made)[1]
    defects = {
        "good": (),
        "thin": ((1, thin_by(made, 6.0 * uncertainties(line, made)[0], plan.reel_m / 4.0, long)),),
        "off centre": ((1, Defect("off centre", plan.reel_m / 4.0, long, by, angle)),),
        "pinhole": ((1, Defect("pinhole", plan.reel_m / 2.0)),),
    }[wire]
    return Plan(plan.reels, plan.reel_m, defects=defects, seed=seed)


def _case(kind: str, size: str, scene: Scene, edit: Edit, **more: object) -> Case:
    more.setdefault("good_may_be_held", True)
    return Case(kind, f"{size}, {scene.wire} wire", scene.line, scene.made, scene.plan, edit, **more)  # type: ignore[arg-type]


def gaps(rounds: int) -> Iterator[Case]:
    """Rows missing while wire passed: over the fault of the wire where there is one."""
    for number, scene in enumerate(scenes(rounds, 1000)):
        reel, spark = scene.plan.reel_m, scene.line.spark.station_m
        extent = scene.line.speed_m_s * scene.line.interval_s
        share = (0.1, 0.3, 0.6)[number % 3]
        middle = scene.second.from_m + reel / 2.0
        for name, station in (("wall", scene.ring_m), ("spark", spark)):
            low, high = middle - share * reel / 2.0, middle + share * reel / 2.0
            lost = edits.rows_lost(low, high, station)
            unread = ((1, low, high),) if high - low > 8.0 * extent + scene.line.spark.electrode_m else ()
            yield _case(
                "rows missing for a while", f"{share:g} of a reel past the {name}", scene, lost, unread=unread
            )


def lone_rows(rounds: int) -> Iterator[Case]:
    for scene in scenes(rounds, 1100):
        # Wire under a lost row was not read: it holds unless the plant allows short pieces in writing.
        few = edits.rows_thinned(0.02, scene.plan.seed)
        yield _case("single rows missing", "2 %", scene, few)
        yield _case(
            "single rows missing",
            "2 %, short pieces allowed",
            scene,
            few,
            good_may_be_held=False,
            sheets=(SHORT_PIECES,),
        )


def ends_early(rounds: int) -> Iterator[Case]:
    for number, scene in enumerate(scenes(rounds, 1200)):
        share = (0.3, 0.8)[number % 2]
        cut = scene.second.from_m + share * scene.plan.reel_m + scene.ring_m
        yield _case("log ends early", f"{share:g}", scene, edits.cut_short(cut), unread=((1, 0.0, 1.0),))


def channels_missing(rounds: int) -> Iterator[Case]:
    for scene in scenes(rounds, 1300):
        for channels in (
            ("wall",),
            ("diameter_x_mm", "diameter_y_mm"),
            ("spark_kv",),
            ("line_speed_m_s",),
            ("conductor_mm",),
        ):
            needed = channels[0] in ("wall", "diameter_x_mm", "spark_kv")
            yield _case(
                "channel missing", channels[0], scene, edits.without(*channels),
                all_unjudged="a requirement without its channel" if needed else "",
            )  # fmt: skip


def sensors_out(rounds: int) -> Iterator[Case]:
    for scene in scenes(rounds, 1400, ring=True):
        for count in (1, 2, len(scene.sensors) - 2):
            chosen = list(scene.rng.choice(scene.sensors, count, replace=False))
            yield _case("wall sensors without values", str(count), scene, edits.emptied(chosen))


def stuck(rounds: int) -> Iterator[Case]:
    for scene in scenes(rounds, 1500, ring=True):
        row = scene.row_at(10.0, scene.ring_m)
        one = [str(scene.rng.choice(scene.sensors))]
        yield _case("channel stuck", "one wall sensor", scene, edits.stuck(one, row))
        yield _case(
            "channel stuck",
            "every wall sensor",
            scene,
            edits.stuck(scene.sensors, row),
            unread=((1, 10.0, 60.0),),
        )
        yield _case(
            "channel stuck", "diameter", scene, edits.stuck(["diameter_x_mm"], row),
            unread=((1, 10.0, 60.0),) if scene.line.cold.axes == 1 else (),
        )  # fmt: skip


def stuck_with_noise(rounds: int) -> Iterator[Case]:
    for scene in scenes(rounds, 1600, ("good", "thin", "off centre"), ring=True):
        row = scene.row_at(10.0, scene.ring_m)
        assert scene.line.ring is not None
        u = scene.line.ring.u_mm
        for count in (1, 2, 3, len(scene.sensors)):
            first = int(scene.rng.integers(len(scene.sensors)))
            chosen = [scene.sensors[(first + k) % len(scene.sensors)] for k in range(count)]
            name = "every" if count == len(scene.sensors) else str(count)
            for noise in (u, 0.1 * u):
                yield _case(
                    "wall sensors stuck with noise", f"{name}, {noise / u:g} u", scene,
                    edits.stuck(chosen, row, noise, scene.plan.seed),
                )  # fmt: skip


def swapped(rounds: int) -> Iterator[Case]:
    for scene in scenes(rounds, 1700, ("good", "off centre"), ring=True):
        n = len(scene.sensors)
        opposite = list(range(n))
        opposite[0], opposite[n // 2] = n // 2, 0
        neighbours = list(range(n))
        neighbours[1], neighbours[2] = 2, 1
        far = list(range(n))
        far[n - 1], far[1] = 1, n - 1
        for name, order in (
            ("opposite", opposite),
            ("neighbours", neighbours),
            ("two apart", far),
            ("at random", [int(k) for k in scene.rng.permutation(n)]),
            ("every second", [*range(0, n, 2), *range(1, n, 2)]),
        ):
            yield _case("wall sensors swapped", name, scene, edits.permuted(order))
        # A ring read backwards or from another first sensor has the same wall, only another direction.
        yield _case("ring reversed", "", scene, edits.permuted(list(range(n))[::-1]), good_may_be_held=False)
        yield _case("ring turned", "", scene, edits.permuted([*range(2, n), 0, 1]), good_may_be_held=False)


def channels_swapped(rounds: int) -> Iterator[Case]:
    for scene in scenes(rounds, 1800):
        line = scene.line
        pairs = []
        if line.cold.axes == 2:
            pairs.append(("diameter_x_mm", "diameter_y_mm", False))
        if line.hot is not None:
            pairs.append(("hot_diameter_mm", "diameter_x_mm", True))
        if line.conductor is not None:
            pairs.append(("conductor_mm", "diameter_x_mm", True))
        for first, second, may in pairs:
            yield _case(
                "channels swapped",
                f"{first}, {second}",
                scene,
                edits.exchanged(first, second),
                good_may_be_held=may,
            )


def biased(rounds: int) -> Iterator[Case]:
    for number, scene in enumerate(scenes(rounds, 1900, ("good", "thin", "off centre"), ring=True)):
        one = [str(scene.rng.choice(scene.sensors))]
        for by in (0.03, 0.1):
            yield _case("wall sensor biased", f"+{1000 * by:g} um", scene, edits.shifted(one, by))
        for by in (0.04, 0.1):
            edit = edits.shifted(scene.sensors, by) if number % 2 else edits.drifted(scene.sensors, 1.5 * by)
            yield _case("ring biased", f"+{1000 * by:g} um", scene, edit)
        both = [name for name in scene.run.columns if name.startswith("diameter_")]
        yield _case("diameter biased", "-60 um", scene, edits.shifted(both, -0.06))


def wrong_units(rounds: int) -> Iterator[Case]:
    for scene in scenes(rounds, 2000):
        both = [name for name in scene.run.columns if name.startswith("diameter_")]
        for name, channels, by in (
            ("wall", scene.sensors, 25.4),
            ("wall", scene.sensors, 1.0 / 25.4),
            ("diameter", both, 25.4),
            ("counter", ["counter_m"], 3.281),
            ("counter", ["counter_m"], 0.3048),
            ("speed", ["line_speed_m_s"], 3.281),
            ("test voltage", ["spark_kv"], 1000.0),
            ("test voltage", ["spark_kv"], 0.001),
        ):
            if channels:
                yield _case("wrong unit", f"{name} x {by:.4g}", scene, edits.rescaled(channels, by))


def spark_records(rounds: int) -> Iterator[Case]:
    for scene in scenes(rounds, 2100, ("good", "pinhole")):
        reel, second = scene.plan.reel_m, scene.second
        yield _case("spark list lost, counter kept", "", scene, edits.faults_lost(), good_may_be_held=False)
        for kv in (0.0, 0.3 * scene.line.spark.kv):
            low, high = second.from_m + 0.3 * reel, second.from_m + 0.7 * reel
            yield _case(
                "untested wire",
                f"{kv:g} kV",
                scene,
                edits.untested(low, high, round(kv, 1)),
                unread=((1, low, high),),
            )
        short = second.from_m + 0.5 * reel
        yield _case(
            "untested wire",
            "short",
            scene,
            edits.untested(short - 6.0, short + 6.0, 0.0),
            unread=((1, 0.0, 12.0),),
        )


def clocks(rounds: int) -> Iterator[Case]:
    for scene in scenes(rounds, 2200):
        row = scene.row_at(0.35 * scene.plan.reel_m, scene.line.spark.station_m)
        for by in (-5.0, -3600.0, 7.0, 3600.0):
            for events in (True, False):
                name = f"{by:g} s{'' if events else ', not the spark tester'}"
                yield _case("clock set", name, scene, edits.clock_set(row, by, events))


def counters(rounds: int) -> Iterator[Case]:
    for scene in scenes(rounds, 2300):
        row = scene.row_at(0.3 * scene.plan.reel_m, scene.line.take_up_m)
        yield _case("counter reset", "", scene, edits.counter_reset(row))
        yield _case("counter held", "", scene, edits.counter_held(row, round(8.0 / scene.line.interval_s)))


def rows_muddled(rounds: int) -> Iterator[Case]:
    for scene in scenes(rounds, 2400):
        row = scene.row_at(0.3 * scene.plan.reel_m, scene.line.take_up_m)
        yield _case("rows doubled", "", scene, edits.repeated(row, 60))
        yield _case("rows out of order", "", scene, edits.shuffled(12, scene.plan.seed))


def spiked(rounds: int) -> Iterator[Case]:
    for scene in scenes(rounds, 2500):
        names = [*scene.sensors[:1], "diameter_x_mm"]
        for size in (0.2, -0.2):
            yield _case("spikes", f"{size:g} mm", scene, edits.spikes(names, 97, size))


def late(rounds: int) -> Iterator[Case]:
    for scene in scenes(rounds, 2600, ("good", "thin", "off centre"), ring=True):
        for metres in (5.0, 20.0):
            rows = max(2, round(metres / scene.line.speed_m_s / scene.line.interval_s))
            yield _case("ring logged late", f"{metres:g} m", scene, edits.lagging(scene.sensors, rows))


DATA: dict[str, Callable[[int], Iterator[Case]]] = {
    one.__name__: one
    for one in (
        gaps, lone_rows, ends_early, channels_missing, sensors_out, stuck, stuck_with_noise, swapped, channels_swapped,
        biased, wrong_units, spark_records, clocks, counters, rows_muddled, spiked, late,
    )
}  # fmt: skip
