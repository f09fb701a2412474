"""Cutting a stream of bytes into blocks of whole lines, with the number of their first line.

A line ends with LF, CR LF or a lone CR. A quoted cell may run over several lines (RFC 4180, section 2, rule
6), so a block is never cut inside one that closes within `LONGEST_RECORD` bytes.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

LONGEST_RECORD = 1 << 16
LONGEST_LINE = 1 << 24


@dataclass(frozen=True, slots=True)
class Block:
    """Whole lines of a log.

    Args:
        text: the lines, UTF-8, each but perhaps the last of the file ended by LF.
        first_line: line number of the first of them, from 1.
        lines: number of lines.
        is_tail: True for what stands behind the last sure end of a row: it may be read otherwise if the file grows.
    """

    text: bytes
    first_line: int
    lines: int
    is_tail: bool = False


class LineTooLong(Exception):  # noqa: N818 - carries a line number to the caller, who complains
    """A line that no table of readings has."""

    def __init__(self, line: int) -> None:
        self.line = line
        super().__init__(f"line {line}")


def whole_lines(chunks: Iterator[bytes], first_line: int = 1) -> Iterator[Block]:
    """Blocks of whole lines from `chunks`, in order.

    Args:
        chunks: the text.
        first_line: number of the line `chunks` begins with.

    Raises:
        LineTooLong: a line is longer than `LONGEST_LINE` bytes.
    """
    carry = b""
    line = first_line
    held_cr = False
    for chunk in chunks:
        text, held_cr = _with_lf_only(chunk, held_cr)
        text = carry + text
        cut = _cut(text)
        if cut == 0:
            if len(text) > LONGEST_LINE + LONGEST_RECORD:
                raise LineTooLong(line)
            carry = text
            continue
        block, carry = text[:cut], text[cut:]
        count = block.count(b"\n")
        yield Block(block, line, count)
        line += count
    carry += b"\n" if held_cr else b""
    if carry:
        yield Block(carry, line, carry.count(b"\n") + (not carry.endswith(b"\n")), is_tail=True)


def from_line(blocks: Iterator[Block], line: int) -> Iterator[Block]:
    """What `blocks` hold from line `line` on."""
    for block in blocks:
        if block.first_line >= line:
            yield block
        elif block.first_line + block.lines > line:
            passed = line - block.first_line
            ends = np.flatnonzero(np.frombuffer(block.text, np.uint8) == 10)
            yield Block(block.text[int(ends[passed - 1]) + 1 :], line, block.lines - passed, block.is_tail)


def _with_lf_only(chunk: bytes, held_cr: bool) -> tuple[bytes, bool]:
    """`chunk` with every line end as LF; a CR at its end is held back, for LF may follow it."""
    if held_cr:
        chunk = b"\r" + chunk
    if b"\r" not in chunk:
        return chunk, False
    held = chunk.endswith(b"\r")
    if held:
        chunk = chunk[:-1]
    return chunk.replace(b"\r\n", b"\n").replace(b"\r", b"\n"), held


def _cut(text: bytes) -> int:
    """Where to cut: after the last line end outside a quoted cell, or the last of all if it is endless."""
    end = text.rfind(b"\n") + 1
    if end == 0 or b'"' not in text:
        return end
    array = np.frombuffer(text, np.uint8)
    quotes = np.flatnonzero(array == 34)
    breaks = np.flatnonzero(array == 10)
    outside = breaks[np.searchsorted(quotes, breaks) % 2 == 0]
    cut = int(outside[-1]) + 1 if outside.size else 0
    return cut if end - cut <= LONGEST_RECORD else end
