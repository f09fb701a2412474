"""Commands that make things to work with: simulate, map."""

from __future__ import annotations

from pathlib import Path

import typer

from pipeline.cli.showing import JSON, print_json, print_table, progress
from pipeline.errors import Complaint, ReelproofError


def add_to(app: typer.Typer) -> None:
    """Add these commands to `app`."""
    app.command()(simulate)
    app.command("map")(propose_map)


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
    """Write logs of an invented line, with the truth beside them. It is the sample plant, or one long run.

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


def _shown(value: object) -> str:
    """A value of the preview; a figure by as many digits as any gauge gives."""
    if value is None:
        return "-"
    return f"{value:.7g}" if isinstance(value, float) else str(value)


def propose_map(
    file: Path = typer.Argument(help="A log as the plant writes it."),
    zone: str = typer.Option("UTC", "--zone", help="IANA zone of the plant's clocks, for local times."),
    out: Path | None = typer.Option(None, "--out", help="Write the proposal to this file, to edit."),
    as_json: bool = JSON,
) -> int:
    """Propose how a log's columns map to ours. A person confirms it.

    Example: reelproof map line_log.csv --zone America/Chicago --out mapping.toml
    """
    from pipeline.logs.mapping_proposal import propose_mapping

    proposal = propose_mapping(file, zone)
    preview = proposal.preview.head(3)
    if out is not None:
        if out.exists():
            raise ReelproofError(
                Complaint(str(out), "this file is there already", "Name another file, or move it")
            )
        out.write_text(proposal.toml, encoding="utf-8")
    if as_json:
        print_json({"toml": proposal.toml, "doubts": list(proposal.doubts), "preview": preview.to_dicts()})
        return 0
    if preview.height:
        print_table(
            ("Read as", *(f"Row {number}" for number in range(1, preview.height + 1))),
            [(name, *(_shown(value) for value in preview[name].to_list())) for name in preview.columns],
        )
    else:
        print("No row can be read by this proposal yet.")
    for doubt in proposal.doubts:
        print(f"Look at this: {doubt}")
    print()
    print(proposal.toml if out is None else f"Proposal written to {out}.")
    print(
        "This is a proposal: check every column and unit against what the instruments give, then put it in a run sheet."
    )
    return 0
