"""Every text a person reads uses the field's terms in short sentences: no banned phrase, a median of 20 words.

The list and the measure are the house's own (chosen here); terms are those of ISO 22514, ISO 3534 and ISO 9000.
"""

import ast
import re
import statistics
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from string import Formatter

import pytest

from pipeline.messages import message
from pipeline.wording.say import plain
from pipeline.wording.templates import TEMPLATES

ROOT = Path(__file__).parents[2]
# What stands for a standard term, or turns a sentence round.
BANNED = (
    r"how far (?:does|do|from)",
    r"said of",
    r"worth (?:about|fewer|no more|too few)",
    r"wander",
    r"dearest",
    r"can(?:not)? be told",
    r"cannot tell",
    r"(?:than|as) (?:can be|is) told",
    r"to be told",
    r"be told apart",
    r"tell(?:s)? (?:\w+ )?apart",
    r"told apart",
    r"comes? back along",
    r"do(?:es)? the \w+ come back",
    r"came new",
    r"prove[sd]? it from",
    r"stands? out of",
    r"lag-one",
    r"is told as",
    r"a day that is none",
    r"are unknown and (?:was|were)",
    r"(?:was|were) left out",
    r"what signalled",
    r"nothing can be (?:said|concluded)",
    r"can be said of",
    r"none to be seen",
    r"no figure",
    r"not answered",
    r"wall to be (?:had|seen)",
    r"offset of the conductor",
    r"overwall",
    r"single readings",
    r"smears? the phase",
    r"so many would come",
    r"(?:cannot|can) lie together",
    r"proposed before it is",
    r"middle value",
    r"be spoken of",
    r"comes? on top",
    r"come back over",
    r"held the truth",
    r"going together is",
    r"does not show equality",
    r"stand(?:s)? apart from the fit",
    r"predicts? nothing\. find and remove the cause, or",
    r"nothing is concluded",
    r"tells the \w+ apart",
    r"repeats a figure with noise",
    r"mend the data",
)
PATTERN = re.compile("|".join(BANNED), re.IGNORECASE)
SENTENCE = re.compile(r"(?<=[.!?:;])\s+")


def vocabulary() -> Iterator[tuple[str, str]]:
    for code, told in TEMPLATES.items():
        for one in told:
            shown = "".join(
                text + ("N" if name is not None else "") for text, name, _, _ in Formatter().parse(one)
            )
            yield f"pipeline/wording: {code}", shown


class _Text(HTMLParser):
    """The text of a template: tags cut the text, as they do on a page."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found += [value for name, value in attrs if name in {"aria-label", "title", "data-l"} and value]
        if tag not in {"strong", "em", "a", "code", "span", "b", "i"}:
            self.found.append("\n")

    def handle_data(self, data: str) -> None:
        self.found.append(data)


def pages() -> Iterator[tuple[str, str]]:
    for path in sorted((ROOT / "dashboards" / "templates").glob("*.j2")):
        text = path.read_text(encoding="utf-8")
        text = re.sub(r"\{#.*?#\}", "", text, flags=re.DOTALL)
        # A word between quotes inside a block may reach the page too.
        spoken = list(re.findall(r"'([^'{}<>]*\s[^'{}<>]*)'", text))
        text = re.sub(r"\{%.*?%\}", "\n", text, flags=re.DOTALL)
        text = re.sub(r"\{\{.*?\}\}", "N", text, flags=re.DOTALL)
        reader = _Text()
        reader.feed(text)
        for line in ["".join(reader.found), *spoken]:
            for one in line.split("\n"):
                if len(one.split()) > 1:
                    yield f"dashboards/templates/{path.name}", " ".join(one.split())


def module_texts(folder: str) -> Iterator[tuple[str, str]]:
    """Sentences in the code of a folder, docstrings left out: several words, not a pattern or a path."""
    for path in sorted((ROOT / folder).rglob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        documented = {
            id(node.body[0].value)
            for node in ast.walk(tree)
            if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef)
            and node.body
            and isinstance(node.body[0], ast.Expr)
        }
        for node in ast.walk(tree):
            if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in documented:
                text = " ".join(node.value.split())
                if len(text.split()) > 2 and not re.search(r"[\\^$|]|\bSELECT\b", text):
                    yield f"{path.relative_to(ROOT)}:{node.lineno}", text


def command_help() -> Iterator[tuple[str, str]]:
    for path in sorted((ROOT / "pipeline" / "cli").glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if (
                isinstance(node, ast.FunctionDef)
                and not node.name.startswith("_")
                and ast.get_docstring(node)
            ):
                yield (
                    f"{path.relative_to(ROOT)}: {node.name}",
                    " ".join((ast.get_docstring(node) or "").split()),
                )


def documents() -> Iterator[tuple[str, str]]:
    for name in ("README.md", "sample_runs/README.md"):
        text = (ROOT / name).read_text(encoding="utf-8")
        text = re.sub(r"```.*?```|^ {4}.*?$|`[^`]*`", "N", text, flags=re.DOTALL | re.MULTILINE)
        for one in re.split(r"\n\s*\n|\n[-|#]", text):
            if len(one.split()) > 2:
                yield name, " ".join(one.split())


def everything() -> list[tuple[str, str]]:
    return [
        *vocabulary(),
        *pages(),
        *module_texts("dashboards"),
        *module_texts("pipeline/cli"),
        *command_help(),
        *documents(),
    ]


def words_of(sentence: str) -> int:
    return len(re.findall(r"[A-Za-z0-9][\w'’.,-]*", sentence))


def sentences(texts: list[tuple[str, str]]) -> list[int]:
    cut = (one for _, text in texts for one in SENTENCE.split(text))
    return [n for one in cut if (n := words_of(one)) > 3]


def test_no_text_uses_a_banned_phrase() -> None:
    wrong = [
        f"{where}: {found.group()!r} in {text[:90]!r}"
        for where, text in everything()
        if (found := PATTERN.search(text))
    ]
    assert wrong == []


@pytest.mark.parametrize("source", [vocabulary, pages, command_help, documents])
def test_half_of_all_sentences_have_at_most_twenty_words(source: object) -> None:
    texts = list(source())  # type: ignore[operator]
    counts = sentences(texts)
    assert len(counts) > 20
    assert statistics.median(counts) <= 20


def test_p_values_are_told_by_one_rule() -> None:
    """No template writes a p-value by a format of its own, which shows a small one as 9.2e-27."""
    wrong = [
        f"{code}: {name}:{how}"
        for code, told in TEMPLATES.items()
        for one in told
        for _, name, how, _ in Formatter().parse(one)
        if name is not None
        and re.fullmatch(r"p|p_local|pvalue|(?:\w+_)?p_value|\w+_p", name)
        and (how or "").endswith("g")
    ]
    assert wrong == []
    assert plain(message("note/dispersion p", p_value=9.2e-27)) == "dispersion p < 0.0001"
    assert plain(message("note/dispersion p", p_value=0.0123)) == "dispersion p = 0.012"
    assert plain(message("signal/count", chance=6.27e-05)) == "count with a chance of 1 in 15,949 or less"


def test_the_guide_before_and_after() -> None:
    """The list sees the phrases it was made from, and leaves their better wording alone."""
    before = (
        "How far does minimum average wall stand from at least 15.00 mil?",
        "2.19, at least 1.45 (95 %); said of section averages",
        "52 values are unknown and were left out.",
        "The readings wander so slowly that 7514 of them are worth fewer than can be told",
        "Does the diameter come back along the wire?",
        "Money a month 1,000 USD, dearest first",
        "It cannot be told what the swing is locked to",
        "A day that is none",
    )
    after = (
        "Minimum average wall: PpkL 2.19 (95 % lower bound 1.45), limit 15.00 mil, per section",
        "52 readings not used: wall sensor 3 invalid",
        "No interval: the readings drift too slowly (about 7 independent values in 7,514).",
        "Diameter varies with a period of 27.1 ft (matches screw L1, 27.0 ft)",
        "Compound cost 1,000 USD/month, largest first",
        "Invalid date",
    )
    assert [one for one in before if not PATTERN.search(one)] == []
    assert [one for one in after if PATTERN.search(one)] == []


# Spelled as the adopted standards do; what stands in the keys of sheets, in code and in addresses is not read aloud.
BRITISH = re.compile(
    r"\b(?:centr(?:e[ds]?|ing)|colours?|(?:kilo|milli|centi)?metres?|judgements?|licen[c]es?|"
    r"behaviours?|neighbours?(?:ing)?|grey|aluminium|catalogues?|labelled|signalled|analys(?:e[ds]?|ing)|"
    r"(?:organ|recogn|normal|summar|author)is(?:e[ds]?|ing))\b"
)


def test_texts_are_spelled_as_the_standards_spell() -> None:
    wrong = [
        f"{where}: {found.group()!r} in {text[:90]!r}"
        for where, text in everything()
        if (found := BRITISH.search(text))
    ]
    assert wrong == []
