"""A reel's tag: what it says, that a reprint says so, and that its code is read by another's reader.

The code is read from the printed tag, drawn as dots, by zxing-cpp, which shares nothing with the library that made it.
"""

from __future__ import annotations

import zlib
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import typst
import zxingcpp

from pipeline.acts.holding import put_hold
from pipeline.cli.app import run
from pipeline.errors import NotFoundError, ReelproofError
from pipeline.record.standing import standing_of
from pipeline.record.tags import tags_of
from pipeline.reports import reel_tag
from pipeline.reports.reel_tag import address_of_tag, code_as_svg, printed_tag
from pipeline.sheets.plant_tags import Tags
from pipeline.store.database import Store, open_to_read, open_to_write
from tests.acts.decided_store import ENGINEER, copied
from tests.reports.test_printed_records import text_of

REEL = "L1-0412-03"
AT = datetime(2026, 3, 4, 6, tzinfo=UTC)
TAGS = Tags(address="https://review.example")
TEMPLATES = Path(reel_tag.__file__).parent / "templates"


def dots(png: bytes) -> np.ndarray[Any, np.dtype[np.uint8]]:
    """A picture of eight bits a channel as gray dots (PNG, ISO/IEC 15948, clauses 7 to 9)."""
    at, parts = 8, b""
    width = height = channels = 0
    while at < len(png):
        size, kind = int.from_bytes(png[at : at + 4]), png[at + 4 : at + 8]
        body = png[at + 8 : at + 8 + size]
        if kind == b"IHDR":
            width, height = int.from_bytes(body[:4]), int.from_bytes(body[4:8])
            channels = {0: 1, 2: 3, 6: 4}[body[9]]
            assert body[8] == 8 and body[12] == 0
        parts += body if kind == b"IDAT" else b""
        at += 12 + size
    raw, row = zlib.decompress(parts), 1 + width * channels
    before, lines = np.zeros(width * channels, int), []
    for y in range(height):
        how, line = raw[y * row], np.frombuffer(raw[y * row + 1 : (y + 1) * row], np.uint8).astype(int)
        if how == 2:
            line = (line + before) % 256
        elif how:
            for x in range(len(line)):
                left = line[x - channels] if x >= channels else 0
                corner = before[x - channels] if x >= channels else 0
                guess = left + before[x] - corner
                near = min((left, before[x], corner), key=lambda one: abs(guess - one))
                line[x] = (line[x] + {1: left, 3: (left + before[x]) // 2, 4: near}[how]) % 256
        before = line
        lines.append(line.reshape(width, channels)[:, 0])
    return np.array(lines, np.uint8)


def read_by_another(picture: np.ndarray[Any, np.dtype[np.uint8]]) -> str:
    (found,) = zxingcpp.read_barcodes(np.ascontiguousarray(picture))
    assert found.format == zxingcpp.BarcodeFormat.QRCode
    return str(found.text)


@pytest.fixture
def store(judged_store: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    sheet = reel_tag.plant_sheet_of

    def with_tags(opened: Store, run_id: str) -> Any:
        plant, sha256 = sheet(opened, run_id)
        return plant.model_copy(update={"tags": TAGS}), sha256

    monkeypatch.setattr(reel_tag, "plant_sheet_of", with_tags)
    return copied(judged_store, tmp_path / "store")


def test_a_tag_says_how_the_reel_stood_and_a_reprint_says_so(store: Path) -> None:
    with open_to_write(store) as opened:
        first = text_of(printed_tag(opened, REEL, "line operator", AT))
        (tag,) = tags_of(opened, REEL)
        now = standing_of(opened, REEL)
        assert tag.code == now.code == "held"
        for part in (
            REEL,
            "14 AWG",
            "held",
            f"Tag {tag.number}, printed 2026-03-04 00:00 CST by line operator",
        ):
            assert part in first
        assert "A tag releases nothing." in first and "Reprint" not in first
        assert f"https://review.example/tag/{REEL}/{tag.number}" in first.replace(" ", "")
        put_hold(opened, REEL, ENGINEER, "scuffed")
        again = text_of(printed_tag(opened, REEL, "line operator", AT))
        assert f"Reprint 1. Tag {tag.number} of " in again and "said: held." in again
    assert run(["verify", "--store", str(store)]) == 0


def test_another_reader_reads_the_printed_code(store: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    drawn: list[bytes] = []

    def as_dots(template: str, data: dict[str, Any], at: datetime) -> bytes:
        import json

        text = json.dumps(data)
        drawn.append(
            bytes(
                typst.compile(
                    TEMPLATES / template, root=TEMPLATES, sys_inputs={"data": text}, format="png", ppi=150
                )
            )
        )
        return b""

    monkeypatch.setattr(reel_tag, "typeset", as_dots)
    with open_to_write(store) as opened:
        printed_tag(opened, REEL, "line operator", AT)
        (tag,) = tags_of(opened, REEL)
    picture = dots(drawn[0])
    assert read_by_another(picture) == f"https://review.example/tag/{REEL}/{tag.number}"
    soiled = picture.copy()  # a thumb's worth of it
    high, wide = soiled.shape
    soiled[int(0.2 * high) : int(0.26 * high), int(0.78 * wide) : int(0.86 * wide)] = 0
    assert (soiled != picture).any()
    assert read_by_another(soiled) == read_by_another(picture)


@pytest.mark.parametrize("length", [1, 17, 40, 119, 200])
def test_codes_of_any_length_are_read(length: int) -> None:
    import segno

    text = ("https://review.example/tag/" + "L1-0412-03" * 20)[:length]
    made = segno.make_qr(text, error="q", boost_error=False)
    modules = np.array([list(row) for row in made.matrix_iter(border=4)], np.uint8)
    assert read_by_another(np.kron(255 * (1 - modules), np.ones((4, 4), np.uint8)).astype(np.uint8)) == text
    assert f'width="{modules.shape[1]}"' in code_as_svg(text)


def test_with_a_company_prefix_the_code_is_a_digital_link() -> None:
    # 952 is GS1's own prefix for demonstrations (GS1 General Specifications, from memory).
    tags = Tags(address="https://review.example", gs1_prefix="9521234")
    assert address_of_tag(tags, REEL, 142) == f"https://review.example/8004/9521234{REEL}?tag=142"
    assert (
        address_of_tag(tags, "L" * 24, 1) == f"https://review.example/tag/{'L' * 24}/1"
    )  # more than it may hold


def test_a_tag_has_no_time_but_its_own(store: Path, tmp_path: Path, capsys: Any) -> None:
    out = tmp_path / "tag.pdf"
    words = ["print", "tag", REEL, "--by", "line operator", "--out", str(out), "--store", str(store)]
    assert run([*words, "--at", "2026-03-04T06:00"]) == 2
    assert "--at: a tag says how its reel stands now" in capsys.readouterr().err
    with open_to_read(store) as opened:
        assert tags_of(opened, REEL) == () and not out.exists()


def test_what_no_tag_is_printed_of(judged_store: Path, tmp_path: Path, store: Path, monkeypatch: Any) -> None:
    with open_to_write(store) as opened:
        with pytest.raises(NotFoundError, match="no reel of this number is on file"):
            printed_tag(opened, "L1-0412-99", "line operator", AT)
        monkeypatch.undo()
        with pytest.raises(ReelproofError, match="does not say where the review site is"):
            printed_tag(opened, REEL, "line operator", AT)
    with open_to_read(store) as opened:
        assert tags_of(opened, REEL) == ()
    for wrong in ("review.example", "https://review.example/x", "javascript:alert(1)"):
        with pytest.raises(ValueError, match="address"):
            Tags(address=wrong)
