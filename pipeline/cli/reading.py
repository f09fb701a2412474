"""Commands that read what is on file: reel, lot."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import typer

from pipeline.cli.showing import JSON, STORE, print_json, print_table, tell_of_wait
from pipeline.cli.typed import role_or_refused
from pipeline.words import counted


def add_to(app: typer.Typer) -> None:
    """Add these commands to `app`."""
    app.command()(reel)
    app.command()(lot)


def reel(
    reel_id: str = typer.Argument(metavar="REEL", help="Number of the reel; with --at, or of a cut length."),
    at: str | None = typer.Option(
        None, "--at", help="A footage mark, as 123ft or 37.5m: show the whole record of the wire around it."
    ),
    outer_mark: float | None = typer.Option(
        None,
        "--outer-mark",
        help="The mark at the end that comes off first, in the unit of --at; 0, or as told of a rewound length.",
    ),
    printed: bool = typer.Option(
        False, "--printed", help="--at is the printed length itself, found by the marks surveyed on the run."
    ),
    falling: bool = typer.Option(False, "--falling", help="Marks fall towards the core instead of rising."),
    reach: float = typer.Option(10.0, "--reach", min=0.1, help="How far to either side of --at to look [m]."),
    store: Path = STORE,
    as_json: bool = JSON,
) -> int:
    """Show one reel: may it leave, why not, what was found. Every requirement and finding is listed.

    Example: reelproof reel L1-0411-01 --store store

    Example: reelproof reel L1-0412-02 --at 4520ft --store store
    """
    if at is not None:
        from pipeline.cli.complaint import show_wire_at

        return show_wire_at(reel_id, at, outer_mark, falling, reach, store, as_json, printed=printed)
    from pipeline.review.asking import reel_on_file
    from pipeline.store.database import open_to_read

    with open_to_read(store) as opened:
        answer = reel_on_file(opened, reel_id)
    if as_json:
        print_json(answer)
    else:
        _print_reel(answer)
    return 0


def lot(
    lot: str = typer.Argument(metavar="LOT", help="Number of a conductor, compound or colour lot."),
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
    from pipeline.review.asking import lot_on_file
    from pipeline.store.database import open_to_read

    with open_to_read(store) as opened:
        answer = lot_on_file(opened, lot)
    if as_json:
        print_json(answer)
    else:
        _print_lot(answer)
    return 0


def _export(lot: str, store: Path, folder: Path, key: Path | None, role: str, as_json: bool) -> int:
    from datetime import UTC, datetime

    from pipeline.cli.evidencing import tell_of_pack
    from pipeline.lots.key_files import read_private_key
    from pipeline.review.handing_over import hand_over, zip_beside
    from pipeline.review.lot_pack import lot_content
    from pipeline.store.database import open_to_read, open_to_write

    role_or_refused(f"lot {lot} --export", role)
    private_key = read_private_key(key) if key is not None else None
    zip_beside(folder)
    with open_to_read(store) as opened:
        content = lot_content(opened, lot, datetime.now(UTC), role)
    with open_to_write(store, on_wait=tell_of_wait, must_exist=True) as opened:
        tell_of_pack(hand_over(opened, f"lot {lot}", content, folder, role, private_key), as_json)
    return 0


def _number(value: float | None, form: str, otherwise: str = "none") -> str:
    return otherwise if value is None else format(value, form)


def _print_reel(answer: dict[str, Any]) -> None:
    row, now = answer["reel"], answer["standing"]
    if now["left_while_held"]:
        print(f"ALARM: {now['headline']}")
    print(
        f"Reel {row['reel_id']}: {now['code']}. {row['size']} {row['construction']}, {row['conductor']} "
        f"{row['metal']}, run {row['run_id']}, line {row['line']}, {row['shift']}, {row['shift_date']}."
    )
    if now["code"] not in ("held", "no conclusion"):
        print(f"  {now['headline']}")
    for reason in now["reasons"]:
        print(f"  - {reason}")
    if now["evidence"] != now["code"]:
        print(f"  On the in-line evidence alone it is {now['evidence']}.")
    if now["code"] in ("held", "no conclusion") and row["first_action"]:
        print(f"  First: {row['first_action']}")
    print(
        f"  {row['length_m']:.1f} m on the reel, {row['steady_m']:.1f} m of it at steady speed; "
        f"{row['wall_unmonitored_m']:.1f} m without wall evidence, {row['spark_untested_m']:.1f} m without a full "
        f"spark test; {counted(row['spark_faults'], 'spark fault')} ({counted(row['spark_counts'], 'count')})."
    )
    if answer["end_unsure_m"]:
        print(
            f"  Its ends are known to {answer['end_unsure_m']:g} m only: what the accumulator held at the reel change "
            "is not known."
        )
    if answer["readings"]:
        print(f"  {answer['readings']}")
    for material in answer["lots"]:
        print(f"  {material['material']}: lot {material['lot']}")
    print()
    from pipeline.nonconformance.statements import judged_by
    from pipeline.review.how_sure import risk_told

    print_table(
        ("Requirement", "Set", "Limit", "Worst", "Verdict", "Probability"),
        [
            (
                one["requirement"],
                one["requirement_set"],
                f"{_number(one['limit_value'], '.4g')} {one['unit']} ({one['sense']})"
                if one["limit_value"] is not None
                else "none on file",
                f"{_number(one['worst'], '.4g')} {one['unit']}",
                one["verdict"],
                risk_told(one),
            )
            for one in answer["requirements"]
        ],
    )
    if answer["findings"]:
        print()
        print_table(
            ("Finding", "Severity", "From m", "To m", "Judged by", "What"),
            [
                (
                    one["finding_id"],
                    one["severity"],
                    f"{one['from_core_m']:.1f}",
                    f"{one['to_core_m']:.1f}",
                    judged_by(one["limit_id"], one["limit_revision"]),
                    one["sentence"],
                )
                for one in answer["findings"]
            ],
        )
    _print_decided(answer)
    print(
        f"\nAssessment {row['assessment_id']} of {row['assessed_utc']:%Y-%m-%d %H:%M} UTC by reelproof "
        f"{row['software']}. In-line evidence supports and does not replace the standard's own tests."
    )


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
        print(
            f"{what} ({one['use']}, {code_of[one['length_id']]}): {one['from_outer_m']:.1f} m to "
            f"{one['to_outer_m']:.1f} m from the outer end{turned}{left}."
        )


def _print_lot(answer: dict[str, Any]) -> None:
    print(f"Lot {answer['lot']} ({', '.join(answer['materials'])}): {counted(answer['runs'], 'run')}.")
    print_table(
        ("Run", "Line", "Product", "Shift", "Material", "Over counter m"),
        [
            (
                one["run_id"],
                one["line"],
                f"{one['size']} {one['construction']}",
                f"{one['shift_date']} {one['shift']}",
                one["material"],
                "whole run"
                if one["from_m"] is None and one["to_m"] is None
                else f"{_number(one['from_m'], '.0f', 'start')} to {_number(one['to_m'], '.0f', 'end')}",
            )
            for one in answer["runs"]
        ],
    )
    print()
    print_table(
        ("Reel", "Run", "Length m", "Standing", "Why"),
        [
            (
                one["reel_id"],
                one["run_id"],
                f"{one['length_m']:.1f}",
                one["standing"],
                "; ".join(one["reasons"]),
            )
            for one in answer["reels"]
        ],
    )
