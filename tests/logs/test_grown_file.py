"""A file is new, the same, grown or changed, and only its bytes decide."""

import hashlib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.errors import LogError
from pipeline.logs import grown_file
from pipeline.logs.grown_file import FileOnRecord, compare_with_record


def record(content: bytes, rows: int = 3) -> FileOnRecord:
    return FileOnRecord(hashlib.sha256(content).hexdigest(), len(content), rows)


@pytest.mark.parametrize(
    ("before", "now", "growth", "rows_before"),
    [
        (None, b"a\nb\n", "new", 0),
        (b"a\nb\n", b"a\nb\n", "same", 3),
        (b"a\nb\n", b"a\nb\nc\n", "grown", 3),
        # The last line had no end yet, so it is read again.
        (b"a\nb", b"a\nb5\nc\n", "grown", 2),
        (b"\x1f\x8bb", b"\x1f\x8bb\x1f\x8bc", "grown", 3),
        (b"a\nb\n", b"a\nB\nc\n", "changed", 0),
        (b"a\nb\n", b"a\nB\n", "changed", 0),
        (b"a\nb\n", b"a\n", "changed", 0),
        (b"a\nb\n", b"", "changed", 0),
        (b"", b"a\n", "grown", 3),
        (b"", b"", "same", 3),
        (None, b"", "new", 0),
    ],
)
def test_growth(tmp_path: Path, before, now, growth, rows_before) -> None:
    path = tmp_path / "log"
    path.write_bytes(now)
    found = compare_with_record(path, None if before is None else record(before))
    assert (found.growth, found.rows_before) == (growth, rows_before)
    assert (found.sha256, found.bytes) == (hashlib.sha256(now).hexdigest(), len(now))


@settings(max_examples=60, deadline=None)
@given(st.binary(max_size=40), st.binary(max_size=40), st.integers(1, 9))
def test_growth_for_any_size_of_chunk(tmp_path_factory, head: bytes, tail: bytes, chunk: int) -> None:
    path = tmp_path_factory.mktemp("grown") / "log"
    path.write_bytes(head + tail)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(grown_file, "CHUNK", chunk)
        found = compare_with_record(path, record(head))
    assert found.growth == ("grown" if tail else "same")


def test_a_file_that_is_gone(tmp_path: Path) -> None:
    with pytest.raises(LogError) as caught:
        compare_with_record(tmp_path / "log", None)
    assert str(caught.value) == (
        f"{tmp_path}/log: there is no such file. Put the log there, or correct its name in the run sheet."
    )
