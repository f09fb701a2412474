"""Commands that read what is on file: reel, lot."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING, Any

import typer

from pipeline.cli.plant_units import InUnits
from pipeline.cli.showing import JSON, STORE, print_alarms, print_json, print_table, tell_of_wait
from pipeline.cli.typed import metres_of, role_or_refused
from pipeline.length.reel_places import COUNTED, span_told
from pipeline.words import counted, material_name

if TYPE_CHECKING:
    from pipeline.messages import Said

# Letters of a reason on a line of the lot's table; longer ones go on below.
REASON_WIDTH = 88


def add_to(app: typer.Typer) -> None:
    """Add these commands to `app`."""
    app.command()(reel)
    app.command()(lot)


def reel(
    reel_id: str = typer.Argument(metavar="REEL", help="Number of the reel; with --at, or of a cut length."),
    at: str | None = typer.Option(
        None,
        "--at",
        help="A place from the outer end, as 123ft or 37.5m: show the whole record of the wire around it.",
    ),
    outer_mark: float | None = typer.Option(
        None,
        "--outer-mark",
        help="The printed mark at the outer end, in the unit of --at; 0, or as told of a rewound length.",
    ),
    printed: bool = typer.Option(
        False, "--printed", help="--at is the printed length itself, found by the marks surveyed on the run."
    ),
    from_core: bool = typer.Option(False, "--from-core", help="--at counts from the core end instead."),
    falling: bool = typer.Option(False, "--falling", help="Marks fall towards the core instead of rising."),
    reach: str = typer.Option(
        "10m", "--reach", help="How far to either side of --at to look, as 30ft or 10m."
    ),
    store: Path = STORE,
    as_json: bool = JSON,
) -> int:
    """Show one reel: may it leave, why not, what was found. Every requirement and finding is listed.

    Example: reelproof reel L1-0411-01 --store store

    Example: reelproof reel L1-0412-02 --at 4520ft --store store
    """
    if at is not None:
        from pipeline.cli.complaint import show_wire_at

        return show_wire_at(
            reel_id,
            at,
            outer_mark,
            falling,
            metres_of(reach, "--reach"),
            store,
            as_json,
            printed=printed,
            from_core=from_core,
        )
    from pipeline.record.reel_and_lot import reel_and_standing
    from pipeline.store.database import open_to_read

    with open_to_read(store) as opened:
        answer, now = reel_and_standing(opened, reel_id)
    if as_json:
        print_json(answer)
    else:
        _print_reel(answer, [one.told for one in now.against])
    return 0


def lot(
    lot: str = typer.Argument(metavar="LOT", help="Number of a conductor, compound or color lot."),
    store: Path = STORE,
    export: Path | None = typer.Option(
        None, "--export", help="Write its whole history as this new folder, and as a zip file beside it."
    ),
    key: Path | None = typer.Option(
        None, "--key", help="Sign the export with the private key in this file ('reelproof key')."
    ),
    role: str = typer.Option("", "--role", help="Your role in the plant; needed with --export."),
    as_json: bool = JSON,
) -> int:
    """Show where a material lot went, or hand its history over. What is handed over verifies by itself.

    Example: reelproof lot PVC-2231 --store store

    Example: reelproof lot PVC-2231 --store store --export lot-PVC-2231 --role "quality engineer"
    """
    if export is not None:
        return _export(lot, store, export, key, role, as_json)
    from pipeline.record.reel_and_lot import lot_and_standings
    from pipeline.store.database import open_to_read

    with open_to_read(store) as opened:
        answer, now = lot_and_standings(opened, lot)
    if as_json:
        print_json(answer)
    else:
        _print_lot(answer, {name: [one.told for one in reel.against] for name, reel in now.items()})
    return 0


def _export(lot: str, store: Path, folder: Path, key: Path | None, role: str, as_json: bool) -> int:
    from datetime import UTC, datetime
    from functools import partial

    from pipeline.acts.handing_over import hand_over, zip_beside
    from pipeline.cli.evidencing import tell_of_pack
    from pipeline.lots.key_files import read_private_key
    from pipeline.proofs.lot_pack import lot_content
    from pipeline.reports.printed import printed_history
    from pipeline.store.database import open_to_read, open_to_write

    role_or_refused(f"lot {lot} --export", role)
    private_key = read_private_key(key) if key is not None else None
    zip_beside(folder)
    with open_to_read(store) as opened:
        at = datetime.now(UTC)
        content = lot_content(opened, lot, at, partial(printed_history, opened, lot, role, at))
    with open_to_write(store, on_wait=tell_of_wait, must_exist=True) as opened:
        tell_of_pack(hand_over(opened, f"lot {lot}", content, folder, role, private_key), as_json)
    return 0


def _counter(value: float | None, otherwise: str, shown: InUnits) -> str:
    return otherwise if value is None else shown.figure(value)


def _print_reel(answer: dict[str, Any], against: Sequence[Said]) -> None:
    """A reel in words; `against` is what speaks against it, as codes, so that no figure is rounded twice."""
    row, now, shown = answer["reel"], answer["standing"], InUnits(answer["unit"])
    print_alarms(now["alarms"], shown.unit)
    print(
        f"Reel {row['reel_id']}: {now['code']}. {row['size']} {row['construction']}, {row['conductor']} "
        f"{row['metal']}, run {row['run_id']}, line {row['line']}, {row['shift']}, {row['shift_date']}."
    )
    if now["code"] not in ("held", "no conclusion"):
        print(f"  {shown.sentence(now['headline'])}")
    for reason in dict.fromkeys(shown.sentences(against)):
        print(f"  - {reason}")
    if now["evidence"] != now["code"]:
        print(f"  On the in-line evidence alone it is {now['evidence']}.")
    if now["code"] in ("held", "no conclusion") and row["first_action"]:
        print(f"  First: {shown.sentence(row['first_action'])}")
    print(
        f"  {shown.length(row['length_m'])} on the reel, {shown.length(answer['steady_read_m'])} of it read at "
        "steady speed; "
        f"{shown.length(row['wall_unmonitored_m'])} without wall evidence, {shown.length(row['spark_untested_m'])} "
        f"without a full spark test; {counted(row['spark_faults'], 'spark fault')} "
        f"({counted(row['spark_counts'], 'count')})."
    )
    if answer["end_unsure_m"]:
        print(
            f"  Its ends are known to {shown.length(answer['end_unsure_m'])} only: the place of the reel change "
            "is not known better."
        )
    if answer["readings"]:
        print(f"  {shown.sentence(answer['readings'])}")
    for material in answer["lots"]:
        print(f"  {material_name(material['material'])}: lot {material['lot']}")
    print()
    from pipeline.nonconformance.statements import judged_by
    from pipeline.record.how_sure import risk_told

    print_table(
        ("Requirement", "Set", "Limit", "Worst", "Verdict", "Probability"),
        [
            (
                one["requirement"],
                one["requirement_set"],
                f"{shown.quantity(one['limit_value'], one['unit'])} ({one['sense']})"
                if one["limit_value"] is not None
                else "none on file",
                shown.quantity(one["worst"], one["unit"]),
                one["verdict"],
                risk_told(one),
            )
            for one in answer["requirements"]
        ],
    )
    _print_samples(answer["samples"], shown)
    if answer["findings"]:
        print()
        print_table(
            (
                "Finding",
                "Severity",
                f"From {shown.unit}",
                f"To {shown.unit}",
                f"Core end {shown.unit}",
                "Judged by",
                "What",
            ),
            [
                (
                    one["finding_id"],
                    one["severity"],
                    shown.figure(one["from_outer_m"]),
                    shown.figure(one["to_outer_m"]),
                    f"{shown.figure(one['from_core_m'])} to {shown.figure(one['to_core_m'])}",
                    judged_by(one["limit_id"], one["limit_revision"]),
                    shown.sentence(one["sentence"]),
                )
                for one in answer["findings"]
            ],
        )
        print(COUNTED)
    _print_decided(answer)
    print(
        f"\nAssessment {row['assessment_id']} of {row['assessed_utc']:%Y-%m-%d %H:%M} UTC by reelproof "
        f"{row['software']}. In-line evidence supports and does not replace the standard's own tests."
    )


def _print_samples(samples: list[dict[str, Any]], shown: InUnits) -> None:
    """Laboratory samples that bear on the reel, and what is said of each."""
    if not samples:
        return
    print()
    print_table(
        (
            "Sample",
            "Reel",
            f"From outer end {shown.unit}",
            "Measured",
            "Laboratory",
            "u",
            "Line",
            "Verdict",
            "By",
            "With",
        ),
        [
            (
                one["sample_id"],
                one["reel_id"],
                shown.figure(one["from_outer_m"]),
                one["told"],
                shown.quantity(one["value"], one["unit"]),
                shown.quantity(one["uncertainty"], one["unit"], "not given"),
                shown.quantity(one["line"], one["unit"], "not read"),
                one["verdict"],
                one["measured_by"],
                one["instrument"] or "not named",
            )
            for one in samples
        ],
    )
    for one in samples:
        if one["withdrawn"]:
            print(shown.sentence(one["withdrawn"]))


def _print_decided(answer: dict[str, Any]) -> None:
    """What persons decided about the reel, and the lengths cut from it."""
    decided = answer["decided"]
    if decided["acts"]:
        by = f" ({decided['disposition']})" if decided["disposition"] else ""
        print(f"\nDecided so far; the reel is {decided['standing']}{by}:")
        for sentence in decided["acts"]:
            print(f"  {sentence}")
    code_of = {one["length_id"]: one["code"] for one in answer["standing"]["lengths"]}
    for one in answer["cut_lengths"]:
        left = f", shipped in {one['shipment']} to {one['to_place']}" if one["shipment"] else ""
        what = (
            f"Length {one['length_id']}, rewound from {one['source_id']}"
            if one["source_id"]
            else (f"Cut length {one['length_id']}")
        )
        turned = ", turned round" if one["turned"] else ""
        where = span_told(
            (one["from_outer_m"], one["to_outer_m"]), answer["reel"]["length_m"], answer["unit"]
        )
        print(f"{what} ({one['use']}, {code_of[one['length_id']]}): {where}{turned}{left}.")


def _rows_with_reasons(cells: tuple[str, ...], reasons: Iterable[str]) -> list[tuple[str, ...]]:
    """A reel's cells with its reasons below each other in the last column, each on lines of its own."""
    lines = [line for one in reasons for line in wrap(one, REASON_WIDTH, subsequent_indent="  ")] or [""]
    blank = ("",) * len(cells)
    return [(*cells, lines[0]), *((*blank, line) for line in lines[1:])]


def _print_lot(answer: dict[str, Any], against: Mapping[str, Sequence[Said]]) -> None:
    shown = InUnits(answer["unit"])
    print_alarms(answer["alarms"], shown.unit)
    print(
        f"Lot {answer['lot']} ({', '.join(map(material_name, answer['materials']))}): {counted(answer['runs'], 'run')}."
    )
    print_table(
        ("Run", "Line", "Product", "Shift", "Material", f"Over counter {shown.unit}"),
        [
            (
                one["run_id"],
                one["line"],
                f"{one['size']} {one['construction']}",
                f"{one['shift_date']} {one['shift']}",
                material_name(one["material"]),
                "whole run"
                if one["from_m"] is None and one["to_m"] is None
                else f"{_counter(one['from_m'], 'start', shown)} to {_counter(one['to_m'], 'end', shown)}",
            )
            for one in answer["runs"]
        ],
    )
    print()
    print_table(
        ("Reel", "Run", f"Length {shown.unit}", "Standing", "Why"),
        [
            row
            for one in answer["reels"]
            for row in _rows_with_reasons(
                (one["reel_id"], one["run_id"], shown.figure(one["length_m"]), one["standing"]),
                dict.fromkeys(shown.sentences(against[one["reel_id"]])),
            )
        ],
    )
