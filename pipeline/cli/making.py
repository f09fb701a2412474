"""Commands that make things to work with: simulate, map."""

from __future__ import annotations

from pathlib import Path

import typer

from pipeline.cli.showing import progress


def add_to(app: typer.Typer) -> None:
    """Add these commands to `app`."""
    app.command()(simulate)


def simulate(
    folder: Path = typer.Argument(help="Folder to write into; it is made if it is not there."),
    seed: int = typer.Option(20260303, "--seed", help="The same seed writes the same bytes."),
    line: str | None = typer.Option(
        None, "--line", help="One long run of this line (L1 or L2) instead of the plant."
    ),
    product: str = typer.Option(
        "14 AWG", "--product", help="What the long run makes: 14 AWG, 12 AWG or 1/0 AWG."
    ),
    hours: float = typer.Option(8.0, "--hours", min=0.02, max=72.0, help="Length of the long run."),
    hz: float = typer.Option(10.0, "--hz", min=1.0, max=50.0, help="Readings a second of the long run."),
) -> int:
    """Write line logs of an invented line, with the truth beside them: the sample plant, or one long run.

    Example: reelproof simulate /tmp/day --line L1 --hours 24
    """
    from pipeline.simulator.simulate_plant import full_size, simulate_plant

    with progress("Simulating", None) as told:
        if line is None:
            simulate_plant(folder, seed, told)
        else:
            full_size(line, product, hours, hz, seed, folder, told)
    print(f"Written: {folder}. Everything in it is invented; review it with: reelproof review {folder}")
    return 0
