"""The documents tell the truth: commands that exist, rooms as they are, files that are there."""

import ast
import re
import subprocess
from pathlib import Path

ROOT = Path(__file__).parents[2]


def test_the_map_of_rooms_names_every_room() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    rooms = {path.name for path in (ROOT / "pipeline").iterdir() if path.is_dir() and any(path.glob("*.py"))}
    for room in sorted(rooms):
        assert re.search(rf"^ +(.*\b)?{room}\b", text, re.M), f"DEVELOPERS.md does not show the room '{room}'"


def test_the_walk_of_a_reading_goes_from_call_to_call() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    walk = re.findall(r"^\| `([\w/]+\.py)` \| `(\w+)` \|", text, re.M)
    assert len(walk) > 15
    called: set[str] = set()
    for step, (path, function) in enumerate(walk):
        tree = ast.parse((ROOT / path).read_text(encoding="utf-8"))
        there = {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}
        assert function in there, f"{path} has no function {function}"
        assert not step or function in called, f"nothing before {path} calls {function}"
        called |= {node.id for node in ast.walk(tree) if isinstance(node, ast.Name)}


def test_files_that_documents_name_are_there() -> None:
    for name in ("README.md", "DEVELOPERS.md"):
        text = (ROOT / name).read_text(encoding="utf-8")
        for path in re.findall(r"`((?:tests|pipeline|sql|dashboards|sample_runs)/[\w./-]+)`", text):
            assert (ROOT / path).exists(), f"{name} names {path}, which is not there"


def test_no_registry_address_and_every_pin_has_a_hash() -> None:
    for name in ("requirements.txt", "requirements-dev.txt", ".ci/installer.txt"):
        text = (ROOT / name).read_text(encoding="utf-8")
        assert "://" not in text
        pins = re.findall(r"^[A-Za-z0-9_.-]+(?:\[[\w,-]+\])?==", text, re.M)
        assert pins
        blocks = re.split(r"\n(?=[A-Za-z0-9])", text.strip())
        assert all("--hash=sha256:" in block for block in blocks)


def test_the_top_level_is_the_agreed_one() -> None:
    listed = subprocess.run(["git", "ls-files"], capture_output=True, text=True, cwd=ROOT, check=True).stdout
    top = {line.split("/")[0] for line in listed.splitlines()}
    assert top <= {
        "README.md",
        "DEVELOPERS.md",
        "CHANGELOG.md",
        "LICENSE",
        "Makefile",
        "pyproject.toml",
        "requirements.txt",
        "requirements-dev.txt",
        ".gitignore",
        ".ci",
        "pipeline",
        "sql",
        "tests",
        "sample_runs",
        "dashboards",
    }
