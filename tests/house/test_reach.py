"""Every public function is reached from a command or a page, or its docstring says what it is kept for."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

from tests.house.test_layers import ROOT, modules

TOLD = "No page asks for it"
Name = tuple[str, str]  # module, name; an empty name is the module itself


def _of(node: ast.stmt) -> str:
    if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
        return node.targets[0].id
    return getattr(getattr(node, "target", node), "id", "") or getattr(node, "name", "")


def _words(node: ast.AST) -> list[str]:
    """The words of a dotted name; none for anything else."""
    if isinstance(node, ast.Attribute):
        before = _words(node.value)
        return [*before, node.attr] if before else []
    return [node.id] if isinstance(node, ast.Name) else []


def _is_registered(node: ast.FunctionDef) -> bool:
    """Whether a decorator may hand the function on; the check of arguments and a cache only wrap it."""
    return any(_words(one) not in (["checked"], ["cache"]) for one in node.decorator_list)


class Program:
    """Every module's top-level statements, and what each of them names."""

    def __init__(self, paths: list[Path]) -> None:
        self.tree = {self._module(path): ast.parse(path.read_text(encoding="utf-8")) for path in paths}
        self.body = {(m, _of(node)): node for m, tree in self.tree.items() for node in tree.body if _of(node)}
        self.imported: dict[Name, Name] = {}
        for module, tree in self.tree.items():
            for node in ast.walk(tree):
                for alias in getattr(node, "names", []) if isinstance(node, ast.ImportFrom) else []:
                    whole = f"{node.module}.{alias.name}"
                    target = (whole, "") if whole in self.tree else (str(node.module), alias.name)
                    self.imported[module, alias.asname or alias.name] = target

    @staticmethod
    def _module(path: Path) -> str:
        return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")

    def behind(self, module: str, words: list[str]) -> Name | None:
        """What a dotted name in a module stands for."""
        at: Name = (module, words[0])
        while at not in self.body and at in self.imported:
            at = self.imported[at]
        for word in words[1:]:
            if at[1]:
                break
            at = (at[0], word)
            while at not in self.body and at in self.imported:
                at = self.imported[at]
        return at if at in self.body else None

    def named_in(self, module: str, node: ast.AST) -> Iterator[Name]:
        for part in ast.walk(node):
            if (words := _words(part)) and (found := self.behind(module, words)):
                yield found

    def reached(self) -> set[Name]:
        """What commands, flows, pages and the modules' own statements lead to."""
        seen: set[Name] = set()
        doors = ("pipeline.cli", "pipeline.notebook", "pipeline.flows", "dashboards")
        todo = [name for name in self.body if name[0].startswith(doors)]
        for module, tree in self.tree.items():
            for node in tree.body:
                if not _of(node) or (isinstance(node, ast.FunctionDef) and _is_registered(node)):
                    todo += self.named_in(module, node)
        while todo:
            name = todo.pop()
            if name not in seen:
                seen.add(name)
                todo += self.named_in(name[0], self.body[name])
        return seen


def test_a_function_no_page_asks_for_says_what_it_is_kept_for() -> None:
    program = Program(modules())
    reached = program.reached()
    wrong = []
    for name, node in program.body.items():
        if name[0].startswith("pipeline.") and isinstance(node, ast.FunctionDef):
            told = TOLD in re.sub(r"\s+", " ", ast.get_docstring(node) or "")
            if name in reached and told:
                wrong.append(f"{'.'.join(name)} is asked for after all: take '{TOLD}' out of its docstring")
            elif name not in reached and not told and not name[1].startswith("_"):
                wrong.append(
                    f"{'.'.join(name)}: neither command nor page leads to it. Remove it, or say why it stays"
                )
    assert wrong == []
