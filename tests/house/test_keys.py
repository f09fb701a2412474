"""Answers are selected by keys: no SQL and no condition looks at a sentence, and every code has words."""

from __future__ import annotations

import ast
import importlib
import re
from collections.abc import Iterable
from pathlib import Path

import pytest

from pipeline.messages import Code, Measure, Message, Written
from pipeline.nonconformance.rules import RULES
from pipeline.products.limit_rows import package_rows
from pipeline.quantity import Quantity, asks
from pipeline.steps.charted import VALUE_OF, Charted, ChartFamily
from pipeline.store.sql_files import statement, statements
from pipeline.wording.say import UnknownCodeError, fields_of, named, template_of, text_in
from pipeline.wording.templates import TEMPLATES

ROOT = Path(__file__).parents[2]
# Reads sentences of stores that knew answers by them, once, when such a store is opened.
READS_SENTENCES = {
    "pipeline/store/earlier_answers.py",
    "pipeline/store/earlier_sentences.py",
    "pipeline/store/earlier_lacks.py",
}
# Parts of an answer that are words, or become words where they are shown.
WORDS = {
    "question", "reason", "method", "warnings", "refusal", "sentence", "cause_sentence", "advice", "reasons",
    "first_action",
}  # fmt: skip
# Texts of findings, sheets and the engine that are still looked at; answers are none of them.
STILL_SENTENCES = {
    "sql/catalogue/tables.sql",  # how the engine says that a column is computed
}


@pytest.mark.parametrize("name", statements(""))
def test_no_statement_selects_by_a_sentence(name: str) -> None:
    if f"sql/{name}.sql" in STILL_SENTENCES or name.startswith("earlier/"):
        return
    body = "\n".join(line.split("--")[0] for line in statement(name).splitlines())
    assert not re.search(r"\b(I?LIKE|SIMILAR TO|regexp_\w+|starts_with|contains)\b", body, re.I)
    assert not re.search(
        r"\b(question|reason|reasons|sentence|first_action|advice|warnings)\s*(=|<>|IN\b)", body, re.I
    )


def test_statements_name_quantities_that_there_are() -> None:
    named_in_sql = [
        text
        for name in statements("questions")
        for text in re.findall(r"\bquantity = '([^']+)'", statement(name))
        if "judged.answer" in statement(name)
    ]
    assert named_in_sql
    assert set(named_in_sql) <= set(Quantity)


def modules() -> list[Path]:
    return sorted(path for top in ("pipeline", "dashboards") for path in (ROOT / top).rglob("*.py"))


def _is_words(node: ast.AST) -> bool:
    """Whether an expression is a part of an answer that is words: ``answer.reason``, ``row["method"]``."""
    if isinstance(node, ast.Attribute):
        return node.attr in {"reason", "sentence"} and isinstance(node.value, ast.Name)
    if isinstance(node, ast.Subscript) and isinstance(node.slice, ast.Constant):
        return node.slice.value in WORDS
    return False


def _looked_at(tree: ast.AST) -> list[int]:
    lines = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Compare):
            texts = [
                one for one in (node.left, *node.comparators) if isinstance(one, ast.Constant | ast.JoinedStr)
            ]
            about = [one for one in (node.left, *node.comparators) if _is_words(one)]
            # A column that is words may be compared with nothing at all, a field of a record with no words in the code.
            columns = [one for one in about if isinstance(one, ast.Subscript)]
            others = [
                one
                for one in (node.left, *node.comparators)
                if one not in columns and not (isinstance(one, ast.Constant) and one.value in (None, ""))
            ]
            if columns and (others or len(columns) > 1):
                lines.append(node.lineno)
                continue
            full = [one for one in texts if not (isinstance(one, ast.Constant) and one.value in (None, ""))]
            if about and full:
                lines.append(node.lineno)
        if (
            isinstance(node, ast.Call)
            and isinstance(node.func, ast.Attribute)
            and node.func.attr
            in {"startswith", "endswith", "removeprefix", "removesuffix", "split", "rsplit"}
            and _is_words(node.func.value)
        ):
            lines.append(node.lineno)
    return lines


@pytest.mark.parametrize("path", modules(), ids=lambda path: str(path.relative_to(ROOT)))
def test_no_condition_looks_at_the_words_of_an_answer(path: Path) -> None:
    if str(path.relative_to(ROOT)) in READS_SENTENCES:
        return
    assert _looked_at(ast.parse(path.read_text(encoding="utf-8"))) == []


def test_the_rule_sees_what_it_forbids() -> None:
    for text in (
        'row["question"] == f"How far does {limit} stand?"',
        '"0 faults on reels" in row["reason"]',
        'answer.reason.startswith("No period")',
        'row["sentence"] in reasons',
        'then["reasons"] == now["reasons"]',
        'gap.sentence == "No usable wall reading here."',
    ):
        assert _looked_at(ast.parse(text)) == [1]


# Values that are compared by name: the members of closed lists and of enumerations, and the names of requirements.
TAKES_TEXT = {
    "startswith", "endswith", "find", "index", "count", "partition", "rpartition", "removeprefix", "removesuffix",
    "split", "rsplit", "replace", "match", "search", "fullmatch", "findall", "sub", "contains", "starts_with",
    "ends_with",
}  # fmt: skip
# Words of other programs and of sheets' own text, which have no code, by module.
NOT_OURS = {
    "pipeline/cli/app.py": {"Query interrupted", "Value error, "},
    "pipeline/flows/engine.py": {"ephemeral Prefect API server"},
    "pipeline/job/alone.py": {"Query interrupted"},
    "pipeline/logs/file_look.py": {'encoding = "(utf-16-.e)"'},
    "pipeline/products/type_letters.py": {"[/,]| or "},
    "pipeline/sheets/sheet_keys.py": {r"^ {4}(\w+): (.+(?:\n {8}.+)*)"},
    "pipeline/sheets/toml_file.py": {"Input should be"},
    "pipeline/store/catalogue.py": {"CREATE TABLE", "VIEW "},
    "pipeline/store/damage.py": {"could not read enough bytes"},
    "pipeline/store/database.py": {r"PID (\d+)"},
}
# How the program names things that have no other key: lines of a construction's sheet, gauges, loads and revisions; and
# a requirement whose label is shortened.
NAMES = {
    "dashboards/figures/panels.py": {"minimum ", "overall ", "wall at "},
    "pipeline/cli/sheet_keys.py": {"must be given"},
    "pipeline/job/thinning.py": {"lot "},
    "pipeline/products/comparison.py": {"density of ", "relative permittivity of "},
    "pipeline/record/touched_wire.py": {" load "},
    "pipeline/steps/line_checks.py": {"the "},
    "pipeline/steps/rows_behind.py": {"the spark test"},
}
# Kinds of events, entries, distributions and ratios, which are values of a column or a field.
KINDS_OF_THINGS = {
    "ISO 8601", "direction only", "draw balance", "draw-down ratio", "line review", "negative binomial", "not seen",
    "not shown", "spark fault", "spark untested", "surface flaw", "type letters", "wall unmonitored",
}  # fmt: skip
SEVERAL_WORDS = re.compile(r"[A-Za-z]+[.,:;]? +[^ ]|[^ ] +[A-Za-z]+|[A-Za-z]{2,} $")


def _texts_in(nodes: Iterable[ast.AST]) -> set[str]:
    return {one.value for one in nodes if isinstance(one, ast.Constant) and isinstance(one.value, str)}


def named_values(tree: ast.AST) -> set[str]:
    """Texts of closed lists that a module declares, as ``Literal["in date", "lapsed"]``, and of its constants."""
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Subscript) and getattr(node.value, "id", "") == "Literal":
            found |= _texts_in(ast.walk(node.slice))
    for node in getattr(tree, "body", ()):
        if isinstance(node, ast.Assign) and isinstance(node.value, ast.Constant | ast.Tuple):
            found |= {one for one in _texts_in(ast.walk(node.value)) if not one.endswith(".")}
    return found


def texts_looked_at(tree: ast.AST) -> set[str]:
    """Texts of several words that a module compares something with, or looks for in a text."""
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Compare):
            for side in (node.left, *node.comparators):
                found |= _texts_in(side.elts if isinstance(side, ast.Tuple | ast.List | ast.Set) else [side])
        elif isinstance(node, ast.Call) and getattr(node.func, "attr", "") in TAKES_TEXT:
            for side in node.args[:1]:
                found |= _texts_in(side.elts if isinstance(side, ast.Tuple) else [side])
    return {one for one in found if SEVERAL_WORDS.search(one)}


@pytest.fixture(scope="module")
def by_name() -> set[str]:
    trees = [ast.parse(path.read_text(encoding="utf-8")) for path in modules()]
    codes = {str(one) for kind in Code.__subclasses__() for one in kind}
    requirements = {row.requirement for row in (*RULES, *package_rows())}
    return set().union(*map(named_values, trees)) | codes | requirements | KINDS_OF_THINGS


def test_no_condition_looks_for_english_in_a_text(by_name: set[str]) -> None:
    wrong = []
    for path in modules():
        name = str(path.relative_to(ROOT))
        if name not in READS_SENTENCES:
            seen = texts_looked_at(ast.parse(path.read_text(encoding="utf-8"))) - by_name
            allowed = NOT_OURS.get(name, set()) | NAMES.get(name, set())
            wrong += [f"{name}: {one!r}" for one in sorted(seen ^ allowed)]
    assert wrong == []


@pytest.mark.parametrize(
    ("text", "literal"),
    [
        ('told == "No limit is in force."', "No limit is in force."),
        ('if "would hardly fall" in what.told: pass', "would hardly fall"),
        ('row["said"].startswith("No target: ")', "No target: "),
        ('note.partition(" With all reels")', " With all reels"),
        ('frame["reason"].str.contains("kept in the order")', "kept in the order"),
        ('told in ("lifted", "All reels stay in.")', "All reels stay in."),
        ('re.search("by .* on all reels", told)', "by .* on all reels"),
    ],
)
def test_the_search_for_english_sees_what_it_forbids(by_name: set[str], text: str, literal: str) -> None:
    assert texts_looked_at(ast.parse(text)) - by_name == {literal}


def test_no_sentence_of_the_vocabulary_is_the_name_of_anything(by_name: set[str]) -> None:
    sentences = {one for some in TEMPLATES.values() for one in some if "{" not in one and one.endswith(".")}
    assert len(sentences) > 100
    assert sentences & by_name == set()
    assert all(texts_looked_at(ast.parse(f"told == {one!r}")) == {one} for one in sentences)


@pytest.mark.parametrize("quantity", list(Quantity))
def test_every_quantity_has_a_heading(quantity: Quantity) -> None:
    assert TEMPLATES[quantity]


@pytest.mark.parametrize("code", [*Charted, *ChartFamily])
def test_what_is_charted_has_a_name(code: str) -> None:
    assert named(code)
    assert set(VALUE_OF) == set(Charted)


@pytest.mark.parametrize("code", sorted(TEMPLATES))
def test_a_template_has_no_empty_field_and_only_its_last_may_ask_for_nothing(code: str) -> None:
    for one in TEMPLATES[code]:
        assert all(name != "" and not (name or "").isdigit() for _, name, _ in fields_of(one))


def test_figures_are_shown_in_the_readers_units_and_a_limit_is_not_padded() -> None:
    """0.381 mm are 15 mil and 304.8 m are 1000 ft exactly (yard and pound agreement, 1959)."""
    bound = {"requirement": "minimum average wall", "sense": "at least", "limit": Measure(0.381, "mm")}
    index = asks(Quantity.PERFORMANCE_INDEX, "average", **bound)
    assert text_in(index, "us") == "Minimum average wall: PpkL (at least 15\u00a0mil)"
    assert text_in(index, "si") == "Minimum average wall: PpkL (at least 0.381\u00a0mm)"
    risk = asks(Quantity.REEL_MINIMUM_RISK, "point", **bound, reel=Measure(304.8, "m"))
    assert text_in(risk, "us") == "Probability of a point below 15\u00a0mil on a reel of 1,000\u00a0ft"


def test_a_code_without_words_is_refused() -> None:
    with pytest.raises(UnknownCodeError):
        template_of("no such code", {})
    with pytest.raises(UnknownCodeError):
        text_in(Message("as written"), "si")


for beside in sorted((ROOT / "pipeline").glob("[a-z]*.py")):
    importlib.import_module(f"pipeline.{beside.stem}")
# Every set of codes below the rooms; what is written by persons, or is a heading, has no maker of its own.
CODES = {
    one.__name__: one
    for one in Code.__subclasses__()
    if one.__module__.count(".") == 1 and one not in (Written, Quantity)
}


def _codes_in(node: ast.AST) -> list[tuple[str, str]]:
    return [
        (one.value.id, one.attr)
        for one in ast.walk(node)
        if isinstance(one, ast.Attribute) and isinstance(one.value, ast.Name) and one.value.id in CODES
    ]


def made_messages(path: Path) -> list[tuple[int, str, set[str]]]:
    """Line, code and arguments of every message a module makes whose arguments are written out."""
    return [
        (node.lineno, CODES[kind][name], {one.arg for one in node.keywords if one.arg})
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "message" and node.args
        for kind, name in _codes_in(node.args[0])
        if all(one.arg for one in node.keywords)
    ]


def names_of(template: str) -> set[str]:
    """What a template shows, and beside what: ``{worst:<limit}`` needs the limit too."""
    fields = [(name, how) for _, name, how in fields_of(template) if name]
    return {name for name, _ in fields} | {how.partition("<")[2] for _, how in fields if "<" in how}


@pytest.mark.parametrize("path", modules(), ids=lambda path: str(path.relative_to(ROOT)))
def test_every_message_fills_a_template_of_its_code(path: Path) -> None:
    for line, code, given in made_messages(path):
        assert any(names_of(one) == given for one in TEMPLATES[code]), f"{path.name}:{line} {code} {given}"


def test_every_code_is_made_somewhere_and_has_words() -> None:
    used = {
        one
        for path in modules()
        if "wording" not in path.parts
        for one in _codes_in(ast.parse(path.read_text(encoding="utf-8")))
    }
    assert {(kind, code.name) for kind, codes in CODES.items() for code in codes} - used == set()
    assert {code for codes in CODES.values() for code in codes} <= TEMPLATES.keys()


# Rooms that show answers; below them words are made only for findings and advice that are sentences still.
SHOWS = (
    "pipeline/cli",
    "pipeline/desk/api/described",
    "pipeline/errors",  # the text of an error is where it is shown
    "pipeline/flows",
    "pipeline/acts",
    "pipeline/job",
    "pipeline/notebook",
    "pipeline/products/json_form",
    "pipeline/proofs",
    "pipeline/record",
    "pipeline/reports",
    "dashboards",
    "pipeline/wording",
)
STILL_SAYS = {
    "pipeline/nonconformance/proposal.py",
    "pipeline/products/limits.py",
}


def test_words_are_made_only_where_answers_are_shown() -> None:
    makers = {
        name
        for path in modules()
        if "from pipeline.wording" in path.read_text(encoding="utf-8")
        and not (name := str(path.relative_to(ROOT))).startswith(SHOWS)
    }
    assert makers == STILL_SAYS
