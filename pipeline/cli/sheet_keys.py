"""The command that tells what a sheet may say: keys."""

from __future__ import annotations

import tomllib
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
    """Tell every key a sheet may have, with an example.

    Example: reelproof keys plant
    """
    from pipeline.job.sample_runs import sample_runs_folder
    from pipeline.sheets.sheet_keys import SHEETS, keys_of, with_examples

    sample = sample_runs_folder().parent / EXAMPLES[sheet]
    declared = keys_of(SHEETS[sheet], "" if sheet == "plant" else f"{sheet}.")
    found = tuple(with_examples(declared, tomllib.loads(sample.read_text(encoding="utf-8"))))
    if as_json:
        print_json([asdict(one) for one in found])
    else:
        for one in found:
            unit = f" in {one.unit}" if one.unit else ""
            default = f"; default {one.default}" if one.default not in ("", "must be given") else ""
            needed = "; must be given" if one.default == "must be given" else ""
            print(f"{one.key}: {one.kind}{unit}{default}{needed}")
            print(f"    {one.meaning}" + (f" Example: {one.example}" if one.example else ""))
        print(f"\nThe examples stand in {EXAMPLES[sheet]}.")
    return 0
