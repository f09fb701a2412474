"""Opening a log: what kind of file it is, its content hash, and its text as a stream of UTF-8 bytes.

Compression is told by the first bytes (gzip: RFC 1952; zstd: RFC 8878), not by the name. A byte order mark
decides the encoding before the mapping does (The Unicode Standard, section 23.8).
"""

from __future__ import annotations

import codecs
import gzip
import hashlib
import io
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from pipeline.errors import Complaint, LogError
from pipeline.regular_file import NotRegularError, opened_regular

if TYPE_CHECKING:
    from _typeshed import WriteableBuffer

CHUNK = 1 << 24
_PACKED_CHUNK = 1 << 20
_GZIP = b"\x1f\x8b"
_ZSTD = b"\x28\xb5\x2f\xfd"
_PARQUET = b"PAR1"
_MARKS: tuple[tuple[bytes, str], ...] = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32-le"),
    (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
_MANY_ZEROS = 8
# What other programs save in place of text, by first bytes (as registered with the makers' formats).
_NOT_TEXT: tuple[tuple[bytes, str], ...] = (
    (b"PK\x03\x04", "a zip archive or a spreadsheet"),
    (b"\xd0\xcf\x11\xe0", "an old spreadsheet"),
    (b"%PDF", "a PDF"),
    (b"7z\xbc\xaf", "a 7z archive"),
    (b"BZh", "a bzip2 file"),
    (b"\xfd7zXZ", "an xz file"),
    (b"SQLite format 3", "a database"),
    (b"\x89PNG", "a picture"),
    (b'{"', "a JSON file"),
    (b'[{"', "a JSON file"),
    (b"<?xml", "an XML file"),
    (b"<html", "a web page"),
    (b"<!DOCTYPE", "a web page"),
)


class _Hashing(io.RawIOBase):
    """A file read forward once, hashed and counted on the way.

    ``head`` is the first bytes of the file, looked at without reading them.
    """

    def __init__(self, file: BinaryIO, limit: int | None = None) -> None:
        self._file = file
        self._limit = limit
        self.head: bytes = file.peek(4)[:4] if isinstance(file, io.BufferedReader) else b""
        self.digest = hashlib.sha256()
        self.size = 0

    def take(self, size: int) -> bytes:
        """The next `size` bytes, or what is left."""
        if self._limit is not None:
            size = min(size, self._limit - self.size)
        chunk = self._file.read(size)
        self.digest.update(chunk)
        self.size += len(chunk)
        return chunk

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: WriteableBuffer) -> int:
        view = memoryview(buffer).cast("B")
        chunk = self.take(len(view))
        view[: len(chunk)] = chunk
        return len(chunk)

    def close(self) -> None:
        self._file.close()
        super().close()


class _Lent(io.RawIOBase):
    """A reader that may be closed without closing the file behind it."""

    def __init__(self, file: _Hashing) -> None:
        self._file = file

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: WriteableBuffer) -> int:
        return self._file.readinto(buffer)


def is_packed(head: bytes) -> bool:
    """True if the first bytes of a file say that it is gzip or zstd."""
    return head.startswith((_GZIP, _ZSTD))


def open_file(path: Path) -> BinaryIO:
    """The file `path`, open for reading its bytes.

    Raises:
        LogError: it is not there, is a folder, or may not be read.
    """
    try:
        return opened_regular(path)
    except NotRegularError as fault:
        found, remedy = fault.strerror or "", "Name the log files themselves in the run sheet"
    except FileNotFoundError:
        found, remedy = "there is no such file", "Check the path, or its name in the run sheet"
    except IsADirectoryError:
        found, remedy = "this is a folder, not a log", "Name the log files themselves in the run sheet"
    except PermissionError:
        found, remedy = "you may not read this file", "Ask for read permission, or copy it"
    except OSError as fault:
        found, remedy = (
            f"the file cannot be opened: {fault.strerror}",
            "Copy it to this machine and try again",
        )
    raise LogError(Complaint(str(path), found, remedy))


class OpenLog:
    """A log opened for one reading from start to end.

    Args:
        path: the file.
        encoding: encoding of the text where no byte order mark tells it.
        limit: read so many bytes and no more, of a file that is still being written; None for all.

    ``sha256`` and ``size`` describe the bytes read, and are whole once the text was read to its end.
    """

    def __init__(self, path: Path, encoding: str = "utf-8", limit: int | None = None) -> None:
        self.path = path
        self._raw = _Hashing(open_file(path), limit)
        self._encoding = encoding

    def __enter__(self) -> OpenLog:
        return self

    def __exit__(self, *_: object) -> None:
        self._raw.close()

    @property
    def sha256(self) -> str:
        """Hash of the bytes read so far."""
        return self._raw.digest.hexdigest()

    @property
    def size(self) -> int:
        """Number of bytes read so far."""
        return self._raw.size

    def text(self) -> Iterator[bytes]:
        """The log's text in UTF-8, in chunks, without a byte order mark.

        Raises:
            LogError: the file is damaged, or is no text.
        """
        chunks = self._unpacked()
        first = next(chunks, b"")
        _refuse_what_is_not_text(self.path, first, self._encoding)
        mark, encoding = _marked(first)
        encoding = encoding or _known_encoding(self._encoding, self.path)
        first = first[len(mark) :]
        if encoding in {"utf-8", "ascii"}:
            yield first
            yield from chunks
        else:
            decoder = codecs.getincrementaldecoder(encoding)("replace")
            for chunk in _chain(first, chunks):
                yield decoder.decode(chunk).encode("utf-8", "replace")
            yield decoder.decode(b"", final=True).encode("utf-8", "replace")

    def _unpacked(self) -> Iterator[bytes]:
        """The file's bytes, decompressed; reads the file to its end."""
        if self._raw.head.startswith(_GZIP):
            packed = io.BufferedReader(_Lent(self._raw), _PACKED_CHUNK)
            yield from self._inflated(gzip.GzipFile(fileobj=packed), "gzip")
        elif self._raw.head.startswith(_ZSTD):
            packed = io.BufferedReader(_Lent(self._raw), _PACKED_CHUNK)
            yield from self._inflated(_zstd_stream(packed), "zstd")
        else:
            while chunk := self._raw.take(CHUNK):
                yield chunk
        while self._raw.take(CHUNK):
            pass

    def _inflated(self, stream: BinaryIO | gzip.GzipFile, kind: str) -> Iterator[bytes]:
        unpacked = 0
        try:
            while chunk := stream.read(CHUNK):
                unpacked += len(chunk)
                yield chunk
        except (EOFError, OSError, zlib.error):
            raise LogError(
                Complaint(
                    str(self.path),
                    f"the {kind} file is cut short or damaged after {unpacked:,} bytes of text",
                    "Copy it again from the logger; if it is still being written, wait until it is whole",
                )
            ) from None


def _zstd_stream(raw: io.BufferedIOBase) -> BinaryIO:
    import pyarrow as pa

    stream: BinaryIO = pa.CompressedInputStream(pa.PythonFile(raw, mode="r"), "zstd")
    return stream


def _chain(first: bytes, rest: Iterator[bytes]) -> Iterator[bytes]:
    yield first
    yield from rest


def _marked(head: bytes) -> tuple[bytes, str | None]:
    for mark, encoding in _MARKS:
        if head.startswith(mark):
            return mark, encoding
    return b"", None


def marked_encoding(head: bytes) -> str | None:
    """The encoding that a byte order mark at the start of a file tells; None if there is none."""
    return _marked(head)[1]


def _writes_plainly(name: str) -> bool:
    """Whether every sign of ASCII is one, two or four bytes in an encoding: a log's separators are such signs."""
    signs = "0,;\t\n"
    widths = {len(signs) * width + mark for width, mark in ((1, 0), (1, 3), (2, 0), (2, 2), (4, 0), (4, 4))}
    try:
        raw = signs.encode(name)
        # Some of the library's encodings know no replacing of what cannot be read.
        bytes(range(256)).decode(name, "replace")
        return len(raw) in widths and raw.decode(name) == signs and name != "utf-7"
    except (LookupError, UnicodeError, ValueError, AttributeError, TypeError):
        return False


def _known_encoding(name: str, path: Path) -> str:
    try:
        known = codecs.lookup(name)
    except (LookupError, ValueError):  # the latter for a name with a zero in it
        known = None
    # Some codecs of Python are no text encodings (base64, zip), or of names of hosts; they have no business here.
    if known is None or not getattr(known, "_is_text_encoding", True) or not _writes_plainly(known.name):
        raise LogError(
            Complaint(
                f"{path}: encoding",
                f"'{name}' is not a text encoding this program knows",
                "Write utf-8, utf-16, latin-1 or cp1252, or another name of Python's list of encodings",
            )
        )
    if known.name in {"utf-16", "utf-32"}:
        return f"{known.name}-le"
    return "utf-8" if known.name in {"utf-8", "utf-8-sig", "ascii"} else known.name


def is_parquet(path: Path) -> bool:
    """True if the first bytes of the file `path` say that it is Parquet.

    Raises:
        LogError: the file cannot be opened.
    """
    with open_file(path) as file:
        return file.read(4) == _PARQUET


def _refuse_what_is_not_text(path: Path, head: bytes, encoding: str) -> None:
    for mark, kind in _NOT_TEXT:
        if head.startswith(mark):
            raise LogError(
                Complaint(str(path), f"this is {kind}, not a text log", "Export it as CSV and name that file")
            )
    if _marked(head)[1] or encoding.lower().replace("_", "-").startswith(("utf-16", "utf-32")):
        return
    sample = head[:4096]
    zeros = sample.count(0)
    if 0.9 * len(sample) > zeros > len(sample) / 3:
        little = sample[1::2].count(0) >= sample[::2].count(0)
        raise LogError(
            Complaint(
                str(path),
                "every other byte is zero, as in UTF-16 text without a byte order mark",
                f'Set encoding = "utf-16-{"le" if little else "be"}" in its mapping',
            )
        )
    # A zero here and there is a damaged line; many are another kind of file.
    if zeros >= _MANY_ZEROS and zeros * 100 > len(sample):
        raise LogError(
            Complaint(
                str(path),
                f"byte {sample.index(0) + 1} is zero: this is not a text log",
                "Export the log as CSV and name that file",
            )
        )
