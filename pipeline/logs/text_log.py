"""One text log from its first byte to its last: header, then batches of rows, then its hash and counts."""

from __future__ import annotations

import json
from collections.abc import Generator, Iterator
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from pipeline.errors import Complaint, LogError
from pipeline.log_notes import SetAside
from pipeline.logs.bad_lines import HOPELESS, LINES_OF_A_RECORD, MostLinesBad, is_hopeless
from pipeline.logs.earlier_rows import EarlierFile
from pipeline.logs.log_plan import LogPlan, header_cells, plan_columns
from pipeline.logs.open_log import OpenLog
from pipeline.logs.parse_block import ParsedBlock, parse_block
from pipeline.logs.whole_lines import Block, LineTooLong, from_line, whole_lines
from pipeline.messages import Message, message, message_of
from pipeline.sheets.run_sheet import LogFile

_HEADER_BYTES = 1 << 16
# A file spoilt by a copier or a full disk; a log has no such gap.
_MOST_BLANK_BYTES = 50_000_000


@dataclass(frozen=True, slots=True)
class FileEnd:
    """What is known of a file once it was read to its end.

    Args:
        sha256: hash of the bytes read.
        bytes: how many those are.
        rows_read: rows read, blank lines and the header not counted.
        rows_kept: rows kept.
        rows_set_aside: rows set aside.
        open_ended: True if the last line does not end in a line end, so that it may be unfinished.
        resume_line: from this line on the file must be read again once it has grown; 0 for all of it.
        passed_over: lines before that with a tag that is not mapped, by tag.
    """

    sha256: str
    bytes: int
    rows_read: int
    rows_kept: int
    rows_set_aside: int
    open_ended: bool
    resume_line: int = 0
    passed_over: tuple[tuple[str, int], ...] = ()


class TextLog:
    """A text log, read once by iterating over `blocks`.

    Args:
        path: the file.
        log: its mapping.
        zone: the plant's zone.
        limit: read so many bytes of it; None for all.
        earlier: what was read of it before, which is not read again.

    ``plan`` is there after the first block, ``end`` after the last.
    """

    def __init__(
        self,
        path: Path,
        log: LogFile,
        zone: str,
        limit: int | None = None,
        earlier: EarlierFile | None = None,
    ) -> None:
        self.path = path
        self.plan: LogPlan | None = None
        self.end: FileEnd | None = None
        self._log = log
        self._zone = zone
        self._limit = limit
        self._earlier = earlier
        self._resume_line = 0
        self._passed_over: dict[str, int] = {} if earlier is None else dict(earlier.passed_over)

    def blocks(self) -> Generator[ParsedBlock]:
        """The rows of the log in its order, a block at a time; only those that were not read before.

        Raises:
            LogError: the file cannot be read as the mapping says.
        """
        earlier = self._earlier
        kept, aside = (0, 0) if earlier is None else (earlier.rows_kept, earlier.set_aside.height)
        first_aside: ParsedBlock | None = None
        ended, blank = True, 0
        with OpenLog(self.path, self._log.encoding, self._limit) as opened:
            chunks, first_line = self._below_header(opened.text())
            self._resume_line = max(first_line, 0 if earlier is None else earlier.resume_line)
            try:
                for block in from_line(whole_lines(chunks, first_line), self._resume_line):
                    if not block.text.strip(b"\r\n"):
                        # Nothing but line ends, of which a spoilt file may hold hundreds of millions.
                        if not block.is_tail and self._resume_line:
                            self._resume_line = block.first_line + block.lines
                        ended = True
                        blank += len(block.text)
                        if blank > _MOST_BLANK_BYTES:
                            raise _nothing_but_line_ends(self.path, block.first_line)
                        continue
                    blank = 0
                    parsed = parse_block(block, self._known_plan)
                    self._go_on(block, parsed)
                    kept += parsed.kept
                    aside += parsed.set_aside.height
                    ended = block.text.endswith(b"\n")
                    if first_aside is None and parsed.set_aside.height:
                        first_aside = parsed
                    if is_hopeless(kept, aside) and first_aside is not None:
                        line, said, _ = first_aside.set_aside.row(0)
                        raise self._hopeless(line, message_of(json.loads(said)), is_all=not kept)
                    yield parsed
            except MostLinesBad as fault:
                raise self._hopeless(fault.line, fault.reason, is_all=False) from None
            except LineTooLong as fault:
                raise LogError(
                    Complaint(
                        f"{self.path}:{fault.line}",
                        "the line goes on for more than 16 MB: this is not a table of rows",
                        "Name the right file, or export the log as CSV",
                    )
                ) from None
            self._refuse_hopeless(kept, first_aside)
            self.end = FileEnd(
                opened.sha256,
                opened.size,
                kept + aside,
                kept,
                aside,
                not ended,
                self._resume_line,
                tuple(self._passed_over.items()),
            )

    def _go_on(self, block: Block, parsed: ParsedBlock) -> None:
        """Note up to where the file is read for good, whatever may follow."""
        if block.is_tail or self._resume_line == 0:
            return
        self._resume_line = block.first_line + block.lines
        # A quote opened near the end may yet be closed by a line to come.
        late = parsed.set_aside.filter(
            pl.col("line") + LINES_OF_A_RECORD >= self._resume_line,
            pl.col("text").str.contains('"', literal=True),
        )
        if late.height:
            self._resume_line = 0 if self._known_plan.long is not None else int(late["line"][0])
        for tag, lines in parsed.passed_over.iter_rows():
            self._passed_over[tag] = self._passed_over.get(tag, 0) + lines

    @property
    def _known_plan(self) -> LogPlan:
        if self.plan is None:
            raise AssertionError("the header is read before the rows")
        return self.plan

    def _below_header(self, chunks: Iterator[bytes]) -> tuple[Iterator[bytes], int]:
        """The text below the header and the number of its first line; sets the plan."""
        head = b""
        for chunk in chunks:
            head += chunk
            if len(head) >= _HEADER_BYTES:
                break
        even = head.replace(b"\r\n", b"\n").replace(b"\r", b"\n") if b"\r" in head[:_HEADER_BYTES] else head
        cells, taken, lines = header_cells(even[: 4 * _HEADER_BYTES], self.path, self._log)
        self.plan = plan_columns(cells, f"{self.path}:{lines}", self.path, self._log, self._zone)
        # A CR at the very end of the head may belong to a CR LF; keep the bytes as they came.
        below = even[taken:] if even is head or not head.endswith(b"\r") else even[taken:-1] + b"\r"
        return _chain(below, chunks), lines + 1

    def _hopeless(self, line: int, reason: Message, is_all: bool) -> LogError:
        most = message(SetAside.MOST_OF_THEM, reason=reason, lines=HOPELESS)
        return LogError(
            Complaint(
                f"{self.path}:{line}",
                message(SetAside.ALL_OF_THEM, reason=reason) if is_all else most,
                "Compare the file with its mapping: delimiter, decimal mark, encoding, time format, columns",
            )
        )

    def _refuse_hopeless(self, kept: int, first: ParsedBlock | None) -> None:
        if kept:
            return
        if first is not None:
            line, said, _ = first.set_aside.row(0)
            raise self._hopeless(line, message_of(json.loads(said)), is_all=True)
        if self._log.kind == "readings":
            raise LogError(
                Complaint(
                    str(self.path),
                    "the file has a header and no rows",
                    "Name the right file, or take it out of the run sheet",
                )
            )


def _nothing_but_line_ends(path: Path, line: int) -> LogError:
    return LogError(
        Complaint(
            f"{path}:{line}",
            f"nothing but line ends for more than {_MOST_BLANK_BYTES // 1_000_000} MB: this file is spoilt",
            "Copy it again from where it was written",
        )
    )


def _chain(first: bytes, rest: Iterator[bytes]) -> Iterator[bytes]:
    if first:
        yield first
    yield from rest
