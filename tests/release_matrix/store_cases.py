"""Cases of persons: samples, decisions, holds, cuts and shipments on reels in one store, each on a reel of its own.

A scenario acts as persons of a plant would and then tries to send the reel away. What must become of the reel is known
from its wire and from what the plant's sheet says of the acts.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

from pipeline.acts.deciding import act_on
from pipeline.acts.holding import put_hold
from pipeline.acts.sampling import hand_in
from pipeline.errors import ReelproofError
from pipeline.job.assessing import assess_run
from pipeline.job.loading import load_sheet
from pipeline.nonconformance.disposition import Person
from pipeline.record.gauge_tables import Sample
from pipeline.record.left_on_file import Override
from pipeline.record.samples_compared import compare_samples
from pipeline.record.standing import standing_of
from pipeline.store.database import Store, open_to_write
from tests.other_lines.edits import Edit
from tests.other_lines.lines import LINES, OtherLine
from tests.other_lines.products import MADE_ON, Made
from tests.other_lines.running import MadeRun, Plan, run_of
from tests.other_lines.wire import Defect
from tests.other_lines.writing import (
    line_sheet_text,
    log_of,
    reel_id,
    run_sheet_text,
    stated_covering,
    write_logs,
)
from tests.release_matrix.cases import Found
from tests.release_matrix.persons import ENGINEER, NIGHT, OnFile, Scenario, cut_off, release, ship
from tests.release_matrix.plants import PlantText, plant_for, target_mm, thin_by
from tests.release_matrix.truths import must, uncertainties
from tests.release_matrix.wound_cases import WOUND, remnant_released, rewound_then_released

REELS = 8
# Groups of a round; those from the second number on are about rewinding.
GROUPS, REWOUND_FROM = 16, 14
# Groups of the first round whose scenarios others of it have, on another line.
AGAIN = (2, 9, 10, 11, 12, 13)


# Each scenario says whether a good reel may lawfully leave by it.
def released_by_two(reel: OnFile) -> bool:
    release(reel)
    ship(reel)
    return True


def released_by_no_listed_role(reel: OnFile) -> bool:
    with suppress(ReelproofError):
        release(reel, NIGHT, Person("parking attendant", "P-2"))
    ship(reel)
    return False


def confirmed_by_the_same_person(reel: OnFile) -> bool:
    with suppress(ReelproofError):
        release(reel, ENGINEER, Person("quality manager", ENGINEER.person))
    ship(reel)
    return False


def confirmed_by_the_same_role(reel: OnFile) -> bool:
    with suppress(ReelproofError):
        release(reel, ENGINEER, ENGINEER)
    ship(reel)
    return False


def confirmed_by_nobody(reel: OnFile) -> bool:
    release(reel, second=None)
    ship(reel)
    return False


def decided_by_nobody(reel: OnFile) -> bool:
    ship(reel)
    return False


def sent_by_an_unlisted_role(reel: OnFile) -> bool:
    ship(reel, override=Override("shipping clerk", "C-3", "the truck waits"))
    return False


def sent_by_a_listed_role(reel: OnFile) -> bool:
    """Allowed in writing, whatever the wire; it must be told as an alarm everywhere."""
    ship(reel, override=Override("plant manager", "PM-1", "the customer waits and knows"))
    return False


def held_then_released(reel: OnFile) -> bool:
    put_hold(reel.store, reel.id, ENGINEER, "a doubt about the colour")
    with suppress(ReelproofError):
        release(reel)
    ship(reel)
    return False


def released_then_held(reel: OnFile) -> bool:
    with suppress(ReelproofError):
        release(reel)
    put_hold(reel.store, reel.id, ENGINEER, "a doubt about the colour", (5.0, 9.0))
    ship(reel)
    return False


def scrapped_then_released(reel: OnFile) -> bool:
    act_on(reel.store, reel.id, "decide", ENGINEER, "water damage", "scrap")
    with suppress(ReelproofError):
        release(reel)
    ship(reel)
    return False


def reworked_then_shipped(reel: OnFile) -> bool:
    act_on(reel.store, reel.id, "decide", ENGINEER, "to be wound again", "rework")
    ship(reel)
    return False


def cut_and_shipped_unreleased(reel: OnFile) -> bool:
    cut_off(reel, f"{reel.id}-a", *reel.most)
    ship(reel, f"{reel.id}-a")
    return False


def cut_released_and_shipped(reel: OnFile) -> bool:
    name = f"{reel.id}-b"
    cut_off(reel, name, *reel.most)
    release(reel, name=name)
    ship(reel, name)
    return True


def cut_released_as_a_reel(reel: OnFile) -> bool:
    with suppress(ReelproofError):
        release(reel)
    name = f"{reel.id}-c"
    cut_off(reel, name, *reel.most)
    ship(reel, name)
    return True


def sample(reel: OnFile, quantity: str, value: float, from_outer_m: float = 2.0, sd: float = 0.002) -> None:
    one = Sample("samples.csv:2", reel.id, from_outer_m, quantity, value, sd, "laboratory", "microscope")
    hand_in(reel.store, (one,), compare_samples(reel.store, (one,)), "laboratory")


def good_sample_then_released(reel: OnFile) -> bool:
    # The wall wanders about its target, and so may a slice of it.
    target = target_mm(reel.made)
    sample(reel, "mean_wall_mm", target, reel.length_m - 2.0, 0.01 * target)
    return released_by_two(reel)


def sample_below_a_limit(reel: OnFile) -> bool:
    sample(reel, "thinnest_wall_mm", reel.made.point_mm - 0.02)
    with suppress(ReelproofError):
        release(reel)
    ship(reel)
    return False


def released_then_sample_below(reel: OnFile) -> bool:
    with suppress(ReelproofError):
        release(reel)
    sample(reel, "mean_wall_mm", reel.made.average_mm - 0.02)
    ship(reel)
    return False


def covering_shown(reel: OnFile) -> bool:
    assert reel.made.covering_mm is not None
    sample(reel, "covering_mm", reel.truth.covering_mm)
    return released_by_two(reel)


def covering_below(reel: OnFile) -> bool:
    assert reel.made.covering_mm is not None
    sample(reel, "covering_mm", reel.made.covering_mm - 0.015)
    with suppress(ReelproofError):
        release(reel)
    ship(reel)
    return False


def covering_not_sampled(reel: OnFile) -> bool:
    with suppress(ReelproofError):
        release(reel)
    ship(reel)
    return False


ACTS: tuple[Scenario, ...] = (
    released_by_two, released_by_no_listed_role, confirmed_by_the_same_person, confirmed_by_the_same_role,
    confirmed_by_nobody, decided_by_nobody, sent_by_an_unlisted_role, held_then_released, released_then_held,
    scrapped_then_released, reworked_then_shipped, cut_and_shipped_unreleased, cut_released_and_shipped,
    cut_released_as_a_reel, sent_by_a_listed_role, released_by_two,
)  # fmt: skip
# A failing sample puts the whole run in doubt, so these have runs of their own.
SAMPLED: tuple[tuple[Scenario, ...], ...] = (
    (good_sample_then_released,) * 3 + (sample_below_a_limit, released_by_two, released_by_two),
    (released_by_two, released_then_sample_below, released_by_two),
)
COVERED: tuple[tuple[Scenario, ...], ...] = (
    (covering_shown, covering_not_sampled, covering_shown, covering_shown, covering_not_sampled),
    (covering_shown, covering_below, covering_not_sampled, covering_shown),
)
PER_REEL = '{ requirement = "covering at any point", per = "reel" }'


def _plan(line: OtherLine, made: Made, bad: bool, seed: int, reels: int) -> Plan:
    """Reels that are all good, or all have thin, off-centre or faulty wire in turn."""
    length = 150.0 if line.speed_m_s > 5 else 60.0
    plan = Plan(reels=reels, reel_m=length, seed=seed)
    if not bad:
        return plan
    at = 0.4 * length
    u = uncertainties(line, made)
    off = target_mm(made) - made.point_mm + 6.0 * u[1]
    kinds = (
        thin_by(made, 6.0 * u[0], at, 12.0),
        Defect("off centre", at, 12.0, off, 1.0),
        Defect("pinhole", at + 5.0),
    )
    return replace(plan, defects=tuple((n, kinds[n % 3]) for n in range(reels)))


def put_on_file(
    store: Store,
    folder: Path,
    run_id: str,
    line: OtherLine,
    made: Made,
    plan: Plan,
    sheet: PlantText,
    edit: Edit | None = None,
) -> MadeRun:
    """A run loaded and judged, its log edited or honest."""
    run = run_of(line, made, plan)
    log = log_of(run) if edit is None else edit(run, log_of(run))
    write_logs(folder, line, log)
    (folder / "run.toml").write_text(run_sheet_text(run, run_id, log, stated_covering(run)))
    (folder / "line.toml").write_text(line_sheet_text(line))
    (folder / "plant.toml").write_text(sheet.text)
    load_sheet(store, folder / "run.toml")
    assess_run(store, run_id)
    return run


def _tried(reel: OnFile, scenario: Scenario) -> bool:
    """Whether a good reel may lawfully leave by the scenario; what the program refuses ends it."""
    try:
        return scenario(reel)
    except ReelproofError:
        return scenario in LAWFUL


LAWFUL = (
    released_by_two,
    good_sample_then_released,
    covering_shown,
    cut_released_and_shipped,
    cut_released_as_a_reel,
    rewound_then_released,
    remnant_released,
)


def outcome(reel: OnFile) -> str:
    """How the reel ended: shipped with or without alarm, else how it stands."""
    now = standing_of(reel.store, reel.id)
    if now.where in ("shipped", "partly shipped"):
        return "shipped with alarm" if now.left_while_held else "shipped"
    return now.code


def group(folder: Path, number: int) -> Iterator[Found]:
    """One run in one store with its scenarios; `number` chooses line, wire and scenarios."""
    if number % GROUPS >= REWOUND_FROM:
        yield from _rewound(folder, number)
        return
    kind = (
        "decisions",
        "decisions",
        "decisions",
        "samples",
        "samples",
        "coverings sampled",
        "coverings sampled",
    )[number % 7]
    line = LINES["Q2"] if kind.startswith("cover") else LINES[("T1", "K7", "N5")[number % 3]]
    made = MADE_ON[line.id][number % len(MADE_ON[line.id])]
    sheet = plant_for(line, made, [PER_REEL] if kind.startswith("cover") else None)
    bad = kind == "decisions" and number % 2 == 1
    if kind == "decisions":
        half = (number // 7) % 2 * REELS
        scenarios = ACTS[half : half + REELS]
    else:
        scenarios = (SAMPLED if kind == "samples" else COVERED)[(number // 7 + number) % 2]
    yield from acted(folder, number, kind, line, made, sheet, bad, scenarios)


def _rewound(folder: Path, number: int) -> Iterator[Found]:
    """A run whose reels are cut and wound onto other packages; every second one is bad."""
    line = LINES[("T1", "K7", "N5")[number % 3]]
    made = MADE_ON[line.id][number % len(MADE_ON[line.id])]
    yield from acted(folder, number, "rewinds", line, made, plant_for(line, made), number % 2 == 1, WOUND)


def reloaded(folder: Path, number: int) -> Iterator[Found]:
    """A run released reel by reel; then its log is handed in again, corrected: the wire was bad all along."""
    line = LINES[("T1", "N5", "K7")[number % 3]]
    made = MADE_ON[line.id][number % len(MADE_ON[line.id])]
    sheet, run_id = plant_for(line, made), f"L{number}"
    good, bad = (_plan(line, made, one, 7500 + number, 3) for one in (False, True))
    with open_to_write(folder / "store") as store:
        run = put_on_file(store, folder / "first", run_id, line, made, good, sheet)
        for reel in run.reels:
            truth = run.truth[reel.id]
            one = OnFile(store, reel_id(run_id, reel.id), reel.length_m, truth, "release", made)
            with suppress(ReelproofError):
                release(one)
        again = put_on_file(store, folder / "second", run_id, line, made, bad, sheet)
        for reel in again.reels:
            truth = again.truth[reel.id]
            label, why = must(line, made, truth)
            one = OnFile(store, reel_id(run_id, reel.id), reel.length_m, truth, label, made)
            with suppress(ReelproofError):
                ship(one)
            got = outcome(one)
            shown = "releasable" if got in ("shipped", "released", "releasable") else f"is {got}"
            yield Found("log corrected after release", "", "whole", one.id, label, why, shown, (got,))


def acted(
    folder: Path,
    number: int,
    kind: str,
    line: OtherLine,
    made: Made,
    sheet: PlantText,
    bad: bool,
    scenarios: tuple[Scenario, ...],
) -> Iterator[Found]:
    """A run in a store of its own, and what became of each reel by its scenario."""
    plan = _plan(line, made, bad, 7000 + number, len(scenarios))
    with open_to_write(folder / "store") as store:
        run_id = f"M{number}"
        run = put_on_file(store, folder, run_id, line, made, plan, sheet)
        in_doubt = False
        for reel, scenario in zip(run.reels, scenarios, strict=True):
            truth = run.truth[reel.id]
            label, why = must(line, made, truth)
            one = OnFile(
                store, reel_id(run_id, reel.id), reel.length_m, truth, label, made, line.accumulator_m
            )
            may = _tried(one, scenario)
            got = outcome(one)
            if not one.is_bad and not may:
                label, why = "hold", "nobody who may has let it go"
            if in_doubt and label == "release":
                # A failing sample of another reel puts this one in doubt; persons must say so before it leaves.
                label = "either"
            if ("sample" in scenario.__name__ and not may) or scenario is covering_below:
                in_doubt = True
            # A good reel that only waits for its release was not let go; a bad one may not even be called releasable.
            shown = "releasable" if got == "shipped" or (got == "releasable" and one.is_bad) else f"is {got}"
            yield Found(kind, scenario.__name__, "whole", one.id, label, why, shown, (got,))
