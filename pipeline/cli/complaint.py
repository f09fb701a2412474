"""How the record of the wire around a footage mark is shown: for a complaint about a reel or a shipped length."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.cli.plant_units import InUnits
from pipeline.cli.showing import print_alarms, print_json, print_table
from pipeline.cli.typed import length_of
from pipeline.errors import Complaint, ReelproofError
from pipeline.length.reel_places import CORE, OUTER

if TYPE_CHECKING:
    import polars as pl

    from pipeline.record.complaint_on_file import AnsweredComplaint

TITLES = {
    "mean_wall_mm": "Mean insulation wall",
    "thinnest_wall_mm": "Thinnest insulation wall",
    "thinnest_wall_low_mm": "Thinnest insulation wall (worse bound)",
    "eccentricity_mm": "Eccentricity",
    "diameter_mm": "Overall diameter",
    "ovality_mm": "Ovality",
}


def show_wire_at(
    name: str,
    at: str,
    outer_mark: float | None,
    falling: bool,
    reach_m: float,
    store: Path,
    as_json: bool,
    *,
    printed: bool = False,
    from_core: bool = False,
) -> int:
    """Print everything on record around a mark; 0 as the exit code."""
    from pipeline.lots.complaint import Marks
    from pipeline.record.complaint_on_file import answer_complaint
    from pipeline.store.database import open_to_read

    mark, unit = length_of(at, "--at")
    asked = {"--outer-mark": outer_mark is not None, "--falling": falling, "--printed": printed}
    others = [name for name, given in asked.items() if given]
    if from_core and others:
        raise ReelproofError(
            Complaint(
                "--from-core",
                f"it stands beside {' and '.join(others)}",
                "Give --from-core for a place counted from the core end, or the others for a printed mark",
            )
        )
    with open_to_read(store) as opened:
        answer = answer_complaint(
            opened,
            name,
            mark,
            Marks(outer_mark or 0.0, not falling, unit),
            reach_m,
            printed=printed,
            as_told=outer_mark is None and not falling and not from_core,
            from_core=from_core,
        )
    if as_json:
        print_json(_as_json(answer))
    else:
        _print(answer)
    return 0


def _as_json(answer: AnsweredComplaint) -> dict[str, Any]:
    from pipeline.wording.say import plain

    record = answer.record
    return {
        "name": answer.name,
        "reel_id": answer.reel["reel_id"],
        "run_id": answer.reel["run_id"],
        "from_outer_m": record.place.from_outer_m,
        "from_core_m": record.place.from_core_m,
        "wire_m": record.place.wire_m,
        "unsure_m": record.place.unsure_m,
        "standing": answer.standing,
        "alarms": list(answer.alarms),
        "evidence": answer.reel["standing"],
        "sentences": [plain(one) for one in record.told],
        "figures": record.figures.to_dicts(),
        "events": record.around["events"].to_dicts(),
        "wall_readings": record.around["wall"].to_dicts(),
        "diameter_readings": record.around["diameter"].to_dicts(),
        "findings": {name: list(ids) for name, ids in answer.finding_ids.items()},
        "lots": [{"material": row["material"], "lot": row["lot"]} for row in answer.lots],
        "decisions": list(answer.decisions),
        "whereabouts": answer.whereabouts,
        "length_told": "" if answer.length_told is None else plain(answer.length_told),
        "guide": [
            {"damage": one.damage, "reaches": one.reaches, "advice": one.advice, "sentence": one.sentence}
            for one in answer.guide
        ],
        "cautions": list(record.cautions),
    }


def _print(answer: AnsweredComplaint) -> None:
    record, row, shown = answer.record, answer.reel, InUnits(answer.unit)
    print_alarms(answer.alarms, shown.unit)
    stands = f"reel {row['reel_id']}: {answer.standing}, {row['standing']}"
    if answer.name != row["reel_id"]:
        stands = f"length {answer.name}: {answer.standing}; reel {row['reel_id']}: {row['standing']}"
    print(
        f"{answer.name}: {row['size']} {row['construction']}, {row['conductor']} {row['metal']}, run "
        f"{row['run_id']}, line {row['line']}, {row['shift']}, {row['shift_date']}; {stands} "
        "on the evidence."
    )
    for sentence in (answer.length_told, *record.told, answer.whereabouts):
        if sentence:
            print(f"  - {shown.sentence(sentence)}")
    print()
    print_table(
        ("Around the mark", "Readings", "Least", "Mean", "Greatest"),
        [
            (
                TITLES[one["quantity"]],
                str(one["readings"]),
                *(shown.quantity(one[name], "mm", "not known") for name in ("least", "mean", "greatest")),
            )
            for one in record.figures.iter_rows(named=True)
        ],
    )
    _print_events(record.around["events"], record.place.wire_m, shown)
    print()
    for title, name in (
        ("Findings on this wire", "here"),
        ("Findings near it", "near"),
        ("Findings elsewhere with the same likely cause", "same cause"),
    ):
        print(f"{title}: {', '.join(answer.finding_ids[name]) or 'none'}.")
    for lot in answer.lots:
        print(f"{lot['material'].capitalize()}: lot {lot['lot']}")
    for sentence in answer.decisions:
        print(f"Decided, {sentence}")
    print("\nDamage in the field, as is usual (common practice, no source):")
    print_table(
        ("Damage", "Reaches", "As a rule", "Why"),
        [(one.damage, one.reaches, one.advice, one.sentence) for one in answer.guide],
    )
    for caution in record.cautions:
        print(f"Caution: {caution}")


def _print_events(events: pl.DataFrame, wire_m: float, shown: InUnits) -> None:
    if events.height:
        print()
        print_table(
            ("Event", f"From the mark {shown.unit}", "Voltage", "Size"),
            [
                (
                    one["kind"],
                    _from_mark(wire_m - one["at_m"], shown),
                    shown.quantity(one["spark_kv"], "kV", "not known"),
                    shown.quantity(one["flaw_size_mm"], "mm", "not known"),
                )
                for one in events.iter_rows(named=True)
            ],
        )


def _from_mark(further_m: float, shown: InUnits) -> str:
    """How far from the mark, and towards which end of the reel."""
    return f"{shown.figure(abs(further_m))} to the {CORE if further_m >= 0.0 else OUTER}"
