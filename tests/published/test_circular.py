"""Directions round the wire against published examples of circular statistics."""

import pytest
from worked_cases import column, printed

from pipeline.wall.direction import mean_direction


def test_grouped_directions_of_zar() -> None:
    """J.H. Zar, Biostatistical Analysis (2010), examples 26.5 and 27: twelve sectors, 105 directions."""
    middles, counts = column("CIR-02", "midpoint_deg"), column("CIR-02", "f")
    answers = printed("CIR-02-answers")
    plain = mean_direction(middles, counts)
    assert plain is not None
    assert plain.angle_deg == pytest.approx(answers["mean (deg)"][0], abs=answers["mean (deg)"][1])
    assert plain.resultant == pytest.approx(answers["r"][0], abs=answers["r"][1])


def test_the_grouping_correction() -> None:
    """The same example: correction 1.01152 for sectors of 30 degrees, corrected r 0.55698."""
    middles, counts = column("CIR-02", "midpoint_deg"), column("CIR-02", "f")
    corrected = mean_direction(middles, counts, group_width_deg=30.0)
    assert corrected is not None
    assert corrected.resultant == pytest.approx(0.55698, abs=5e-6)
