"""Where the sample runs are: inside the installed package, or beside it in a checkout."""

from __future__ import annotations

from pathlib import Path


def sample_runs_folder() -> Path:
    """The folder of the sample runs that come with the program."""
    package = Path(__file__).parents[1]
    shipped = package / "sample_runs"
    return shipped if shipped.is_dir() else package.parent / "sample_runs"
