"""What the house holds is reached from a command, a page or the Python surface, and each field of a record is read."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

from tests.house.shrinking import UNREACHED, UNREAD, no_others
from tests.house.test_layers import ROOT, modules

WORD = re.compile(r"\w+")
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
        """What commands, the Python surface and the modules' own statements lead to."""
        seen: set[Name] = set()
        doors = ("pipeline", "pipeline.__main__", "pipeline.cli", "pipeline.notebook")
        todo = [name for name in self.body if name[0] in doors]
        for module, tree in self.tree.items():
            for node in tree.body:
                if isinstance(node, ast.FunctionDef) and _is_registered(node):
                    todo.append((module, node.name))
                elif not _of(node) and not isinstance(node, ast.Import | ast.ImportFrom):
                    todo += self.named_in(module, node)
        for template in (ROOT / "dashboards").rglob("*.j2"):  # one module is handed whole to the templates
            todo += [
                ("dashboards.table_cells", name) for name in re.findall(r"\bcells\.(\w+)", _text(template))
            ]
        while todo:
            name = todo.pop()
            if name not in seen:
                seen.add(name)
                todo += self.named_in(name[0], self.body[name])
        return seen

    def members(self) -> Iterator[str]:
        """Every field and method of a class, as `module.Class.name`; what a library calls by itself is none."""
        for module, tree in self.tree.items():
            for holder in [node for node in tree.body if isinstance(node, ast.ClassDef)]:
                for node in holder.body:
                    if (
                        isinstance(node, ast.FunctionDef)
                        and not (node.name.startswith("_") or node.decorator_list)
                    ) or (
                        isinstance(node, ast.FunctionDef)
                        and ast.unparse(node.decorator_list[:1]) == "property"
                    ):
                        yield f"{module}.{holder.name}.{node.name}"
                    elif isinstance(node, ast.AnnAssign):
                        yield f"{module}.{holder.name}.{ast.unparse(node.target)}"

    def read(self) -> set[str]:
        """Every name that the program or a template reads of something, or has as a text."""
        words = {word for one in (ROOT / "dashboards").rglob("*.[jh]*") for word in WORD.findall(_text(one))}
        for tree in self.tree.values():
            for node in ast.walk(tree):
                if isinstance(node, ast.Attribute):
                    words.add(node.attr)
                elif isinstance(node, ast.Constant) and isinstance(node.value, str) and len(node.value) < 60:
                    words |= set(WORD.findall(node.value))
        return words


def _text(path: Path) -> str:
    return path.read_text(encoding="utf-8")


PROGRAM = Program(modules())


def test_what_neither_command_nor_page_leads_to_is_not_there() -> None:
    reached = PROGRAM.reached()
    found = {".".join(name) for name in PROGRAM.body if name not in reached and name[1] != "__all__"}
    assert no_others(found, UNREACHED) == []


def test_a_field_or_method_that_nothing_reads_is_not_there() -> None:
    read = PROGRAM.read()
    found = {
        name
        for name in PROGRAM.members()
        if name.rsplit(".", 1)[1] not in read and not name.startswith("dashboards.records.")  # exported whole
    }
    assert no_others(found, UNREAD) == []
