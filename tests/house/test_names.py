"""One name, one thing: no module's or class's name stands in two rooms for two things."""

import ast
from collections import defaultdict

from tests.house.test_layers import ROOT, modules

# Rooms whose modules have the name of what they show, say or ask for: the command, print, words or page of it.
SHOWN_AS = (
    "dashboards/fillers",
    "dashboards/pages",
    "dashboards/records",
    "pipeline/cli",
    "pipeline/reports",
    "pipeline/wording",
)
# A page's record of a thing has the name of the thing. No other class may stand here, and none may come back.
PAGE_RECORDS = {
    "ConstructionComparison",
    "Containment",
    "CounterEvent",
    "CuttingPlan",
    "Edge",
    "LineCharts",
    "LotHistory",
    "Node",
}


def test_no_module_has_the_name_of_another() -> None:
    of_name = defaultdict(list)
    for path in modules():
        name = path.relative_to(ROOT)
        if not path.stem.startswith("__") and not str(name).startswith(SHOWN_AS):
            of_name[path.stem].append(str(name))
    assert {name: paths for name, paths in of_name.items() if len(paths) > 1} == {}


def test_no_class_has_the_name_of_another() -> None:
    of_name = defaultdict(set)
    for path in modules():
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                of_name[node.name].add(str(path.relative_to(ROOT)))
    twice = {name: paths for name, paths in of_name.items() if len(paths) > 1}
    assert {name: sorted(paths) for name, paths in twice.items() if name not in PAGE_RECORDS} == {}
    for name in PAGE_RECORDS:
        assert name in twice, f"{name} stands once now: take it off the list"
        of_pages = [path for path in twice[name] if path.startswith("dashboards/records")]
        assert len(twice[name]) == 2, f"{name} stands in {sorted(twice[name])}"
        assert len(of_pages) == 1, f"{name} is no page's record"
