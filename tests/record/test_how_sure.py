"""What is said of the risk of a judgement. The probability is worked out by hand: JCGM 106:2012, 7.3, flat prior."""

from __future__ import annotations

import pytest

from pipeline.record.how_sure import risk_told


def _row(verdict: str, worst: float | None = 0.70) -> dict[str, object]:
    return {"worst": worst, "limit_value": 0.69, "uncertainty": 0.01, "sense": "at least", "verdict": verdict}


def test_the_chance_of_the_worst_reading_is_told() -> None:
    """One standard uncertainty within the limit: 0.841."""
    assert risk_told(_row("conforms")) == "0.841 that it conforms at its worst reading"


@pytest.mark.parametrize("row", [_row("no conclusion"), _row("not judged", None)])
def test_where_nothing_is_concluded_no_chance_is_told(row: dict[str, object]) -> None:
    assert risk_told(row) == ""
