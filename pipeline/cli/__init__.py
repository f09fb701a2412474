"""The commands; turns errors into a sentence and an exit code."""

from __future__ import annotations

import sys


def main() -> None:
    """Run the command line and leave with its exit code."""
    from pipeline.cli.app import run

    sys.exit(run(sys.argv[1:]))
