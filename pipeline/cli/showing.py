"""How commands show work under way and answers: progress bars, plain lines, or JSON."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

import typer

from pipeline.messages import Message
from pipeline.wording.say import plain

if TYPE_CHECKING:
    from pipeline.length.reel_places import Unit

STORE = typer.Option(
    Path("reelproof_store"),
    "--store",
    envvar="REELPROOF_STORE",
    help="Folder of the store.",
    show_default=True,
)
JSON = typer.Option(False, "--json", help="Print the answer as JSON.")


def _plain(value: object) -> object:
    if isinstance(value, datetime):
        return value.isoformat() + ("Z" if value.tzinfo is None else "")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Message):
        return plain(value)
    return str(value)


def print_json(answer: object) -> None:
    """Print `answer` as JSON; figures that are not finite become null."""
    print(json.dumps(_finite(answer), indent=2, default=_plain, ensure_ascii=False))


def _finite(value: Any) -> Any:
    if isinstance(value, float):
        return value if abs(value) != float("inf") and value == value else None
    if isinstance(value, Mapping):
        return {key: _finite(part) for key, part in value.items()}
    if isinstance(value, Sequence) and not isinstance(value, str | bytes):
        return [_finite(part) for part in value]
    return value


def print_table(headings: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Print `rows` under `headings`, columns as wide as they need."""
    widths = [
        max(len(heading), *(len(row[place]) for row in rows)) if rows else len(heading)
        for place, heading in enumerate(headings)
    ]
    for line in (headings, ["-" * width for width in widths], *rows):
        print("  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip())


def print_alarms(alarms: Sequence[Message], unit: Unit, file: TextIO | None = None) -> None:
    """Print what must be seen first: wire that is out and might not have left.

    Args:
        alarms: what to tell.
        unit: the plant's unit of length.
        file: where to; standard output by default.
    """
    for one in alarms:
        print(f"ALARM: {plain(one, 'us' if unit == 'ft' else 'si')}", file=file)


@contextmanager
def progress(title: str, total: int | None) -> Iterator[Callable[[str, int], None]]:
    """A progress bar on standard error; silent where that is not a terminal.

    Args:
        title: what is being done.
        total: how many steps there are, None where unknown.

    Yields:
        A function to call with what is being worked on and how many more steps are done.
    """
    if not sys.stderr.isatty():
        yield lambda _what, _more: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    with Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeElapsedColumn(),
        TextColumn("{task.fields[what]}"),
        console=Console(stderr=True),
        transient=True,
    ) as bar:
        task = bar.add_task(title, total=total, what="")

        def told(what: str, more: int) -> None:
            bar.update(task, advance=more, what=what)

        yield told


def tell_of_wait(who: str) -> None:
    """Say on standard error that another writer is being waited for."""
    print(f"Waiting: {who} is writing to this store.", file=sys.stderr)
