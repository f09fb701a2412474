"""The command that follows a line's OPC UA server: follow."""

from __future__ import annotations

import sys
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from pipeline.cli.showing import JSON, print_json, progress

if TYPE_CHECKING:
    from pipeline.live.opc_ua import LiveSource, LiveState


def add_to(app: typer.Typer) -> None:
    """Add this command to `app`."""
    app.command()(follow)


def follow(
    sheet: Path = typer.Argument(
        help="Live sheet: the server's address, and which node holds which channel."
    ),
    folder: Path | None = typer.Option(
        None, "--folder", help="Where the values are kept; the sheet's folder by default."
    ),
    seconds: float | None = typer.Option(
        None, "--for", min=0.1, help="Stop after so many seconds; goes on until Ctrl-C otherwise."
    ),
    as_json: bool = JSON,
) -> int:
    """Follow a line's OPC UA server and keep its values as a log. `load` reads it; Ctrl-C stops it.

    Example: reelproof follow line_1.toml --folder R-0411/live
    """
    import asyncio

    from pipeline.live.live_sheet import read_live_sheet, run_sheet_lines
    from pipeline.live.opc_ua import LiveSource, library, secret_of
    from pipeline.live.value_file import ValueFiles

    followed = read_live_sheet(sheet)
    library()
    if followed.user is not None:
        secret_of(followed.user)
    home = folder or sheet.parent / followed.folder
    files = ValueFiles(home)
    if not as_json:
        print(
            f"Following {followed.endpoint}: {len(followed.nodes)} nodes into {home}. Ctrl-C stops it.",
            flush=True,
        )
        if followed.security is None:
            print("The connection is not secured; [live.security] in the sheet secures it.", flush=True)

    def told(sentence: str) -> None:
        print(sentence, file=sys.stderr, flush=True)

    with progress("Values kept", None) as shown:
        source = LiveSource(
            followed, files, on_values=lambda count: shown("Values kept", count), on_note=told
        )
        state = asyncio.run(_until_stopped(source, seconds))
    lines = run_sheet_lines(followed, f"{home.name}/live-*.csv")
    if as_json:
        print_json(
            {
                "endpoint": followed.endpoint,
                "values": state.values,
                "connections": state.connections,
                "losses": state.losses,
                "overflows": state.overflows,
                "clock_ahead_s": state.skew_s,
                "notes": state.notes,
                "files": [str(home / name) for name in files.names],
                "run_sheet": lines,
            }
        )
        return 0
    times = f"lost {state.losses} time{'' if state.losses == 1 else 's'}" if state.losses else "never lost"
    print(
        f"Stopped. {state.values:,} values kept in {len(files.names)} files in {home}; the server was {times}."
    )
    print(f"To load them, put this into the run sheet beside {home.name}:\n\n{lines}", end="")
    return 0


async def _until_stopped(source: LiveSource, seconds: float | None) -> LiveState:
    """Follow the server until a signal or the time set stops it."""
    import asyncio
    import signal

    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for name in ("SIGINT", "SIGTERM"):
        # Where an event loop takes no signals, Ctrl-C ends it as any other command.
        with suppress(NotImplementedError):
            loop.add_signal_handler(getattr(signal, name), stop.set)
    if seconds is not None:
        loop.call_later(seconds, stop.set)
    return await source.follow(stop)
