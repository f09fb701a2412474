"""A place read off any page, typed into ``reel --at``, finds the same finding: pages and commands count alike.

Seen before: a page said 2,980 ft and the command, which counted from the other end, said that no finding was on file.
"""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from dashboards.fillers.finding import finding_review
from dashboards.fillers.plant import plant_of
from dashboards.fillers.run import run_review
from dashboards.fillers.run_book import run_books
from dashboards.pages.finding import write_finding_page
from dashboards.pages.reel import reel_review, write_reel_page
from dashboards.pages.run import write_run_page
from dashboards.site import Site
from pipeline.cli.app import run
from pipeline.lots.complaint import Marks
from pipeline.record.complaint_on_file import answer_complaint
from pipeline.store.database import open_to_read

FIGURE = r"(-?[\d,]+\.\d)"
OUTER = re.compile(rf"{FIGURE} to {FIGURE} ft(?: from the outer end)? core end {FIGURE} to {FIGURE} ft")
WORST = re.compile(rf"at {FIGURE} ft \(core end {FIGURE} ft\)")
SAID = re.compile(rf"\bat {FIGURE} ft from the outer end")


def shown(markup: str) -> str:
    """What a reader sees of a page in feet."""
    without = re.sub(
        r'<span class="si">.*?</span>(?=</span>|<)',
        "",
        re.sub(r'<span class="unit">(.*?)</span>', r"\1", markup),
    )
    text = re.sub(r"<[^>]+>", " ", without).replace("&nbsp;", " ").replace("\u00a0", " ")
    return re.sub(r"\s+", " ", text)


def rows_of(markup: str) -> dict[str, str]:
    """Text of each row of a page's findings table, by finding."""
    rows = re.findall(r'<tr id="finding-\d+".*?</tr>', markup, re.DOTALL)
    return {re.findall(r'data-v="([^"]+)"', row)[0]: shown(row) for row in rows}


def feet(text: str) -> float:
    return float(text.replace(",", ""))


def test_every_place_on_a_page_is_found_by_reel_at(judged_store: Path, tmp_path: Path) -> None:
    with open_to_read(judged_store) as store:
        books = run_books(store)
        plant, site = plant_of(store, books), Site(tmp_path)
        reel_of: dict[str, str] = {}
        for book in (one for one in books if one.findings and one.reels):
            # One finding of each rule of a run, on every page that shows it.
            first = {row["rule"]: row for row in book.findings[::-1] if row["reel_id"]}
            reel_of |= {row["finding_id"]: row["reel_id"] for row in first.values()}
            write_run_page(run_review(plant, book), site)
            for reel in book.reels:
                if reel["reel_id"] in {row["reel_id"] for row in first.values()}:
                    write_reel_page(reel_review(plant, book, reel), site)
            for row in first.values():
                write_finding_page(finding_review(plant, book, row, books), site)
        here: dict[tuple[str, str, bool], tuple[str, ...]] = {}
        seen: dict[str, set[str]] = {}
        for page in tmp_path.rglob("*.html"):
            told = {**rows_of(page.read_text(encoding="utf-8"))}
            if page.parent.name == "findings":
                text = shown(page.read_text(encoding="utf-8"))
                told |= {
                    name: text.partition("Back to the log")[0]
                    for name in reel_of
                    if f"Finding {name} " in text
                }
            for finding, text in told.items():
                if finding not in reel_of:
                    continue
                (stretch, *_), worst, said = OUTER.findall(text), WORST.findall(text), SAID.findall(text)
                places = {(stretch[0], False), (stretch[1], False), (stretch[2], True), (stretch[3], True)}
                places |= {(one, False) for one in said} | {(one[0], False) for one in worst[:1]}
                places |= {(one[1], True) for one in worst[:1]}
                for place, from_core in places:
                    key = (reel_of[finding], place, from_core)
                    if key not in here:
                        answer = answer_complaint(
                            store, reel_of[finding], feet(place), Marks(0.0), from_core=from_core
                        )
                        here[key] = answer.finding_ids["here"]
                    assert finding in here[key], (page.name, place, from_core)
                    seen.setdefault(page.parent.name, set()).add(finding)
    assert seen == {kind: set(reel_of) for kind in ("findings", "reels", "runs")}
    assert len(reel_of) > 5


def test_the_other_end_is_asked_for_explicitly(
    judged_store: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    def answer(*words: str) -> dict[str, object]:
        assert run(["reel", "L1-0412-02", *words, "--store", str(judged_store), "--json"]) == 0
        return json.loads(capsys.readouterr().out)  # type: ignore[no-any-return]

    outer, core = answer("--at", "4520ft"), answer("--at", "2980ft", "--from-core")
    # Derivation: the reel holds 7,500 ft, and 4,520 + 2,980 = 7,500.
    assert outer["wire_m"] == pytest.approx(core["wire_m"])
    assert outer["findings"] == core["findings"] == {"here": ["R-0412-F01"], "near": [], "same cause": []}
    assert answer("--at", "2980ft")["findings"] == {"here": [], "near": [], "same cause": []}
    assert (
        run(["reel", "L1-0412-02", "--at", "1ft", "--from-core", "--falling", "--store", str(judged_store)])
        == 2
    )
    assert capsys.readouterr().err == (
        "--from-core: it stands beside --falling. Give --from-core for a place counted from the core end, or the "
        "others for a printed mark.\n"
    )


def test_a_reel_is_told_in_the_plants_units_from_the_outer_end(
    judged_store: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["reel", "L1-0412-02", "--store", str(judged_store)]) == 0
    out = capsys.readouterr().out
    assert "7,500.0 ft on the reel" in out
    assert "Places on a reel count from its outer end, which comes off first." in out
    assert " at 4,519.6 ft from the outer end" in out
    assert not re.search(r"\d m\b", out)
