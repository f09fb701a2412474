"""Packs made to mislead or to harm whoever checks or opens them."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import zipfile
from dataclasses import replace
from pathlib import Path

import polars as pl
import pytest

from pipeline.lots import verify_pack
from pipeline.lots.canonical import canonical_bytes
from pipeline.lots.pack import packed, verify_files
from tests.lots.test_pack import content


def sealed_again(files: dict[str, bytes]) -> dict[str, bytes]:
    """The files with every hash made again, as somebody without the key would."""
    manifest = json.loads(files["manifest.json"])
    for one in manifest["files"]:
        raw = files[one["path"]]
        one |= {"bytes": len(raw), "sha256": hashlib.sha256(raw).hexdigest()}
    files["manifest.json"] = canonical_bytes(manifest)
    files["manifest.sha256"] = (
        f"{hashlib.sha256(files['manifest.json']).hexdigest()}  manifest.json\n".encode()
    )
    return files


@pytest.mark.parametrize("how", ["reordered", "duplicated"])
def test_entries_of_the_journal_stand_once_and_in_order(how: str) -> None:
    files = packed(content())
    entries = json.loads(files["journal.json"])
    files["journal.json"] = canonical_bytes(entries[::-1] if how == "reordered" else [entries[0], *entries])
    assert verify_pack.problems_of(sealed_again(files)) == [
        "journal.json does not hold each entry once, in order"
    ]


@pytest.mark.parametrize("name", ["journal.json", "manifest.json"])
def test_json_of_any_depth_is_told_and_not_fallen_over(name: str) -> None:
    files = packed(content())
    files[name] = b"[" * 200_000
    told = verify_pack.problems_of(files if name == "manifest.json" else sealed_again(files))
    assert told[-1] in (
        "journal.json cannot be read",
        "manifest.json is not a manifest as reelproof pack 1 writes it",
    )


def zipped(path: Path, named: list[tuple[str, bytes]]) -> Path:
    path.write_bytes(verify_pack.zip_bytes(named))
    return path


def test_files_of_a_zip_stand_in_order(tmp_path: Path) -> None:
    files = packed(content())
    named = [(f"lot/{name}", files[name]) for name in sorted(files)]
    assert verify_files(zipped(tmp_path / "a.zip", named)) == ()
    assert verify_files(zipped(tmp_path / "b.zip", named[::-1])) == (
        "b.zip was changed outside the files it holds",
    )


@pytest.mark.parametrize("top", ["..", "../lot", "/lot", "lot/..", "C:lot", "lot\\more"])
def test_a_zip_leads_nowhere_but_down(tmp_path: Path, top: str) -> None:
    files = packed(content())
    (told,) = verify_files(
        zipped(tmp_path / "a.zip", [(f"{top}/{name}", files[name]) for name in sorted(files)])
    )
    assert told in (
        "a.zip holds a file whose name no pack has",
        "a.zip does not hold one folder with each file once",
    )


def test_a_zip_that_unpacks_to_far_more_is_not_unpacked(tmp_path: Path) -> None:
    path = tmp_path / "bomb.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for number in range(20):
            archive.writestr(f"lot/{number}", b"\0" * 5_000_000)
    assert path.stat().st_size < 200_000
    assert verify_files(path) == ("bomb.zip says it unpacks to more than it holds, which a pack never does",)


def test_no_text_of_a_csv_is_a_formula_to_a_spreadsheet() -> None:
    """As OWASP lists the signs that begin one: = + - @, tab and carriage return."""
    texts = [
        '=HYPERLINK("http://x")',
        "@SUM(1)",
        "+1+cmd",
        "-2+3",
        "\t=1",
        "\r=1",
        "plain",
        "-12.5",
        "+3e4",
        None,
        "",
    ]
    frame = pl.DataFrame({"note": texts, "number": [-1.5] * len(texts)})
    files = packed(replace(content(), frames={"notes": frame}))
    rows = list(csv.DictReader(io.StringIO(files["data/notes.csv"].decode(), newline="")))
    risky = [f"'{text}" for text in texts[:6]]
    assert [row["note"] for row in rows] == [*risky, "plain", "-12.5", "+3e4", "", ""]
    assert [row["number"] for row in rows] == ["-1.5"] * len(texts)
    assert pl.read_parquet(io.BytesIO(files["data/notes.parquet"]))["note"].to_list() == texts
