"""Reading, section average, point at specimen scale and whole reel never stand on a page without their label."""

import re
from dataclasses import replace
from pathlib import Path
from typing import get_args

import pytest

from dashboards.rendering import environment
from dashboards.table_cells import BASIS, LinkedCells
from pipeline.results import UnitOfInference
from tests.dashboards.invented import capability

TEMPLATES = Path(__file__).parents[2] / "dashboards" / "templates"
UNITS = get_args(UnitOfInference)


def text_of(macro: str, unit: str) -> str:
    """What a macro prints of a result, what is folded away left out."""
    parts = environment().get_template("parts.html.j2")
    answer = replace(capability(1.4, 1.2), unit_of_inference=unit)
    shown = str(getattr(parts.make_module({"linked": LinkedCells(lambda *_: "")}), macro)(answer))
    return re.sub(r"<details.*?</details>", "", shown, flags=re.DOTALL)


@pytest.mark.parametrize("unit", UNITS)
@pytest.mark.parametrize("macro", ["answer_inline", "answer_card"])
def test_every_printed_result_says_what_it_is_about(macro: str, unit: str) -> None:
    shown = text_of(macro, unit)
    told = re.findall(r", (per [a-z]+)(?=[<;])", shown)
    assert told == [BASIS[unit]]


# Tables that print bare numbers: what stands at their head says what one value is.
HEADS = {
    "capability.html.j2": ("Ppk with one value a reel, against", "Ppk with one value a reel, and its"),
    "faults.html.j2": ("Spark faults per length tested",),
}


def test_bare_numbers_stand_only_in_tables_whose_head_names_the_unit() -> None:
    for path in TEMPLATES.glob("*.j2"):
        text = path.read_text(encoding="utf-8")
        bare = [found.start() for found in re.finditer(r"parts\.number\(", text)]
        assert not bare or path.name in HEADS, path.name
        for at in bare:
            caption = text[:at].rsplit("<caption>", 1)[1].split("</caption>")[0]
            assert caption.startswith(HEADS[path.name]), (path.name, caption)
