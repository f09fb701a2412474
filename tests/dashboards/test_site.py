"""The site as files: written only when changed, self-contained, every link leads somewhere, hostile text harmless."""

import math
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote

import numpy as np
import pytest

from dashboards.addresses import address
from dashboards.comma_table import comma_table
from dashboards.mailing import mail_name, single_file
from dashboards.pages.run import write_run_page
from dashboards.pages.shift import write_shift_page
from dashboards.site import ASSETS, DESK_SCRIPT, Site, record_sha256, write_assets, write_if_changed
from pipeline.errors import NotFoundError, StoreError
from pipeline.quantity import Quantity, asks
from pipeline.results import Result
from tests.dashboards import hostile, invented
from tests.dashboards.invented_site import PAGES, write_site
from tests.dashboards.unled import unled

ROOT = Path(__file__).parents[2]
VOID = {"meta", "link", "br", "input", "img", "hr"}


class Reader(HTMLParser):
    """Collects links, sources and ids, and holds every element against its end."""

    def __init__(self) -> None:
        super().__init__()
        self.links: list[str] = []
        self.ids: list[str] = []
        self.handlers: list[str] = []
        self.open: list[str] = []
        self.wrong: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        for name, value in attrs:
            if name in {"href", "src"} and value:
                self.links.append(value)
            if name == "id" and value:
                self.ids.append(value)
            if name.startswith("on"):
                self.handlers.append(name)
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open.pop() != tag:
            self.wrong.append(f"</{tag}> at {self.getpos()}")


def read(path: Path) -> Reader:
    reader = Reader()
    reader.feed(path.read_text(encoding="utf-8"))
    return reader


def test_every_figure_leads_to_its_evidence_or_says_how_it_was_got(site_folder: Path) -> None:
    """One click away from each: the reading, the log line, the document, or the method."""
    pages = {path.relative_to(site_folder).as_posix(): path for path in site_folder.rglob("*.html")}
    assert len(pages) > 15
    # A guide defines words; its figures are no results.
    pages = {name: path for name, path in pages.items() if not name.startswith("guides/")}
    told = {name: unled(path.read_text(encoding="utf-8")) for name, path in pages.items()}
    assert {name: places for name, places in told.items() if places} == {}


def test_a_figure_that_leads_nowhere_is_seen() -> None:
    table = "<section><h2>x</h2><table><tbody><tr><th>wall</th><td>{}</td></tr></tbody></table>{}</section>"
    sums = '<section><dl class="sums"><div><dt>Mean wall</dt><dd>{}</dd></div></dl></section>'
    assert unled(table.format("0.38 mm", "")) == ["wall 0.38 mm"]
    assert unled(sums.format("0.38 mm")) == ["Mean wall 0.38 mm"]
    assert unled(sums.format('<a href="#a">0.38 mm</a>')) == []
    assert unled(table.format("<code>L1.csv:7</code> 0.38", "")) == []
    assert unled(table.format("0.38 mm", "<details data-how>mean</details>")) == []
    assert unled(table.format("releasable", "")) == []


@pytest.mark.parametrize("name", PAGES)
def test_pages_are_whole_small_and_name_no_other_place(site_folder: Path, name: str) -> None:
    path = site_folder / name
    reader = read(path)
    assert reader.wrong == []
    assert reader.open == []
    assert len(reader.ids) == len(set(reader.ids))
    assert [one for one in reader.links if re.match(r"[a-z]+:", one) and not one.startswith("data:")] == []
    assert path.stat().st_size < 1_000_000


@pytest.mark.parametrize("name", PAGES)
def test_every_link_leads_to_a_file_or_a_place_on_the_page(tmp_path: Path, name: str) -> None:
    folder = tmp_path / "site"
    write_site(folder, frozenset(PAGES))
    reader = read(folder / name)
    for link in reader.links:
        target, _, fragment = link.partition("#")
        path = (folder / name).parent / unquote(target.split("?")[0]) if target else folder / name
        if not link.startswith("data:"):
            assert path.is_file(), link
        if not target and not fragment.startswith(("m=", "find=")):  # what the page's script looks at
            assert fragment in {*reader.ids, *(f"i-{one}" for one in ())}, link


def test_a_page_is_written_again_only_when_it_changed(tmp_path: Path) -> None:
    site = Site(tmp_path)
    first = write_shift_page(invented.shift(), site)
    before = (tmp_path / first.address).stat().st_mtime_ns
    assert first.changed
    assert not write_shift_page(invented.shift(), site).changed
    assert (tmp_path / first.address).stat().st_mtime_ns == before
    assert all(one.changed for one in write_assets(site))
    assert not any(one.changed for one in write_assets(site))
    assert not [one for one in write_run_page(invented.run(3000), site) if not one.changed]
    assert not [one for one in write_run_page(invented.run(3000), site) if one.changed]


def test_a_folder_that_cannot_be_written_is_a_complaint(tmp_path: Path) -> None:
    (tmp_path / "shifts").write_text("a file where the folder should be")
    with pytest.raises(StoreError) as caught:
        write_if_changed(Site(tmp_path), "shifts/X.html", b"x")
    assert str(caught.value) == (
        f"{tmp_path}/shifts/X.html: the page cannot be written (File exists). "
        "Check the free space and your permission on that folder, or name another one."
    ) or str(caught.value) == (
        f"{tmp_path}/shifts/X.html: the page cannot be written (Not a directory). "
        "Check the free space and your permission on that folder, or name another one."
    )


def test_mailing_a_page_that_is_not_there_is_a_complaint(tmp_path: Path) -> None:
    with pytest.raises(NotFoundError) as caught:
        single_file(Site(tmp_path), "runs/X.html", tmp_path / "out.html")
    assert (
        str(caught.value) == "runs/X.html: there is no such page. Write the pages first, or check the name."
    )
    assert mail_name("runs/X.html") == "runs-X.html"


def test_the_record_s_hash_follows_its_content() -> None:
    assert record_sha256(invented.run(3000)) == record_sha256(invented.run(3000))
    assert record_sha256(invented.run(3000)) != record_sha256(invented.run(3001))
    assert record_sha256(invented.shift()) != record_sha256(hostile.shift())


def test_no_two_values_share_a_hash() -> None:
    result = Result(
        asks(Quantity.MEAN_WALL),
        1.0,
        0.5,
        1.5,
        0.95,
        "mm",
        "m",
        3,
        2.0,
        None,
        "reading",
        details={"b": 1.0, "a": 2.0},
    )
    others = [
        replace(result, low=low, high=high)
        for low in (0.5, math.nan, -math.inf)
        for high in (1.5, math.nan, math.inf, 1)
    ]
    others += [replace(result, effective_n=None), replace(result, effective_n=math.nan)]
    others += [
        replace(result, unit='mm"'),
        replace(result, unit="mm\ud800"),
        replace(result, details={"a": 2.0}),
    ]
    hashes = {record_sha256(one) for one in others}
    assert len(hashes) == len(others)
    assert hashes & {record_sha256(result)} == {record_sha256(others[0])}
    assert record_sha256(replace(result, details={"a": 2.0, "b": 1.0})) == record_sha256(result)
    assert record_sha256(np.array([1.0, 2.0])) != record_sha256(np.array([1.0, 2.5]))
    with pytest.raises(TypeError):
        record_sha256({1.0, 2.0})


def test_hostile_text_stays_text(tmp_path: Path) -> None:
    site = Site(tmp_path)
    written = [write_shift_page(hostile.shift(), site), write_run_page(hostile.run(), site)[0]]
    for one in written:
        text = (tmp_path / one.address).read_text(encoding="utf-8")
        reader = read(tmp_path / one.address)
        assert reader.wrong == []
        assert reader.open == []
        assert [name for name in reader.handlers if name.startswith("on")] == []
        assert "<script>window.hacked" not in text
        assert "<img" not in text
        assert "{{ 7*7 }}" in text
    inside = tmp_path.resolve()
    assert all(inside in path.resolve().parents for path in tmp_path.rglob("*"))


def test_a_csv_runs_nothing_in_a_spreadsheet() -> None:
    text = comma_table(
        ("a", "b", "c_mm"), [("=1+1", '+x"y', -0.5), ("@cmd", "-3", None), ("line\nbreak", "-x", 1 / 3)]
    )
    assert text.decode("utf-8-sig") == (
        "a,b,c_mm\r\n'=1+1,\"'+x\"\"y\",-0.5\r\n'@cmd,-3,\r\nline break,'-x,0.3333333333\r\n"
    )


def test_assets_and_templates_lie_in_the_package_that_the_wheel_ships() -> None:
    folder = ROOT / "dashboards"
    assert {path.name for path in (folder / "assets").iterdir()} == {*ASSETS, DESK_SCRIPT}
    assert 'packages = ["pipeline", "dashboards"]' in (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    used = {
        name
        for path in (*folder.rglob("*.py"), *(ROOT / "pipeline" / "desk").glob("*.py"))
        for name in re.findall(r'"([a-z_-]+\.html\.j2)"', path.read_text())
    }
    inner = {"base.html.j2", "desk_base.html.j2", "parts.html.j2"}
    assert {path.name for path in (folder / "templates").iterdir()} == used | inner


def test_a_link_to_a_page_that_will_not_exist_is_plain_text(tmp_path: Path) -> None:
    site = Site(tmp_path, frozenset({address("shift", "2026-03-12-2")}))
    write_shift_page(invented.shift(), site)
    text = (tmp_path / address("shift", "2026-03-12-2")).read_text(encoding="utf-8")
    assert "R-1043" in text
    assert "reels/" not in text
