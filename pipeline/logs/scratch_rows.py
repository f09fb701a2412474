"""Rows of a log too long for memory: columns in scratch files that the operating system pages in when asked.

The files are unlinked as soon as they are mapped, so nothing of them is left behind, whatever happens to the program.
"""

from __future__ import annotations

import contextlib
import mmap
import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import BinaryIO

import numpy as np
import polars as pl
import pyarrow as pa
from numpy.typing import NDArray

from pipeline.errors import Complaint, StoreError

_TYPES: dict[pl.DataType, pa.DataType] = {
    pl.Float64(): pa.float64(),
    pl.Int64(): pa.int64(),
    pl.UInt32(): pa.uint32(),
    pl.UInt8(): pa.uint8(),
}


class _Column:
    """A column being written: its figures to a file, whether they are known as one bit each in memory."""

    def __init__(self, name: str, dtype: pl.DataType, file: BinaryIO) -> None:
        self.name = name
        self.count = 0
        self._is_flag = dtype == pl.Boolean()
        self._dtype = pl.UInt8() if self._is_flag else dtype
        self._file = file
        self._known: list[tuple[int, NDArray[np.uint8] | None]] = []

    def append(self, part: pl.Series) -> None:
        figures = part.cast(self._dtype)
        known = None
        if figures.null_count():
            known = np.packbits(figures.is_not_null().to_numpy(), bitorder="little")
            figures = figures.fill_null(0)
        self._known.append((part.len(), known))
        self.count += part.len()
        self._file.write(np.ascontiguousarray(figures.to_numpy()).data)

    def series(self) -> pl.Series:
        """The column, lying in its file."""
        self._file.flush()
        if self.count == 0:
            return pl.Series(self.name, [], dtype=pl.Boolean if self._is_flag else self._dtype)
        mapped = mmap.mmap(self._file.fileno(), 0, access=mmap.ACCESS_READ)
        array = pa.Array.from_buffers(_TYPES[self._dtype], self.count, [self._bitmap(), pa.py_buffer(mapped)])
        column = pl.Series(self.name, array)
        return column.cast(pl.Boolean) if self._is_flag else column

    def _bitmap(self) -> pa.Buffer | None:
        if all(known is None for _, known in self._known):
            return None
        bits = np.ones(self.count, np.bool_)
        at = 0
        for count, known in self._known:
            if known is not None:
                bits[at : at + count] = np.unpackbits(known, count=count, bitorder="little")
            at += count
        return pa.py_buffer(np.packbits(bits, bitorder="little").tobytes())


def rows_on_disk(blocks: Iterable[pl.DataFrame], folder: Path) -> pl.DataFrame:
    """All rows of `blocks` as one frame whose columns lie in scratch files.

    Args:
        blocks: frames of the same columns of numbers, taken one at a time; at least one, which may be empty.
        folder: where the scratch files are made.

    Raises:
        StoreError: a scratch file cannot be written.
    """
    source = iter(blocks)
    first = next(source)
    with contextlib.ExitStack() as stack:
        files = [stack.enter_context(_scratch_file(folder)) for _ in first.columns]
        columns = [
            _Column(name, dtype, file)
            for (name, dtype), file in zip(first.schema.items(), files, strict=True)
        ]
        for block in source:
            with _told(folder):
                for column in columns:
                    column.append(block[column.name])
        with _told(folder):
            return pl.DataFrame([column.series() for column in columns])


@contextlib.contextmanager
def _scratch_file(folder: Path) -> Iterator[BinaryIO]:
    with _told(folder):
        folder.mkdir(parents=True, exist_ok=True)
        file = tempfile.NamedTemporaryFile(dir=folder, prefix="rows-", delete=False)  # noqa: SIM115
    try:
        yield file  # type: ignore[misc]
    finally:
        # Where a mapped file cannot be unlinked, the folder's owner clears it.
        with contextlib.suppress(OSError):
            file.close()
            Path(file.name).unlink()


@contextlib.contextmanager
def _told(folder: Path) -> Iterator[None]:
    try:
        yield
    except OSError as fault:
        raise StoreError(
            Complaint(
                str(folder),
                f"a scratch file for a long log cannot be written: {fault.strerror or fault}",
                "Free some space there (as much as the log has unpacked), or check that you may write there",
            )
        ) from None
