"""Values on disk as they come, one a line, so that a crash costs the last moment at most.

The quality stands last in the line: a line cut by a crash lacks it, and is set aside when the file is read. A file
is never opened again for writing; each start makes its own.
"""

from __future__ import annotations

import contextlib
import csv
import io
import os
from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path
from typing import TextIO

from pipeline.errors import Complaint, StoreError
from pipeline.live.live_sheet import QUALITY, TAG, TIME, VALUE

Value = tuple[str, datetime, str, str]


class ValueFiles:
    """Files of values in a folder, a new one every hour and at every start.

    Args:
        folder: where the files stand.
        hours: hours of values in a file.
    """

    def __init__(self, folder: Path, hours: float = 1.0) -> None:
        self.folder = folder
        self.names: list[str] = []
        self._hours = hours
        self._file: TextIO | None = None
        self._begun: datetime | None = None

    def write(self, values: Iterable[Value], now: datetime) -> int:
        """Put values on disk and return how many; they are there for good when this returns.

        Args:
            values: node, instant of the source, value and quality.
            now: the present instant, which names the file.

        Raises:
            StoreError: the disk is full or may not be written.
        """
        text = io.StringIO()
        writer = csv.writer(text, lineterminator="\n")
        count = 0
        for node, time, value, quality in values:
            writer.writerow((node, time.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ"), value, quality))
            count += 1
        if count == 0:
            return 0
        try:
            file = self._open(now)
            file.write(text.getvalue())
            file.flush()
            os.fsync(file.fileno())
        except OSError as fault:
            # Part of the values may be there: the next try makes a new file, and doubles are known when it is read.
            with contextlib.suppress(OSError):
                self.close()
            raise StoreError(
                Complaint(
                    str(self.folder),
                    f"live values cannot be written: {fault.strerror or fault}",
                    "Free some space there, or check that you may write there; until then they wait in memory",
                )
            ) from None
        return count

    def close(self) -> None:
        """Close the file being written."""
        file, self._file, self._begun = self._file, None, None
        if file is not None:
            file.close()

    def _open(self, now: datetime) -> TextIO:
        begun = self._begun
        if self._file is not None and begun is not None:
            if 0.0 <= (now - begun).total_seconds() < self._hours * 3600.0:
                return self._file
            self.close()
        self.folder.mkdir(parents=True, exist_ok=True)
        name = f"live-{now.astimezone(UTC):%Y%m%dT%H%M%S%fZ}.csv"
        # Text is written by the line, so nothing half-written waits in the program.
        file = (self.folder / name).open("x", encoding="utf-8", newline="")
        file.write(f"{TAG},{TIME},{VALUE},{QUALITY}\n")
        self._file, self._begun = file, now
        self.names.append(name)
        return file
