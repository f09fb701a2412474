"""The direction of imports: a module imports only from its own folder or from rooms below it."""

import ast
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]

# From the top down. Rooms on one line may not import each other.
LAYERS: list[set[str]] = [
    {"pipeline.cli", "pipeline.notebook"},
    {"pipeline.flows"},
    {"pipeline.desk"},
    {"pipeline.reports"},
    {"dashboards", "pipeline.acts", "pipeline.proofs"},
    {"pipeline.job"},
    {"pipeline.record"},
    {"pipeline.store"},
    {"pipeline.steps", "pipeline.simulator"},
    {"pipeline.tuning"},
    {"pipeline.lots"},
    {"pipeline.nonconformance"},
    {"pipeline.statistics"},
    {"pipeline.departures", "pipeline.arguments", "pipeline.level_noise", "pipeline.fourier_sums"},
    {"pipeline.trust"},
    {"pipeline.wall"},
    {"pipeline.length"},
    {"pipeline.live"},
    {"pipeline.logs"},
    {"pipeline.sheets"},
    {"pipeline.products"},
    {"pipeline.wording"},
    {
        "pipeline.units",
        "pipeline.columns",
        "pipeline.flags",
        "pipeline.durable",
        "pipeline.errors",
        "pipeline.found",
        "pipeline.information",
        "pipeline.assumed",
        "pipeline.contradictions",
        "pipeline.log_notes",
        "pipeline.messages",
        "pipeline.methods",
        "pipeline.notes",
        "pipeline.possible",
        "pipeline.one_thread",
        "pipeline.quantity",
        "pipeline.reasons",
        "pipeline.regular_file",
        "pipeline.results",
        "pipeline.samples",
        "pipeline.tuned",
        "pipeline.warned",
        "pipeline.why",
        "pipeline.words",
    },
]
BASE = LAYERS[-1] | {"pipeline"}
RANK = {room: rank for rank, rooms in enumerate(LAYERS) for room in rooms}

# Libraries that only one room may import, and those that must not slow the start of a command.
ONLY_IN = {
    "prefect": "pipeline.flows",
    "plotly": "dashboards",
    "duckdb": "pipeline.store",
    "sqlite3": "pipeline.store",
    "starlette": "pipeline.desk",
    "uvicorn": "pipeline.desk",
    "argon2": "pipeline.desk",
}


def room_of(module: str) -> str:
    parts = module.split(".")
    return "dashboards" if parts[0] == "dashboards" else ".".join(parts[:2])


def modules() -> list[Path]:
    return sorted(p for top in ("pipeline", "dashboards") for p in (ROOT / top).rglob("*.py"))


def imports_of(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            found.add(node.module)
            if node.module == "pipeline":
                found |= {f"pipeline.{alias.name}" for alias in node.names}
    return found


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(ROOT)))
def test_a_module_imports_only_from_rooms_below_it(path: Path) -> None:
    module = ".".join(path.relative_to(ROOT).with_suffix("").parts)
    own = room_of(module)
    wrong = []
    for name in imports_of(path):
        top = name.split(".")[0]
        if top in {"pipeline", "dashboards"}:
            other = room_of(name)
            if other in {own, "pipeline", "pipeline.__version__"}:
                continue
            if own in BASE and other in BASE:
                continue
            if (own, other) in {
                ("pipeline.__main__", "pipeline.cli"),
                ("pipeline.__init__", "pipeline.notebook"),
                ("pipeline.errors", "pipeline.wording"),  # words when an error is read, and not before
            }:
                continue
            if RANK[other] <= RANK[own]:
                wrong.append(f"{module} imports {name}, which is not below it")
        elif top in ONLY_IN and own != ONLY_IN[top]:
            wrong.append(f"{module} imports {top}, which only {ONLY_IN[top]} may")
    assert wrong == []


def test_methods_of_statistics_stand_on_each_other_without_a_circle() -> None:
    asks = {
        f"pipeline.statistics.{path.stem}": {
            name for name in imports_of(path) if name.startswith("pipeline.statistics.")
        }
        for path in (ROOT / "pipeline" / "statistics").glob("*.py")
    }
    assert any(asks.values())
    TopologicalSorter(asks).prepare()  # raises where one stands on itself


def test_every_room_is_in_the_map() -> None:
    rooms = {room_of(".".join(p.relative_to(ROOT).with_suffix("").parts)) for p in modules()}
    assert rooms - set(RANK) - {"pipeline.__init__", "pipeline.__main__"} == set()
