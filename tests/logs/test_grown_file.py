"""A file is new, the same, grown or changed, and only its bytes decide; half a line is not a line."""

import codecs
import hashlib
from pathlib import Path

import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.errors import LogError
from pipeline.logs import grown_file
from pipeline.logs.grown_file import FileOnRecord, bytes_of_whole_lines, compare_with_record


def record(content: bytes) -> FileOnRecord:
    return FileOnRecord(hashlib.sha256(content).hexdigest(), len(content))


@pytest.mark.parametrize(
    ("before", "now", "growth"),
    [
        (None, b"a\nb\n", "new"),
        (b"a\nb\n", b"a\nb\n", "same"),
        (b"a\nb\n", b"a\nb\nc\n", "grown"),
        (b"a\nb", b"a\nb5\nc\n", "grown"),
        (b"\x1f\x8bb", b"\x1f\x8bb\x1f\x8bc", "grown"),
        (b"a\nb\n", b"a\nB\nc\n", "changed"),
        (b"a\nb\n", b"a\nB\n", "changed"),
        (b"a\nb\n", b"a\n", "changed"),
        (b"a\nb\n", b"", "changed"),
        (b"", b"a\n", "grown"),
        (b"", b"", "same"),
        (None, b"", "new"),
    ],
)
def test_growth(tmp_path: Path, before, now, growth) -> None:
    path = tmp_path / "log"
    path.write_bytes(now)
    found = compare_with_record(path, None if before is None else record(before))
    assert found.growth == growth
    assert (found.sha256, found.bytes) == (hashlib.sha256(now).hexdigest(), len(now))


@settings(max_examples=60, deadline=None)
@given(st.binary(max_size=40), st.binary(max_size=40), st.integers(1, 9))
def test_growth_for_any_size_of_chunk(tmp_path_factory, head: bytes, tail: bytes, chunk: int) -> None:
    path = tmp_path_factory.mktemp("grown") / "log"
    path.write_bytes(head + tail + b"behind the limit")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(grown_file, "CHUNK", chunk)
        found = compare_with_record(path, record(head), len(head + tail))
    assert found.growth == ("grown" if tail else "same")
    assert found.sha256 == hashlib.sha256(head + tail).hexdigest()


@pytest.mark.parametrize(
    ("content", "encoding", "whole"),
    [
        (b"h\n1\n2\n", "utf-8", 6),
        (b"h\n1\n2", "utf-8", 4),
        (b"h\r\n1\r\n2", "utf-8", 6),
        (b"h\r1\r2", "utf-8", 4),
        # One line alone, or an endless one: nothing says that it is half a line.
        (b"h,1", "utf-8", 3),
        (b"h\n" + b"1" * 70_000, "utf-8", 70_002),
        (b"", "utf-8", 0),
        (codecs.BOM_UTF16_LE + "h\n1\n2".encode("utf-16-le"), "utf-8", 10),
        ("h\n1\n2".encode("utf-16-be"), "utf-16-be", 8),
        # U+0A0A and U+010A, U+0A00: bytes of 0A that are no line end.
        ("h\n\u0a0a".encode("utf-16-le"), "utf-16-le", 4),
        ("h\n\u0100\u0a00x".encode("utf-16-le"), "utf-16-le", 4),
        ("h\n\u0a00\u0a0a".encode("utf-16-be"), "utf-16-be", 4),
        (b"h\n\xe9", "latin-1", 2),
        (b"h\n\xe9", "no such encoding", 2),
        (pa.Codec("zstd").compress(b"h\n1\n2", asbytes=True), "utf-8", None),
        (b"\x1f\x8b\x08\n\x00", "utf-8", None),
        (b"PAR1\n\x00", "utf-8", None),
    ],
)
def test_where_whole_lines_end(tmp_path: Path, content: bytes, encoding: str, whole: int | None) -> None:
    path = tmp_path / "log"
    path.write_bytes(content)
    assert bytes_of_whole_lines(path, encoding) == (len(content) if whole is None else whole)


def test_a_file_that_is_gone(tmp_path: Path) -> None:
    with pytest.raises(LogError) as caught:
        compare_with_record(tmp_path / "log", None)
    assert str(caught.value) == (
        f"{tmp_path}/log: there is no such file. Check the path, or its name in the run sheet."
    )
