"""Every figure that a place shows of a reel or finding, read back out of what is shown, in one unit.

A figure read back has half a step of its last digit as tolerance: what was printed cannot say more.
"""

from __future__ import annotations

import json
import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from html import unescape
from typing import Any

import polars as pl

NUMBER = r"-?\d[\d,\u202f]*(?:\.\d+)?"
METRIC = {"ft": 0.3048, "m": 1.0, "mil": 0.0254, "mm": 1.0, "%": 1.0, "kV": 1.0, "": 1.0}
UNITS = "ft|mil|mm|m|%|kV"
# In a sentence, on a page as in a print or a command.
LONG = re.compile(rf"[Oo]ver ({NUMBER}) (ft|m) from ({NUMBER}) to ({NUMBER}) (ft|m)")
WORST = re.compile(
    rf"^[A-Z][^.\[]*? ({NUMBER}) (mil|mm|%|kV)(?: \(worse bound\))?(?: at ({NUMBER}) (ft|m)\b)?"
)
ENDS = re.compile(
    rf"({NUMBER})(?: (?:ft|m))? to ({NUMBER}) (ft|m) from the outer end \(({NUMBER})(?: (?:ft|m))? to ({NUMBER}) (ft|m)"
)
SHOWN = re.compile(
    rf'<span class="(us|si)">(?:at least |at most )?({NUMBER})<span class="unit">\u00a0({UNITS})</span>'
)
STRETCH = re.compile(
    rf'<span class="(us|si)">({NUMBER}) to ({NUMBER})<span class="unit">\u00a0({UNITS})</span>'
)
# Column of a saved table -> what it is of a reel.
OF_REEL = {
    "length_m": "length",
    "thinnest_wall_mm": "thinnest",
    "mean_wall_mm": "mean",
    "spark_faults": "faults",
    "unmonitored_m": "unmonitored",
}


def figure(text: str, unit: str) -> tuple[float, float]:
    """A printed figure in metric units, and half a step of its last digit."""
    plain = text.replace(",", "").replace("\u202f", "")
    decimals = len(plain.partition(".")[2])
    return float(plain) * METRIC[unit], 0.501 * 10.0**-decimals * METRIC[unit]


class Figures:
    """What each place says of each (subject, quantity)."""

    def __init__(self) -> None:
        self.said: dict[tuple[str, str], list[tuple[str, float, float]]] = defaultdict(list)

    def add(self, where: str, subject: str, name: str, value: float | None, within: float = 1e-6) -> None:
        """A figure as it is."""
        if value is not None:
            self.said[subject, name].append((where, float(value), within))

    def text(self, where: str, subject: str, name: str, text: str, unit: str) -> None:
        """A figure as it is printed."""
        self.said[subject, name].append((where, *figure(text, unit)))

    def sentence(self, where: str, finding: str, text: str) -> None:
        """The stretch, its length, the worst value and its place in a finding's sentence."""
        for length, unit, start, end, of_ends in LONG.findall(text)[:1]:
            self.text(where, finding, "length", length, unit)
            self.text(where, finding, "from outer end", start, of_ends)
            self.text(where, finding, "to outer end", end, of_ends)
        for worst, unit, at, of_place in WORST.findall(text)[:1]:
            self.text(where, finding, "worst", worst, unit)
            if at:
                self.text(where, finding, "worst at", at, of_place)

    def ends(self, where: str, finding: str, text: str) -> None:
        """A stretch from both ends of its reel."""
        for start, end, unit, low, high, of_core in ENDS.findall(text)[:1]:
            names = ("from outer end", "to outer end", "from core end", "to core end")
            for name, one, of in zip(
                names, (start, end, low, high), (unit, unit, of_core, of_core), strict=True
            ):
                self.text(where, finding, name, one, of)

    def tables(self, where: str, markup: str) -> None:
        """Rows of a page's tables that are about reels and findings: as saved, and as shown in both systems."""
        for table in re.findall(r"<table.*?</table>", markup, re.DOTALL):
            heads = re.findall(r'<th scope="col"([^>]*)>', table)
            columns = [(re.findall(r'data-c="([^"]+)"', one) or [""])[0] for one in heads]
            if columns[:1] not in (["reel"], ["finding"]) or "reels" not in columns + ["reels"] * (
                columns[0] == "reel"
            ):
                continue
            for row in re.findall(r"<tr.*?</tr>", table, re.DOTALL)[1:]:
                cells = dict(zip(columns, re.findall(r"<t[dh]\b(.*?</t[dh]>)", row, re.DOTALL), strict=False))
                saved = {
                    name: (re.findall(r'data-v="([^"]*)"', one) or [""])[0] for name, one in cells.items()
                }
                if columns[0] == "reel":
                    self._reel(where, cells, saved)
                else:
                    self._finding(where, cells, saved)

    def _reel(self, where: str, cells: dict[str, str], saved: dict[str, str]) -> None:
        for column, name in OF_REEL.items():
            if saved.get(column):
                self.add(f"{where}, saved", saved["reel"], name, float(saved[column]))
                for system, text, unit in SHOWN.findall(cells[column])[:2] if name != "faults" else ():
                    self.text(f"{where}, {system}", saved["reel"], name, text, unit)

    def _finding(self, where: str, cells: dict[str, str], saved: dict[str, str]) -> None:
        name = saved["finding"]
        places = next(value for column, value in saved.items() if column.startswith("outer_from_m")).split(
            " "
        )
        for what, at in zip(
            ("from outer end", "to outer end", "from core end", "to core end"), places, strict=False
        ):
            if at:
                self.add(f"{where}, saved", name, what, float(at), 6e-4)
        place = next(value for column, value in cells.items() if column.startswith("outer_from_m"))
        for (system, start, end, unit), (low, high) in zip(
            STRETCH.findall(place)[:4] if places[0] else (),
            [("from outer end", "to outer end")] * 2 + [("from core end", "to core end")] * 2,
            strict=False,
        ):
            self.text(f"{where}, {system}", name, low, start, unit)
            self.text(f"{where}, {system}", name, high, end, unit)
        if saved["worst"]:
            self.add(f"{where}, saved", name, "worst", float(saved["worst"]))
            for system, text, unit in SHOWN.findall(cells["worst"])[:2]:
                if unit not in ("ft", "m"):  # a share stands without its systems, its place after it
                    self.text(f"{where}, {system}", name, "worst", text, unit)
        self.sentence(f"{where}, saved", name, unescape(saved["sentence"]))

    def apart(self) -> Iterator[str]:
        """Each quantity of which two places say what no one figure can be."""
        for (subject, name), said in sorted(self.said.items()):
            low = max(said, key=lambda one: one[1] - one[2])
            high = min(said, key=lambda one: one[1] + one[2])
            if low[1] - low[2] > high[1] + high[2]:
                yield f"{subject} {name}: {low[0]} {low[1]:.6g}, {high[0]} {high[1]:.6g}"


def of_reel_told(found: Figures, where: str, name: str, out: str) -> None:
    """What `reel` prints, in feet or metres."""
    (line,) = re.findall(
        rf"  ({NUMBER}) (ft|m) on the reel, {NUMBER} (?:ft|m) of it read at steady speed; ({NUMBER}) (?:ft|m) without "
        rf"wall evidence, ({NUMBER}) (?:ft|m) without a full spark test; (\d+) spark faults? \((\d+) counts?\)",
        out,
    )
    length, unit, unread, untested, faults, counts = line
    found.text(where, name, "length", length, unit)
    found.text(where, name, "unmonitored", unread, unit)
    found.text(where, name, "untested", untested, unit)
    found.add(where, name, "faults", float(faults))
    found.add(where, name, "counts", float(counts))
    row = rf"^(R-\d+-F\d+) +\w+ +({NUMBER}) +({NUMBER}) +({NUMBER}) to ({NUMBER}) .*?  (\S.*)$"
    for finding, start, end, low, high, told in re.findall(row, out, re.MULTILINE):
        for what, text in zip(
            ("from outer end", "to outer end", "from core end", "to core end"),
            (start, end, low, high),
            strict=True,
        ):
            found.text(where, finding, what, text, unit)
        found.sentence(where, finding, told.rpartition("  ")[2])
    for limit, worst in re.findall(
        rf"^.*?  ({NUMBER} (?:{UNITS}) \(at (?:least|most)\)) +({NUMBER} (?:{UNITS})) ", out, re.M
    ):
        found.text(where, name, f"worst against {_limit(limit)}", *worst.split(" "))


def _limit(text: str) -> str:
    number, unit, sense = text.split(" ", 2)
    return f"{figure(number, unit)[0]:.2g} {sense}"


def of_reel_record(found: Figures, where: str, answer: dict[str, Any]) -> None:
    """What `reel --json` says."""
    row = answer["reel"]
    name = row["reel_id"]
    for column, what in (
        ("length_m", "length"),
        ("wall_unmonitored_m", "unmonitored"),
        ("spark_untested_m", "untested"),
        ("spark_faults", "faults"),
        ("spark_counts", "counts"),
        ("thinnest_wall_mm", "thinnest"),
        ("mean_wall_mm", "mean"),
    ):
        found.add(where, name, what, row[column])
    for one in answer["findings"]:
        finding = one["finding_id"]
        found.add(where, finding, "from outer end", one["from_outer_m"])
        found.add(where, finding, "to outer end", one["to_outer_m"])
        found.add(where, finding, "from core end", one["from_core_m"])
        found.add(where, finding, "to core end", one["to_core_m"])
        found.add(where, finding, "worst", one["worst"])
        found.add(where, finding, "length", one["to_m"] - one["from_m"])
        found.sentence(where, finding, one["sentence"])
    for one in answer["requirements"]:
        if one["worst"] is not None:
            limit = f"{one['limit_value']:.2g} ({one['sense']})"
            found.add(where, name, f"worst against {limit}", one["worst"])


def of_print(found: Figures, where: str, text: str) -> None:
    """Rows of reels in a printed list, and the findings it tells of."""
    row = rf"\b([A-Z]\d-\d+-\d+) (?:R-\d+ )?. [a-z ]+? ({NUMBER}) (ft|m) ({NUMBER}) (mil|mm) at {NUMBER} (?:ft|m) from"
    for name, length, unit, wall, of_wall in re.findall(row, text):
        found.text(where, name, "length", length, unit)
        found.text(where, name, "thinnest", wall, of_wall)
    for finding, rest in re.findall(r"Nonconformance (R-\d+-F\d+) . open \w+ (.*)", text, re.DOTALL)[:1]:
        found.sentence(where, finding, rest)
        found.ends(where, finding, rest.partition("Where on the reel ")[2][:200])


def of_plan(found: Figures, where: str, answer: dict[str, Any], out: str) -> None:
    """What must go by a cutting plan, as `cut` says it as JSON and in words."""
    for one in answer["must_go"]:
        if one["kind"] == "nonconforming" and one["finding_id"]:
            found.add(f"{where} --json", one["finding_id"], "from outer end", one["from_m"])
            found.add(f"{where} --json", one["finding_id"], "to outer end", one["to_m"])
            found.sentence(f"{where} --json", one["finding_id"], one["sentence"])
    for line, finding, told in re.findall(r"Must go, (.*?), nonconforming (R-\d+-F\d+): (.*)", out):
        found.ends(where, finding, line)
        found.sentence(where, finding, told)


def of_pack(found: Figures, frames: Mapping[str, pl.DataFrame]) -> None:
    """What a pack says of its reels and findings, in the newest judgement."""
    newest = frames["judgements"]["assessment_id"].to_list()
    ends = {}
    for row in frames["places"].filter(pl.col("assessment_id").is_in(newest)).to_dicts():
        ends[row["reel_id"]] = row["to_m"]
    for row in frames["reels"].filter(pl.col("assessment_id").is_in(newest)).to_dicts():
        of_reel_record(found, "pack", {"reel": row, "findings": [], "requirements": []})
    for row in frames["findings"].filter(pl.col("assessment_id").is_in(newest)).to_dicts():
        if row["reel_id"] in ends:
            found.add("pack", row["finding_id"], "from outer end", ends[row["reel_id"]] - row["to_m"])
            found.add("pack", row["finding_id"], "to outer end", ends[row["reel_id"]] - row["from_m"])
            found.add("pack", row["finding_id"], "from core end", row["from_core_m"])
            found.add("pack", row["finding_id"], "worst", row["worst"])


def of_indices(found: Figures, where: str, rows: Iterable[Mapping[str, Any]]) -> None:
    """Performance indices as they are kept: of a pack, or of `reel --json`."""
    for row in rows:
        if row["quantity"] == "performance index" and row["estimate"] is not None:
            asked = row["arguments"] if isinstance(row["arguments"], dict) else json.loads(row["arguments"])
            name = f"{asked['symbol']} {asked['requirement']}"
            found.add(where, row["subject"], name, row["estimate"])
            found.add(where, row["subject"], f"{name}, bound", row["low"])


def of_capability(found: Figures, where: str, subject: str, markup: str) -> None:
    """Performance indices of a page: in its table, and in the cards of its answers.

    Args:
        found: what is added to.
        where: the page.
        subject: the run or reel it is about, where its rows do not link another.
        markup: the page.
    """
    row = (
        r'data-l="Requirement">([^<]+)<span class="sub">.*?data-l="Index"><span class="index">(?:<a href="([^"]*)">)?'
        rf'(Ppk[LU]?) <strong><span class="q"><span class="us">({NUMBER})</span>'
        rf'.*?<span class="us">at least ({NUMBER})</span>'
    )
    for table in re.findall(r'<table class="plain capability cards".*?</table>', markup, re.DOTALL):
        for line in table.split("<tr>")[1:]:
            for requirement, href, symbol, index, bound in re.findall(row, line, re.DOTALL):
                linked = re.findall(r"(?:runs|reels)/(.*?)\.html", href)
                of, name = (linked or [subject])[0], f"{symbol} {unescape(requirement)}"
                found.text(where, of, name, index, "")
                found.text(where, of, f"{name}, bound", bound, "")
    card = (
        rf'<h4>([^<:]+): (Ppk[LU]?) \(.*?</h4>.*?<p class="figure-number">.*?<span class="us">({NUMBER})<.*?'
        rf'<span class="us">at least ({NUMBER})<'
    )
    for one in re.findall(r'<article class="answer">.*?</article>', markup, re.DOTALL):
        for requirement, symbol, index, bound in re.findall(card, one, re.DOTALL):
            name = f"{symbol} {unescape(requirement)[:1].lower()}{unescape(requirement)[1:]}"
            found.text(f"{where}, card", subject, name, index, "")
            found.text(f"{where}, card", subject, f"{name}, bound", bound, "")


def of_shift_print(found: Figures, where: str, text: str) -> None:
    """A printed shift: its reels, what each is held for, and the performance indices of its runs."""
    row = (
        rf"\b([A-Z]\d-\d+-\d+) . [a-z ]+? ({NUMBER}) (ft|m) ({NUMBER}) (mil|mm) at {NUMBER} (?:ft|m) from the outer "
        rf"end \({NUMBER} (?:ft|m) from the core end\) ({NUMBER}) (?:mil|mm) (\d+) ({NUMBER}) (?:ft|m)"
    )
    for name, length, unit, wall, of_wall, mean, faults, unmonitored in re.findall(row, text):
        found.text(where, name, "length", length, unit)
        found.text(where, name, "thinnest", wall, of_wall)
        found.text(where, name, "mean", mean, of_wall)
        found.add(where, name, "faults", float(faults))
        found.text(where, name, "unmonitored", unmonitored, unit)
    gate = rf"([A-Z]\d-\d+-\d+): minimum wall at any point ({NUMBER}) (mil|mm), limit at least ({NUMBER}) (mil|mm)"
    for name, wall, of_wall, _, _ in re.findall(gate, text):
        found.text(f"{where}, held for", name, "thinnest", wall, of_wall)
    for rest, finding in re.findall(r"\d\. [A-Z][^.]*\. (.*?) reel \S+, finding (R-\d+-F\d+), run", text):
        found.sentence(f"{where}, first", finding, rest.rpartition("method. ")[2])
    runs = re.split(r"Run (R-\d+), ", text)[1:]
    index = (
        rf"([A-Z][a-z ]+): (Ppk[LU]) \(at (?:least|most) {NUMBER} [^)]*\) ({NUMBER}) at least ({NUMBER}) \(95"
    )
    for run, of_run in zip(runs[::2], runs[1::2], strict=True):
        for requirement, symbol, value, bound in re.findall(index, of_run):
            name = f"{symbol} {requirement[:1].lower()}{requirement[1:]}"
            found.text(where, run, name, value, "")
            found.text(where, run, f"{name}, bound", bound, "")


def of_at_told(found: Figures, where: str, name: str, finding: str, out: str) -> None:
    """What `reel --at` the worst place of a finding prints: the finding, and the worst wall around it."""
    (told,) = re.findall(r"^  - (Thinnest wall .*)$", out, re.MULTILINE)
    found.sentence(where, finding, told)
    table = rf"^Thinnest insulation wall.*?  +\d+ +({NUMBER}) (mil|mm)"
    (wall,) = re.findall(table, out, re.MULTILINE)
    found.text(where, name, "thinnest", *wall)


def of_at_record(found: Figures, where: str, answer: dict[str, Any], finding: str) -> None:
    """The same as JSON."""
    (wall,) = [one["least"] for one in answer["figures"] if one["quantity"].startswith("thinnest_wall")]
    found.add(where, answer["reel_id"], "thinnest", wall)
    found.add(where, answer["reel_id"], "length", answer["from_outer_m"] + answer["from_core_m"])
    for told in answer["sentences"]:
        if told.startswith("Thinnest wall"):
            found.sentence(where, finding, told)


def of_reasons(found: Figures, where: str, finding: str, text: str) -> None:
    """The first reason why wire may not leave: of the Python surface, of `ship`, of a declaration."""
    for told in re.findall(r"Thinnest wall .*?(?: does not conform| too near the limit to decide)", text)[:1]:
        found.sentence(where, finding, told)


def of_declaration(found: Figures, where: str, text: str) -> None:
    """Lengths of reels in a declaration, or wire of a reel without evidence where it is refused."""
    for name, length, unit in re.findall(rf"reel ([A-Z]\d-\d+-\d+), ({NUMBER}) (ft|m)", text):
        found.text(where, name, "length", length, unit)
    for name, length, unit in re.findall(
        rf"reel ([A-Z]\d-\d+-\d+): ({NUMBER}) (ft|m) have no evidence", text
    ):
        found.text(where, name, "unmonitored", length, unit)
