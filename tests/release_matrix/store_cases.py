"""Cases of persons: samples, decisions, holds, cuts and shipments on reels in one store, each on a reel of its own.

A scenario acts as persons of a plant would and then tries to send the reel away. What must become of the reel is known
from its wire and from what the plant's sheet says of the acts.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

from pipeline.acts.deciding import act_on
from pipeline.acts.holding import put_hold
from pipeline.acts.sampling import hand_in
from pipeline.acts.shipping import put_shipping_on_file
from pipeline.errors import ReelproofError
from pipeline.job.assessing import assess_run
from pipeline.job.loading import load_sheet
from pipeline.nonconformance.disposition import Person
from pipeline.record.gauge_tables import Sample
from pipeline.record.left_on_file import Override
from pipeline.record.samples_compared import compare_samples
from pipeline.record.shipping_list import CutLength, Shipment, ShippingList
from pipeline.record.standing import standing_of
from pipeline.store.database import Store, open_to_write
from tests.other_lines.lines import LINES, OtherLine
from tests.other_lines.products import MADE_ON, Made
from tests.other_lines.running import MadeRun, Plan, ReelTruth, run_of
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
from tests.release_matrix.plants import PlantText, plant_for, target_mm, thin_by
from tests.release_matrix.truths import Must, must, uncertainties

ENGINEER, MANAGER = Person("quality engineer", "QE-4"), Person("quality manager", "QM-1")
NIGHT = Person("night janitor", "N-9")
REELS = 8


@dataclass(frozen=True)
class OnFile:
    """A reel of the store with what is true of it."""

    store: Store
    id: str
    length_m: float
    truth: ReelTruth
    must: Must
    made: Made

    @property
    def is_bad(self) -> bool:
        return self.must == "hold"


Scenario = Callable[[OnFile], bool]


def _release(reel: OnFile, by: Person = ENGINEER, second: Person | None = MANAGER, name: str = "") -> None:
    act_on(reel.store, name or reel.id, "decide", by, "looked at", "release")
    if second is not None:
        act_on(reel.store, name or reel.id, "confirm", second, "looked at too")


def _ship(reel: OnFile, name: str = "", override: Override | None = None) -> None:
    item = name or reel.id
    told = ShippingList(shipments=(Shipment(id=f"S-{item}", to="a customer", contents=(item,)),))
    put_shipping_on_file(reel.store, told, "shipping clerk", override)


def _cut(reel: OnFile, name: str, from_m: float, to_m: float) -> None:
    told = ShippingList(cuts=(CutLength(reel=reel.id, length=name, from_m=from_m, to_m=to_m),))
    put_shipping_on_file(reel.store, told, "rewinder operator")


# Each scenario says whether a good reel may lawfully leave by it.
def released_by_two(reel: OnFile) -> bool:
    _release(reel)
    _ship(reel)
    return True


def released_by_no_listed_role(reel: OnFile) -> bool:
    with suppress(ReelproofError):
        _release(reel, NIGHT, Person("parking attendant", "P-2"))
    _ship(reel)
    return False


def confirmed_by_the_same_person(reel: OnFile) -> bool:
    with suppress(ReelproofError):
        _release(reel, ENGINEER, Person("quality manager", ENGINEER.person))
    _ship(reel)
    return False


def confirmed_by_the_same_role(reel: OnFile) -> bool:
    with suppress(ReelproofError):
        _release(reel, ENGINEER, ENGINEER)
    _ship(reel)
    return False


def confirmed_by_nobody(reel: OnFile) -> bool:
    _release(reel, second=None)
    _ship(reel)
    return False


def decided_by_nobody(reel: OnFile) -> bool:
    _ship(reel)
    return False


def sent_by_an_unlisted_role(reel: OnFile) -> bool:
    _ship(reel, override=Override("shipping clerk", "C-3", "the truck waits"))
    return False


def sent_by_a_listed_role(reel: OnFile) -> bool:
    """Allowed in writing, whatever the wire; it must be told as an alarm everywhere."""
    _ship(reel, override=Override("plant manager", "PM-1", "the customer waits and knows"))
    return False


def held_then_released(reel: OnFile) -> bool:
    put_hold(reel.store, reel.id, ENGINEER, "a doubt about the colour")
    with suppress(ReelproofError):
        _release(reel)
    _ship(reel)
    return False


def released_then_held(reel: OnFile) -> bool:
    with suppress(ReelproofError):
        _release(reel)
    put_hold(reel.store, reel.id, ENGINEER, "a doubt about the colour", (5.0, 9.0))
    _ship(reel)
    return False


def scrapped_then_released(reel: OnFile) -> bool:
    act_on(reel.store, reel.id, "decide", ENGINEER, "water damage", "scrap")
    with suppress(ReelproofError):
        _release(reel)
    _ship(reel)
    return False


def reworked_then_shipped(reel: OnFile) -> bool:
    act_on(reel.store, reel.id, "decide", ENGINEER, "to be wound again", "rework")
    _ship(reel)
    return False


def cut_and_shipped_unreleased(reel: OnFile) -> bool:
    _cut(reel, f"{reel.id}-a", 1.0, reel.length_m - 1.0)
    _ship(reel, f"{reel.id}-a")
    return False


def cut_released_and_shipped(reel: OnFile) -> bool:
    name = f"{reel.id}-b"
    _cut(reel, name, 1.0, reel.length_m - 1.0)
    _release(reel, name=name)
    _ship(reel, name)
    return True


def cut_released_as_a_reel(reel: OnFile) -> bool:
    with suppress(ReelproofError):
        _release(reel)
    name = f"{reel.id}-c"
    _cut(reel, name, 1.0, reel.length_m - 1.0)
    _ship(reel, name)
    return True


def _sample(reel: OnFile, quantity: str, value: float, from_outer_m: float = 2.0, sd: float = 0.002) -> None:
    one = Sample("samples.csv:2", reel.id, from_outer_m, quantity, value, sd, "laboratory", "microscope")
    hand_in(reel.store, (one,), compare_samples(reel.store, (one,)), "laboratory")


def good_sample_then_released(reel: OnFile) -> bool:
    _sample(reel, "mean_wall_mm", target_mm(reel.made), reel.length_m - 2.0)
    return released_by_two(reel)


def sample_below_a_limit(reel: OnFile) -> bool:
    _sample(reel, "thinnest_wall_mm", reel.made.point_mm - 0.02)
    with suppress(ReelproofError):
        _release(reel)
    _ship(reel)
    return False


def released_then_sample_below(reel: OnFile) -> bool:
    with suppress(ReelproofError):
        _release(reel)
    _sample(reel, "mean_wall_mm", reel.made.average_mm - 0.02)
    _ship(reel)
    return False


def covering_shown(reel: OnFile) -> bool:
    assert reel.made.covering_mm is not None
    _sample(reel, "covering_mm", reel.truth.covering_mm)
    return released_by_two(reel)


def covering_below(reel: OnFile) -> bool:
    assert reel.made.covering_mm is not None
    _sample(reel, "covering_mm", reel.made.covering_mm - 0.015)
    with suppress(ReelproofError):
        _release(reel)
    _ship(reel)
    return False


def covering_not_sampled(reel: OnFile) -> bool:
    with suppress(ReelproofError):
        _release(reel)
    _ship(reel)
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


def _on_file(
    store: Store, folder: Path, run_id: str, line: OtherLine, made: Made, plan: Plan, sheet: PlantText
) -> MadeRun:
    run = run_of(line, made, plan)
    log = log_of(run)
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
)


def outcome(reel: OnFile) -> str:
    """How the reel ended: shipped with or without alarm, else how it stands."""
    now = standing_of(reel.store, reel.id)
    if now.where in ("shipped", "partly shipped"):
        return "shipped with alarm" if now.left_while_held else "shipped"
    return now.code


def group(folder: Path, number: int) -> Iterator[Found]:
    """One run in one store with its scenarios; `number` chooses line, wire and scenarios."""
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
    plan = _plan(line, made, bad, 7000 + number, len(scenarios))
    with open_to_write(folder / "store") as store:
        run_id = f"M{number}"
        run = _on_file(store, folder, run_id, line, made, plan, sheet)
        in_doubt = False
        for reel, scenario in zip(run.reels, scenarios, strict=True):
            truth = run.truth[reel.id]
            label, why = must(line, made, truth)
            one = OnFile(store, reel_id(run_id, reel.id), reel.length_m, truth, label, made)
            may = _tried(one, scenario)
            got = outcome(one)
            if not one.is_bad and not may:
                label, why = "hold", "nobody who may has let it go"
            if in_doubt and label == "release":
                # A failing sample of another reel puts this one in doubt; persons must say so before it leaves.
                label = "either"
            if scenario in (sample_below_a_limit, released_then_sample_below, covering_below):
                in_doubt = True
            # A good reel that only waits for its release was not let go; a bad one may not even be called releasable.
            shown = "releasable" if got == "shipped" or (got == "releasable" and one.is_bad) else f"is {got}"
            yield Found(kind, scenario.__name__, "whole", one.id, label, why, shown, (got,))
