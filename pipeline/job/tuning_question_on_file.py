"""What is on file beside the runs when a line is to be tuned: limits, prices, bolts turned, lots, findings, reels."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from pipeline.job.tuning_runs import line_sheet_of, plant_sheet_of, product_named, product_of, run_sheet_of
from pipeline.messages import Message, Place, message
from pipeline.products.limits import limits_in_force, missing_requirements
from pipeline.record.stretches_on_file import StretchWalls, stretch_walls_of
from pipeline.record.trials import trials_of_line
from pipeline.statistics.against_record import Observed
from pipeline.tuned import Tuned
from pipeline.tuning.before_after import ReelFact, reel_facts
from pipeline.tuning.bolt_response import Adjustment
from pipeline.tuning.giveaway import Over, Price
from pipeline.tuning.requirement_rules import AVERAGE, CONCENTRICITY, DIAMETER, POINT
from pipeline.tuning.target import Risks
from pipeline.tuning.tuning_question import PURGE_M, TuningQuestion

if TYPE_CHECKING:
    from pipeline.sheets.line_sheet import LineSheet
    from pipeline.sheets.plant_sheet import PlantSheet
    from pipeline.sheets.run_sheet import RunSheet
    from pipeline.store.database import Store
    from pipeline.tuning.line_run import LineRun
    from pipeline.tuning.response import Loop

Head = dict[str, Any]
WALL_RULES = (AVERAGE, POINT, CONCENTRICITY, DIAMETER)
_LOOP: dict[str | None, Loop] = {"on": "closed", "off": "open", None: "not known"}


def question_of(
    store: Store,
    heads: Sequence[Head],
    share_of_month: float,
) -> tuple[TuningQuestion, tuple[Message, ...]]:
    """What is known beside the runs of one product, and what is said of what could not be used.

    Sheets, limits and prices are those of the latest run.

    Args:
        store: the store, open to read.
        heads: the runs' rows of ``current_runs``, in the order of time.
        share_of_month: share of the plant's length a month of this construction that this line and product make.
    """
    latest = heads[-1]
    line, plant, product = line_sheet_of(store, latest), plant_sheet_of(store, latest), product_of(latest)
    sheets = {head["run_id"]: run_sheet_of(store, head) for head in heads}
    density = product.insulation.density.value
    price = _price(plant, latest["construction"], product.family, density, share_of_month)
    covering_price = None
    if product.covering is not None:
        per_kg = plant.prices.covering_per_kg.get(product.family) if plant.prices else None
        covering_price = Price(
            product.covering.density.value, per_kg, price.km_per_month, price.currency, price.failed_reel
        )
        stated = sheets[latest["run_id"]].covering
        if stated is not None:
            price = replace(price, over=Over(stated.mean_mm, product.covering.density.value, per_kg))
    turned, told = _bolts_turned(line, sheets)
    judged_by = (product, latest["shift_date"], plant.limit_rows, plant.certificate)
    return TuningQuestion(
        line=line,
        limits=limits_in_force(*judged_by),
        missing=tuple(
            one.told for one in missing_requirements(*judged_by) if one.requirement in (AVERAGE, POINT)
        ),
        price=price,
        covering=sheets[latest["run_id"]].covering,
        covering_price=covering_price,
        risks=Risks(plant.risks.cut_sample, plant.risks.reel, plant.risks.plant_rule),
        small_scale_mm=None if plant.risks.small_scale_um is None else plant.risks.small_scale_um / 1000.0,
        adjustments=turned,
        trials=frozenset(name for name, sheet in sheets.items() if sheet.trial),
        circumstances={head["run_id"]: circumstances(store, head) for head in heads},
        found_m=_found_m(store, heads),
        loops={name: _LOOP[sheet.wall_control] for name, sheet in sheets.items()},
        purge_m=line.purge_m or PURGE_M,
    ), told


def newest_change(
    runs: Sequence[LineRun], trials: Collection[str], turned: Mapping[str, Sequence[Adjustment]]
) -> tuple[datetime | None, Message | None]:
    """Instant of the newest change that run sheets tell of, and what is said of it; None where there is none.

    A trial counts from its start, for its own reels are in no comparison; bolts from their last turn.

    Args:
        runs: the runs that were read, in the order of time.
        trials: runs that were trials of settings.
        turned: logged turns of bolts, by run.
    """
    for run in reversed(runs):
        bolts = turned.get(run.run_id, ())
        if run.run_id in trials:
            return run.started, message(
                Tuned.NEWEST_TRIAL_BOLTS if bolts else Tuned.NEWEST_TRIAL, run=run.run_id
            )
        if bolts:
            at_m = max(one.at_m for one in bolts)
            late = float(np.interp(at_m, np.maximum.accumulate(run.die_m), run.seconds))
            told = message(Tuned.NEWEST_BOLTS, at=Place(at_m), run=run.run_id)
            return run.started + timedelta(seconds=late), told
    return None, None


def _price(plant: PlantSheet, construction: str, family: str, density: float, share: float) -> Price:
    """What the plant's sheet says of money: compound is priced alike within a family, lengths a month are not."""
    prices = plant.prices
    if prices is None:
        return Price(density)
    length = prices.km_per_month.get(construction)
    return Price(
        density,
        prices.insulation_per_kg.get(construction, prices.insulation_per_kg.get(family)),
        None if length is None else length * share,
        prices.currency,
        prices.failed_reel,
    )


def _bolts_turned(
    line: LineSheet, sheets: dict[str, RunSheet]
) -> tuple[dict[str, tuple[Adjustment, ...]], tuple[Message, ...]]:
    """Logged turns by run; a turn of a bolt the line sheet does not name is told and left out with its step."""
    known = {one.id for one in line.bolts}
    turned: dict[str, tuple[Adjustment, ...]] = {}
    told = []
    for name, sheet in sheets.items():
        unknown = sorted({bolt for one in sheet.bolts_turned for bolt in one.turns} - known)
        if unknown:
            told.append(message(Tuned.UNKNOWN_BOLTS, run=name, bolts=unknown, line=line.id))
        turned[name] = tuple(
            Adjustment(one.at_m, one.turns) for one in sheet.bolts_turned if set(one.turns) <= known
        )
    return turned, tuple(told)


def circumstances(store: Store, head: Head) -> dict[str, str]:
    """What was set or used in a run, in words: who, when, of which lots, by which sheets."""
    return _circumstances(head, store.ask("questions/materials_of_load", load_id=head["load_id"]))


def _circumstances(head: Head, materials: Sequence[dict[str, Any]]) -> dict[str, str]:
    line, plant = head["line_sheet_sha256"], head["judged_plant_sheet_sha256"] or head["plant_sheet_sha256"]
    found = {
        "shift": str(head["shift"]),
        "operator role": str(head["operator_role"]),
        "colour": str(head["colour"]),
        "line sheet": line[:8],
        "plant sheet": plant[:8],
    }
    lots: dict[str, list[str]] = {}
    for row in materials:
        lots.setdefault(row["material"], []).append(row["lot"])
    return found | {f"{material} lot": ", ".join(sorted(set(names))) for material, names in lots.items()}


def _found_m(store: Store, heads: Sequence[Head]) -> dict[str, Any]:
    """Stretches of wire found nonconforming in wall or diameter, by run [m]."""
    found = {}
    for head in heads:
        rows = store.ask("questions/findings_of_assessment", assessment_id=head["assessment_id"])
        places = [(row["from_m"], row["to_m"]) for row in rows if row["requirement"] in WALL_RULES]
        if places:
            found[head["run_id"]] = np.array(places, dtype=np.float64)
    return found


def observed_on_file(store: Store, heads: Sequence[Head]) -> dict[tuple[str, float], Observed]:
    """Reels on file found bad, by requirement and limit."""
    rows = store.ask("questions/reels_failing", assessments=[head["assessment_id"] for head in heads])
    return {(row["requirement"], row["limit_value"]): Observed(row["bad"], row["reels"]) for row in rows}


def facts_on_file(
    store: Store,
    line: str,
    heads: Sequence[Head],
    from_utc: datetime,
    to_utc: datetime,
    across: LineRun | None,
) -> tuple[ReelFact, ...]:
    """Every reel of a line and product in a period as a comparison takes it, from summaries on file; trials left out.

    A reel's times come from its place on its run, as if the run had one speed. Only for the run that the change fell
    into does that matter; its readings give them exactly.

    Args:
        store: the store, open to read.
        line: the line.
        heads: runs of the product in the period.
        from_utc: first instant.
        to_utc: instant after the last.
        across: the run the change fell into, read in full; None where it fell between runs.
    """
    trials = trials_of_line(store, line)
    wanted = {head["run_id"]: head for head in heads if head["run_id"] not in trials}
    lots: dict[str, list[dict[str, Any]]] = {}
    for row in store.ask("questions/lots_of_line", line=line):
        lots.setdefault(row["run_id"], []).append(row)
    told = {name: _circumstances(head, lots.get(name, [])) for name, head in wanted.items()}
    rows = store.ask("questions/reel_walls_of_line", line=line, from_utc=from_utc, to_utc=to_utc)
    stretches = stretch_walls_of(store, list(wanted.values()))
    facts = [
        _fact(row, told[row["run_id"]], stretches.get(row["assessment_id"]))
        for row in rows
        if row["run_id"] in wanted and (across is None or row["run_id"] != across.run_id)
    ]
    if across is not None and across.run_id in wanted:
        facts += reel_facts(across, told[across.run_id])
    return tuple(facts)


def _fact(row: dict[str, Any], told: dict[str, str], stretches: StretchWalls | None) -> ReelFact:
    started = row["started_utc"].replace(tzinfo=UTC)
    lasted = (row["ended_utc"] - row["started_utc"]).total_seconds()
    per_m = lasted / row["made_m"] if row["made_m"] else 0.0
    values = {"mean_wall_um": 1000.0 * row["mean_wall_mm"], "wall_sd_um": 1000.0 * row["wall_sd_mm"]}
    if row["thinnest_mm"] is not None:
        values |= {"thinnest_um": 1000.0 * row["thinnest_mm"], "lowest_um": 1000.0 * row["lowest_mm"]}
    centre = stretches.centre_mm(row["from_m"], row["to_m"]) if stretches else None
    if centre:
        values["offset_um"] = 1000.0 * float(np.hypot(*centre))
    return ReelFact(
        row["reel_id"],
        row["run_id"],
        started + timedelta(seconds=per_m * max(row["from_m"], 0.0)),
        started + timedelta(seconds=per_m * row["to_m"]),
        values,
        told,
    )


def named(heads: Sequence[Head]) -> dict[str, list[Head]]:
    """The runs by product, products in the order of their newest run, runs in the order of time."""
    found: dict[str, list[Head]] = {}
    for head in sorted(heads, key=lambda one: (one["started_utc"], one["run_id"])):
        found.setdefault(product_named(head), []).append(head)
    return dict(sorted(found.items(), key=lambda item: item[1][-1]["started_utc"], reverse=True))
