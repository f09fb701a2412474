"""The command line as a whole: its commands, and what a person reads when something goes wrong.

Exit codes: 0 done; 1 a check did not hold; 2 bad input; 3 the store; 4 a fault of this program; 130 stopped.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence

import typer

from pipeline import __version__
from pipeline.cli import (
    anchoring,
    deciding,
    drifting,
    evidencing,
    following,
    holding,
    making,
    noting,
    printing,
    product,
    reading,
    reviewing,
    scaling,
    serving,
    sheet_keys,
    trusting,
    tuning,
)
from pipeline.errors import ReelproofError

app = typer.Typer(
    name="reelproof",
    help="Quality evidence for insulated building wire: line logs placed on the reel, judged, and kept.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"reelproof {__version__}")
        raise typer.Exit


@app.callback()
def root(
    version: bool = typer.Option(
        False, "--version", callback=_version, is_eager=True, help="Print the version and leave."
    ),
) -> None:
    """Quality evidence for insulated building wire: line logs placed on the reel, judged, and kept.

    In-line evidence supports and does not replace the adopted standard's own tests.
    """


reviewing.add_to(app)
scaling.add_to(app)
reading.add_to(app)
evidencing.add_to(app)
anchoring.add_to(app)
product.add_to(app)
deciding.add_to(app)
holding.add_to(app)
noting.add_to(app)
drifting.add_to(app)
trusting.add_to(app)
tuning.add_to(app)
printing.add_to(app)
making.add_to(app)
following.add_to(app)
serving.add_to(app)
sheet_keys.add_to(app)


def run(arguments: Sequence[str]) -> int:
    """Run one command and return its exit code; no fault ends in a traceback."""
    try:
        outcome = app(list(arguments), standalone_mode=False)
    except ReelproofError as fault:
        for complaint in fault.complaints:
            print(complaint, file=sys.stderr)
        return fault.exit_code
    except (KeyboardInterrupt, typer.Abort):
        return 130
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception as fault:
        return _told_of_usage_or_fault(fault)
    return int(outcome) if isinstance(outcome, int) else 0


def _told_of_usage_or_fault(fault: Exception) -> int:
    show = getattr(fault, "show", None)
    code = getattr(fault, "exit_code", None)
    if show is not None and isinstance(code, int):
        if isinstance(said := getattr(fault, "message", None), str):
            fault.message = said.replace("Value error, ", "")  # type: ignore[attr-defined]
        show()
        return code
    if os.environ.get("REELPROOF_TRACE"):
        raise fault
    if _was_interrupted(fault):
        return 130
    from pipeline.store.damage import is_full_disk

    if is_full_disk(fault):
        print(
            f"{getattr(fault, 'filename', None) or 'disk'}: it cannot be written, for the disk is full or read-only. "
            "Free some space, then run the same command again.",
            file=sys.stderr,
        )
        return 3
    if isinstance(fault, OSError) and fault.filename is not None:
        why = (fault.strerror or type(fault).__name__).lower()
        print(
            f"{os.fsdecode(fault.filename)}: it cannot be read or written ({why}). Check the name, its folder and the "
            "permission, then run the same command again.",
            file=sys.stderr,
        )
        return ReelproofError.exit_code
    print(
        f"A fault of this program, not of your data: {type(fault).__name__}: {fault}\n"
        "Run the same command with REELPROOF_TRACE=1 set and report what it prints; nothing half-written was kept.",
        file=sys.stderr,
    )
    return 4


def _was_interrupted(fault: BaseException | None) -> bool:
    """Whether a stop by the keyboard lies behind a fault: libraries turn it into errors of their own."""
    seen: set[int] = set()
    while fault is not None and id(fault) not in seen:
        if isinstance(fault, KeyboardInterrupt) or str(fault) == "Query interrupted":
            return True
        seen.add(id(fault))
        fault = fault.__cause__ or fault.__context__
    return False
