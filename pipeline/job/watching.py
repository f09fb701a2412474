"""Watch: which runs in an inbox are complete and new, so that each is loaded once, and a bad one blocks none.

A run is ready when its sheet can be read, every file it names is there, and nothing in it has changed for a
while. What was done and what failed is remembered in one file in the store; a failed run is tried again after a
pause that grows, or at once when its files change. Nothing in the inbox is ever moved or changed.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from pydantic import TypeAdapter

from pipeline.errors import in_words
from pipeline.job.alone import refusal_of
from pipeline.regular_file import json_of_file
from pipeline.sheets.log_files import with_files_found
from pipeline.sheets.run_sheet import read_run_sheet
from pipeline.steps.load import run_sheets_below
from pipeline.trust.sampled import SAMPLE_TABLE

MEMORY = "watched.json"
FIRST_PAUSE_S = 60.0
LONGEST_PAUSE_S = 3600.0


@dataclass(frozen=True, slots=True)
class Watched:
    """What is remembered of one run of the inbox.

    Args:
        mark: names, sizes and times of its files when last looked at.
        since_s: when the files were first seen as they are now [s since 1970].
        state: ``waiting``, ``done`` or ``failed``.
        tries: how often it was tried as it is now.
        again_s: when it may be tried again [s since 1970].
        reason: why it is not done.
    """

    mark: str
    since_s: float
    state: str = "waiting"
    tries: int = 0
    again_s: float = 0.0
    reason: str = ""


_MEMORY = TypeAdapter(dict[str, Watched])


def _mark(sheet: Path) -> tuple[str, str]:
    """Names, sizes and times of everything a run stands on, and what it still waits for ("" for nothing)."""
    parts, missing = [], ""
    try:
        run, _ = with_files_found(read_run_sheet(sheet), sheet)
        names = [name for log in run.logs for name in log.files]
        names += [run.line_sheet, run.plant_sheet]
        names += [SAMPLE_TABLE] if (sheet.parent / SAMPLE_TABLE).is_file() else []
        missing = next((f"no log is there yet: {log.kind}" for log in run.logs if not log.files), "")
    except Exception as fault:
        names, missing = [], str(refusal_of(fault, sheet.name).complaints[0])
    for path in (sheet, *(sheet.parent / name for name in names)):
        try:
            known = path.stat()
        except OSError:
            missing = missing or f"{path.name} is not there yet"
            parts.append(f"{path.name}:-")
        else:
            parts.append(f"{path.name}:{known.st_size}:{known.st_mtime_ns}")
    return "|".join(parts), missing


def look(
    inbox: Path, memory: Mapping[str, Watched], now_s: float, quiet_s: float
) -> tuple[tuple[Path, ...], dict[str, Watched]]:
    """What is ready in the inbox.

    Args:
        inbox: folder with run folders in it.
        memory: what was remembered, by run sheet.
        now_s: present time [s since 1970].
        quiet_s: how long a run's files must have stayed as they are [s].

    Returns:
        The run sheets to work now, and the memory brought up to date.
    """
    ready: list[Path] = []
    known: dict[str, Watched] = {}
    sheets, unread = run_sheets_below(inbox)
    for complaint in unread:
        # Told as a run that waits, for a run in it does.
        key = Path(complaint.where).relative_to(inbox).as_posix() + "/"
        reason = f"{in_words(complaint.found)}. {in_words(complaint.remedy)}"
        known[key] = replace(memory.get(key) or Watched("", now_s), reason=reason)
    for sheet in sheets:
        key = sheet.relative_to(inbox).as_posix()
        mark, missing = _mark(sheet)
        before = memory.get(key)
        one = before if before is not None and before.mark == mark else Watched(mark, now_s)
        # After the clock was set back, nothing waits for a time that lies years ahead.
        one = replace(one, since_s=min(now_s, one.since_s), again_s=min(now_s + LONGEST_PAUSE_S, one.again_s))
        if one.state == "waiting":
            one = replace(one, reason=missing)
        waited = now_s - one.since_s >= quiet_s
        if (
            not missing
            and waited
            and (one.state == "waiting" or (one.state == "failed" and now_s >= one.again_s))
        ):
            ready.append(sheet)
        known[key] = one
    return tuple(ready), known


def note_done(memory: dict[str, Watched], key: str) -> None:
    """Remember that a run was worked as it is now."""
    memory[key] = replace(memory[key], state="done", tries=memory[key].tries + 1, reason="")


def note_failed(memory: dict[str, Watched], key: str, reason: str, now_s: float) -> None:
    """Remember that a run failed, and when it may be tried again."""
    one = memory[key]
    pause = min(FIRST_PAUSE_S * 2.0**one.tries, LONGEST_PAUSE_S)
    memory[key] = replace(one, state="failed", tries=one.tries + 1, again_s=now_s + pause, reason=reason)


def remembered(store: Path) -> dict[str, Watched]:
    """What was remembered beside the store; nothing where the file is missing or damaged."""
    try:
        return _MEMORY.validate_python(json_of_file(store / MEMORY))
    except (OSError, ValueError):
        return {}


def remember(store: Path, memory: Mapping[str, Watched]) -> None:
    """Write what is remembered, as a whole or not at all."""
    store.mkdir(parents=True, exist_ok=True)
    unfinished = store / f".{MEMORY}.part"
    text = json.dumps({key: asdict(one) for key, one in sorted(memory.items())}, indent=1)
    unfinished.write_text(text, encoding="utf-8")
    unfinished.replace(store / MEMORY)
