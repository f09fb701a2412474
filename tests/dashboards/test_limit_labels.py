"""Words at a panel's limits: none lies on another, none runs out of the panel, few where the drawing is narrow."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from dashboards.figures.panels import LABEL_PX, limit_shapes, y_range
from dashboards.pages.run import write_run_page
from dashboards.records import PanelLimit
from dashboards.site import Site, write_assets
from dashboards.table_cells import limit_value
from tests.dashboards import invented
from tests.dashboards.opened import opened

AVERAGE = invented.limit("minimum average wall", 0.381, "15", "mil")
POINT = invented.limit("minimum wall at any point", 0.3302, "13", "mil")
PLANT = replace(POINT, limit_id="plant", value=0.335, value_of_record=0.335, unit_of_record="mm")
GREATEST = invented.limit("overall diameter", 2.9, "107", "% of overall diameter at minimum walls", "at most")


def labels(px_per_mm: float, *limits: Any) -> list[tuple[str, float, float]]:
    """Words in mil, value and shift of each label, from the top of the panel down."""
    lines, notes = limit_shapes([PanelLimit("wall", one) for one in limits], "y2", px_per_mm)
    assert len(lines) == len(limits)
    return [(one["text"]["us"].replace("\u00a0", " "), one["y"], one["yshift"]) for one in notes]


def test_limits_of_one_requirement_within_a_labels_height_share_their_words() -> None:
    # 4.8 um at 1000 px/mm are under five pixels, at 5000 px/mm 24.
    assert labels(1000.0, AVERAGE, POINT, PLANT) == [
        ("average wall at least 15 mil", 0.381, -2),
        ("wall at any point at least 13.19 mil (0.335 mm) and 13 mil", 0.3302, -2),
    ]
    assert [words for words, _, _ in labels(5000.0, AVERAGE, POINT, PLANT)] == [
        "average wall at least 15 mil",
        "wall at any point at least 13.19 mil (0.335 mm)",
        "wall at any point at least 13 mil",
    ]


def test_a_limit_is_told_in_the_readers_unit_with_its_unit_of_record() -> None:
    """1.26 mm are 49.606 mil and 15 mil are 0.381 mm (1 mil = 0.0254 mm, exact by the definition of the inch)."""
    metric = replace(POINT, value=1.26, value_of_record=1.26, unit_of_record="mm")
    (note,) = limit_shapes([PanelLimit("wall", metric)], "y2", 1000.0)[1]
    assert note["text"] == {
        "us": "wall at any point at least 49.61\u00a0mil (1.26 mm)",
        "si": "wall at any point at least 1.26 mm",
    }
    assert note["brief"] == {"us": "any point \u2265 49.61\u00a0mil", "si": "any point \u2265 1.26 mm"}
    assert str(limit_value(metric)) == (
        '<span class="limit">at least 1.26\u00a0mm</span><span class="us sub-inline"> (49.61\u00a0mil)</span>'
    )
    assert str(limit_value(AVERAGE)) == (
        '<span class="limit">at least 15\u00a0mil</span><span class="si sub-inline"> (0.381\u00a0mm)</span>'
    )


def test_words_of_two_requirements_stand_apart() -> None:
    # The lines lie 5.08 px apart: the lower words move down by what is missing of a label's height.
    (_, high, first), (_, low, second) = labels(100.0, AVERAGE, POINT)
    assert first == -2
    assert second == pytest.approx(-2 - (LABEL_PX - 5.08), abs=0.05)
    assert (high - low) * 100.0 + first - second == pytest.approx(LABEL_PX, abs=0.05)


def test_words_at_the_edge_stay_in_the_panel() -> None:
    limits = [
        PanelLimit("diameter", GREATEST),
        PanelLimit("diameter", replace(GREATEST, sense="at least", value=2.6)),
    ]
    low, high = y_range([2.7, 2.8], limits, 170) or [0.0, 0.0]
    px = 170 / (high - low)
    assert (high - 2.9) * px == pytest.approx(LABEL_PX, abs=0.01)
    assert (2.6 - low) * px == pytest.approx(LABEL_PX, abs=1.0)
    assert y_range([], [], 170) is None


# Boxes of the words at limits, in the drawing with the plotting script and in the one that stands in for it.
BOXES = """() => [...document.querySelectorAll('#wire text, #wire .annotation')]
  .filter(e => /at least|at most|[≥≤]/.test(e.textContent) && !e.querySelector('text'))
  .map(e => [e.textContent, e.getBoundingClientRect()]).map(([t, b]) => [t, b.left, b.top, b.right, b.bottom])"""


@pytest.mark.browser
def test_no_words_on_each_other_with_the_plotting_script_or_without(chromium: Any, tmp_path: Path) -> None:
    site = Site(tmp_path)
    record = invented.run()
    point = next(one for one in record.limits if "any point" in one.limit.requirement)
    beside = replace(point.limit, limit_id="plant", value=point.limit.value * 0.99, value_of_record=77.77)
    record = replace(record, limits=(*record.limits, PanelLimit("wall", beside)))
    write_assets(site)
    page = tmp_path / write_run_page(record, site)[0].address
    for pointed in (False, True):
        for width, brief in ((1400, False), (700, True)):
            with opened(chromium, width) as one:
                one.go(page, pointed=pointed)
                boxes = one.page.evaluate(BOXES)
            assert boxes, (pointed, width)
            assert any("77.77" in words for words, *_ in boxes)
            for k, (words, left, top, right, bottom) in enumerate(boxes):
                assert ("\u2265" in words or "\u2264" in words) == brief, words
                assert right - left < (300 if brief else 500), words
                over = [
                    other[0]
                    for other in boxes[k + 1 :]
                    if np.minimum(right, other[3]) - np.maximum(left, other[1]) > 1
                    and np.minimum(bottom, other[4]) - np.maximum(top, other[2]) > 1
                ]
                assert over == [], words
