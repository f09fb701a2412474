"""The command that tells what a sheet may say: keys."""

from __future__ import annotations

from dataclasses import asdict
from typing import Literal

import typer

from pipeline.cli.showing import JSON, print_json

EXAMPLES = {
    "plant": "sample_runs/plant.toml",
    "line": "sample_runs/lines/L1.toml",
    "run": "sample_runs/runs/R-0415/run.toml",
}


def add_to(app: typer.Typer) -> None:
    """Add this command to `app`."""
    app.command()(keys)


def keys(
    sheet: Literal["plant", "line", "run"] = typer.Argument(metavar="SHEET", help="plant, line or run."),
    as_json: bool = JSON,
) -> int:
    """Every key a sheet may have, with meaning, unit and default.

    Example: reelproof keys plant
    """
    from pipeline.sheets.sheet_keys import SHEETS, keys_of

    found = tuple(keys_of(SHEETS[sheet], "" if sheet == "plant" else f"{sheet}."))
    if as_json:
        print_json([asdict(one) for one in found])
    else:
        for one in found:
            unit = f" in {one.unit}" if one.unit else ""
            default = f"; default {one.default}" if one.default not in ("", "must be given") else ""
            needed = "; must be given" if one.default == "must be given" else ""
            print(f"{one.key}: {one.kind}{unit}{default}{needed}")
            print(f"    {one.meaning}")
        print(f"\nAn example stands in {EXAMPLES[sheet]}.")
    return 0
