"""Which files a run's logs are: those its sheet names, and those that its patterns find beside it."""

from __future__ import annotations

from pathlib import Path

from pipeline.errors import Complaint
from pipeline.sheets.run_sheet import RunSheet

_WILD = "*?["


def is_pattern(name: str) -> bool:
    """True if a name in ``files`` stands for every file it matches, as ``live/*.csv`` does."""
    return any(mark in name for mark in _WILD)


def with_files_found(run: RunSheet, path: Path) -> tuple[RunSheet, list[Complaint]]:
    """The run with each pattern of its logs replaced by the files it matches, in the order of their names.

    Args:
        run: the run sheet in `path`.
        path: where it stands; files are looked for beside it.

    Returns:
        The run, and a complaint for each name that no file has.
    """
    complaints: list[Complaint] = []
    logs = []
    for number, log in enumerate(run.logs, 1):
        names: list[str] = []
        for name in log.files:
            found = [name] if (path.parent / name).is_file() else _matches(path.parent, name)
            outside = [one for one in found if not _is_of_run(path, one)]
            if outside:
                complaints.append(
                    Complaint(
                        f"{path}: run.logs[{number}].files",
                        f"'{outside[0]}' lies outside the folder that holds this run's",
                        "Put the log into the run's folder; a log is never read from elsewhere",
                    )
                )
                continue
            # A plain name that no file has yet is kept, for it is what is waited for.
            names += (one for one in found or ([] if is_pattern(name) else [name]) if one not in names)
            if not found:
                complaints.append(
                    Complaint(
                        f"{path}: run.logs[{number}].files",
                        f"no file matches '{name}' beside the run sheet"
                        if is_pattern(name)
                        else f"there is no file '{name}' beside the run sheet",
                        "Put the log there, or correct its name",
                    )
                )
        logs.append(log.model_copy(update={"files": tuple(names)}))
    return run.model_copy(update={"logs": tuple(logs)}), complaints


def _is_of_run(sheet: Path, name: str) -> bool:
    """Whether a log lies in the run's folder or beside it, links followed: a sheet must not show any file there is."""
    return (sheet.parent / name).resolve().is_relative_to(sheet.parent.resolve().parent)


def _matches(folder: Path, pattern: str) -> list[str]:
    if not is_pattern(pattern) or Path(pattern).is_absolute():
        return []
    found = (one for one in folder.glob(pattern) if one.is_file() and not one.name.startswith("."))
    return sorted(one.relative_to(folder).as_posix() for one in found)
