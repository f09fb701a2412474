"""The text of certain lines of a log, read again for those who must be shown them."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from pipeline.logs.bad_lines import TEXT_CUT
from pipeline.logs.open_log import OpenLog
from pipeline.logs.whole_lines import whole_lines


def lines_of_file(path: Path, encoding: str, wanted: Iterable[int]) -> dict[int, str]:
    """Text of each line in `wanted`, cut at 500 characters.

    Args:
        path: the log.
        encoding: its encoding.
        wanted: line numbers from 1.
    """
    left = sorted(set(wanted))
    found: dict[int, str] = {}
    with OpenLog(path, encoding) as opened:
        for block in whole_lines(opened.text()):
            here = [line for line in left if line < block.first_line + block.lines]
            if here:
                lines = block.text.split(b"\n")
                for line in here:
                    found[line] = lines[line - block.first_line].decode("utf-8", "replace")[:TEXT_CUT]
                left = left[len(here) :]
            if not left:
                break
    return found
