"""No name of a record or page leads a command out of the folder it belongs in."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from pipeline.cli.app import run
from pipeline.cli.printing import file_name_of
from pipeline.store.database import open_to_write
from pipeline.store.layout import READINGS, UNFINISHED
from pipeline.store.readings import sweep


@pytest.mark.parametrize(
    "page", ["../secret.html", "../../../etc/passwd", "/etc/passwd", "link.html", "a.txt", "."]
)
def test_only_a_page_of_the_site_is_mailed(
    tmp_path: Path, page: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    site = tmp_path / "store" / "pages"
    site.mkdir(parents=True)
    for path in (tmp_path / "store" / "secret.html", site / "a.txt"):
        path.write_text("secret")
    (site / "link.html").symlink_to(tmp_path / "store" / "secret.html")
    monkeypatch.chdir(tmp_path)
    assert run(["mail", page, "--store", str(tmp_path / "store")]) == 2
    assert f"there is no such page in {site}" in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["store"]


@pytest.mark.parametrize(
    ("record", "name"),
    [
        ("2411/07", "2411_07"),
        ("../../x", ".._.._x"),
        ("PVC-7741", "PVC-7741"),
        ("2026-03-03-NIGHT", "2026-03-03-NIGHT"),
        ("a\\b:c", "a_b_c"),
        ("", "record"),
        ("x" * 500, "x" * 120),
    ],
)
def test_a_records_id_makes_a_plain_file_name(record: str, name: str) -> None:
    assert file_name_of(record) == name


def test_a_link_among_what_is_unfinished_blocks_nothing_and_its_target_stays(tmp_path: Path) -> None:
    target = tmp_path / "kept"
    target.mkdir()
    (target / "file").write_text("kept")
    with open_to_write(tmp_path / "store") as store:
        home = tmp_path / "store" / READINGS / UNFINISHED
        home.mkdir(parents=True)
        (home / "a").symlink_to(target)
        (home / "b.txt").symlink_to(target / "file")
        os.mkfifo(home / "c.txt")
        (home / "d.txt").write_bytes(b"\xff../../..")
        assert sweep(store) == (f"{UNFINISHED}/a", f"{UNFINISHED}/b.txt", f"{UNFINISHED}/c.txt")
        assert list(home.iterdir()) == []
    assert (target / "file").read_text() == "kept"
