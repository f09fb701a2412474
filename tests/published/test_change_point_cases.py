"""Change points against published series; each data file names its source."""

from itertools import pairwise

import numpy as np
import pytest
from worked_cases import column, printed

from pipeline.statistics.change_points import Changes, OneChange, find_changes, one_change
from pipeline.statistics.rate_changes import RateChange, rate_change
from pipeline.statistics.segmentation import pelt


def test_coal_mining_disasters() -> None:
    # CPT-01: Jarrett 1979; Carlin, Gelfand & Smith 1992: mode k = 41 (1891), means about 3.1 and .9.
    answers = printed("CPT-01-answers")
    dates = column("CPT-01", "date")
    counts = np.bincount(np.floor(dates).astype(int) - 1851, minlength=112)
    assert (counts.sum(), counts.size) == (answers["events"][0], answers["years"][0])
    found = rate_change(counts, np.full(112, 1000.0))
    assert isinstance(found, RateChange)
    assert found.item == answers["last year of first regime, k (1851=1)"][0]
    assert found.before_per_km == pytest.approx(answers["mean before"][0], abs=0.05)
    assert found.after_per_km == pytest.approx(answers["mean after"][0], abs=0.05)
    assert int(found.posterior.argmax()) + 1 == answers["posterior mode k"][0]
    assert found.low <= 41 <= found.high
    assert found.p_value == pytest.approx(0.001)


def test_nile_flow() -> None:
    # CPT-02: Zeileis et al. 2003, breakpoints of the Nile series: one break after observation 28 (1898).
    answers = printed("CPT-02-answers")
    flow, year = column("CPT-02", "flow"), column("CPT-02", "year")
    found = find_changes(flow, at_m=year)
    assert isinstance(found, Changes)
    assert [one.item for one in found.changes] == [answers["break after observation"][0]]
    change = found.changes[0]
    assert change.at == answers["break year"][0] + 1  # first year of the new level
    assert change.shifts[0].before == pytest.approx(answers["mean 1871-1898"][0], abs=0.005)
    assert change.shifts[0].after == pytest.approx(answers["mean 1899-1970"][0], abs=5e-5)
    # The published interval, observations 25 to 32, supposes independent years; ours allows for their memory.
    assert change.low - 1871 <= 25
    assert change.high - 1871 >= 32
    single = one_change(flow)
    assert isinstance(single, OneChange)
    assert single.change.item == 28
    assert single.p_value < 0.01


@pytest.mark.parametrize("breaks", [0, 1, 2, 4])
def test_nile_residual_sums_of_squares(breaks: int) -> None:
    # The same paper's table: least squares for each number of breaks, at least 15 years apart (no penalty gives three).
    flow = column("CPT-02", "flow")
    found = _with_breaks(flow, breaks)
    edges = [0, *found, flow.size]
    rss = sum(((flow[a:b] - flow[a:b].mean()) ** 2).sum() for a, b in pairwise(edges))
    value, _ = printed("CPT-02-answers")[f"RSS {breaks}"]
    assert len(found) == breaks
    assert rss == pytest.approx(value, abs=1.0)
    if breaks == 2:
        assert found[1] == printed("CPT-02-answers")["2 breaks: second"][0]


def _with_breaks(x: np.ndarray, breaks: int) -> tuple[int, ...]:
    """The penalty that gives this number of breaks, by scanning."""
    for penalty in np.geomspace(3e6, 3e3, 120):
        found = pelt(x, float(penalty), 15)
        if len(found) == breaks:
            return found
    return pelt(x, 1e9, 15)


def test_well_log_against_five_people() -> None:
    # CPT-04: van den Burg & Williams 2020, annotations of five people (start of the new segment, from 0); the three
    # who marked the jumps agree on nine places. Margin 5 as in the paper.
    found = find_changes(column("CPT-04", "response"))
    assert isinstance(found, Changes)
    assert found.n == printed("CPT-04-answers")["n"][0]
    ours = np.array([0] + [one.item for one in found.changes])
    people = {
        6: [179, 255, 281, 311, 343, 402, 413, 422, 432, 462, 464],
        7: [179, 255, 281, 312, 343, 402, 412, 422, 432],
        8: [179, 255, 282, 312, 343, 402, 413, 422, 432],
        12: [177, 467],
        13: [4, 179, 255, 281, 311, 344, 402, 412, 422, 432, 462, 464, 521, 526, 620, 643, 661],
    }
    for place in people[7]:
        assert np.abs(ours - place).min() <= 1
    every = np.unique(np.concatenate([[0], *people.values()]))
    precision = np.mean([np.abs(every - one).min() <= 5 for one in ours])
    recall = np.mean(
        [np.mean([np.abs(ours - one).min() <= 5 for one in [0, *marks]]) for marks in people.values()]
    )
    assert 2 * precision * recall / (precision + recall) > 0.85
