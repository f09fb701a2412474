"""How large a room may be: no module over 400 lines, no function over eight parameters, no splinter of one importer."""

import ast
from collections import defaultdict
from pathlib import Path

from tests.house.shrinking import LONG, SPLINTERS, WIDE, no_others
from tests.house.test_layers import ROOT, modules

MOST_LINES = 400
MOST_PARAMETERS = 8
FEWEST_LINES = 60


def module_of(path: Path) -> str:
    return ".".join(path.relative_to(ROOT).with_suffix("").parts)


LINES = {module_of(path): len(path.read_text(encoding="utf-8").splitlines()) for path in modules()}
TREES = {module_of(path): ast.parse(path.read_text(encoding="utf-8")) for path in modules()}


def importers() -> dict[str, set[str]]:
    """Who imports a module."""
    of_module = defaultdict(set)
    for module, tree in TREES.items():
        for node in ast.walk(tree):
            if isinstance(node, ast.ImportFrom):
                for name in {str(node.module), *(f"{node.module}.{one.name}" for one in node.names)}:
                    of_module[name].add(module)
            elif isinstance(node, ast.Import):
                for one in node.names:
                    of_module[one.name].add(module)
    return of_module


def test_no_module_is_longer_than_can_be_kept_in_mind() -> None:
    assert no_others({name for name, lines in LINES.items() if lines > MOST_LINES}, LONG) == []


def test_no_function_takes_more_than_can_be_told_apart() -> None:
    """Fields of a record do not count: they have one meaning together. Arguments given by name only do."""
    wide = set()
    for module, tree in TREES.items():
        for node in ast.walk(tree):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                taken = [one.arg for one in (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs)]
                if len([one for one in taken if one not in ("self", "cls")]) > MOST_PARAMETERS:
                    wide.add(f"{module}.{node.name}")
    assert no_others(wide, WIDE) == []


def test_a_small_module_serves_more_than_one() -> None:
    """What only its own room's one module needs stands in that module."""
    asked = importers()
    small = {
        name
        for name, lines in LINES.items()
        if lines < FEWEST_LINES
        and not name.endswith("__init__")
        and {one.rpartition(".")[0] for one in asked[name]} == {name.rpartition(".")[0]}
        and len(asked[name]) == 1
    }
    assert no_others(small, SPLINTERS) == []
