"""Which share of trials stands beside an interval: one look-up in the kept table."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from pipeline.messages import message
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Refused, Result
from pipeline.statistics.autocorrelation import effective_n
from pipeline.steps import held_share
from pipeline.steps.held_share import (
    LEAST,
    LEAST_OF_REELS,
    TriedCell,
    TriedInterval,
    TriedKind,
    as_held,
    cells,
    cells_like,
    kind_of,
    lag_one_of,
    rate_as_held,
    shares_told,
)
from tests.said import said
from tests.statistics import coverage_trials
from tests.statistics.coverage_worlds import World

ANSWER = Result(
    asks(Quantity.REEL_MINIMUM_RISK),
    0.02,
    0.01,
    0.05,
    0.95,
    "",
    "",
    40,
    None,
    None,
    "reel",
    details={"clusters": 40.0},
)


def cell(
    held: float, size: float, lag_one: float = 0.5, answered: int = 2000, kind: TriedKind = TriedKind.NORMAL
) -> TriedCell:
    return TriedCell(TriedInterval.REEL_RISK, kind, lag_one, size, 2000, answered, held, 7, "2026-11-29")


def of(
    made: tuple[TriedCell, ...], monkeypatch: pytest.MonkeyPatch, lag_one: float, size: float
) -> Result | Refused:
    monkeypatch.setattr(held_share, "cells", lambda: made)
    return as_held(ANSWER, TriedInterval.REEL_RISK, (TriedKind.NORMAL,), (lag_one,), size)


TABLE = (
    cell(0.95, 2.0),
    cell(0.93, 6.0),
    cell(0.97, 6.0, 0.95),
    cell(0.88, 10.0),
    cell(0.2, 6.0, kind=TriedKind.BOUNDED),
)


def test_the_share_of_the_cells_around_the_case_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    found = of(TABLE, monkeypatch, 0.5, 4.0)
    assert isinstance(found, Result)
    assert (found.details["held_least"], found.details["held_most"]) == (0.93, 0.95)
    assert found.details["clusters"] == 40.0
    assert said(found.warnings) == (
        ("Simulated coverage of such 95 % intervals: 93.0 to 95.0 % (guide on intervals)."),
    )
    at_the_cell = of(TABLE, monkeypatch, 0.52, 6.2)
    assert isinstance(at_the_cell, Result) and at_the_cell.details["held_least"] == 0.93
    between = of(TABLE, monkeypatch, 0.7, 6.0)
    assert isinstance(between, Result) and between.details["held_most"] == 0.97


def test_no_interval_where_it_held_too_seldom(monkeypatch: pytest.MonkeyPatch) -> None:
    found = of(TABLE, monkeypatch, 0.5, 9.0)
    assert isinstance(found, Refused) and found.reason == message(Reason.INTERVAL_HELD_TOO_SELDOM, least=88.0)


@pytest.mark.parametrize(("lag_one", "size"), [(0.99, 6.0), (0.5, 1.0)])
def test_no_interval_outside_what_was_tried(
    monkeypatch: pytest.MonkeyPatch, lag_one: float, size: float
) -> None:
    found = of(TABLE, monkeypatch, lag_one, size)
    assert isinstance(found, Refused) and found.reason == message(Reason.NO_TRIAL_LIKE_THIS, lag_one=lag_one)


def test_a_cell_of_few_answers_counts_where_it_clearly_held_too_seldom(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Thirty answers of which 18 held are under 90 % by more than chance; 26 of 30 are not, and are passed over."""
    kinds = (TriedKind.NORMAL, TriedKind.CLUSTERS)
    for share, refused in ((0.6, True), (0.87, False)):
        made = (cell(0.95, 2.0), cell(share, 2.0, answered=30, kind=TriedKind.CLUSTERS))
        monkeypatch.setattr(held_share, "cells", lambda made=made: made)
        found = as_held(ANSWER, TriedInterval.REEL_RISK, kinds, (0.5,), 2.0)
        assert isinstance(found, Refused) is refused


def test_a_cell_of_few_answers_is_no_trial(monkeypatch: pytest.MonkeyPatch) -> None:
    found = of((cell(0.95, 2.0, answered=held_share.FEWEST - 1),), monkeypatch, 0.5, 2.0)
    assert isinstance(found, Refused)


@pytest.mark.parametrize(
    ("faults", "scatter", "least"),
    [(0, None, 0.86), (15, None, 0.66), (36, 0.5, 0.94), (36, 0.01, 0.93), (300, 0.01, 0.94)],
)
def test_a_fault_rate_stands_and_tells_its_share(faults: int, scatter: float | None, least: float) -> None:
    """Few faults show no clusters, so the share of clusters counts; many that do not scatter leave it out."""
    answer = replace(ANSWER, n=faults)
    seen = replace(ANSWER, details={"p_value": scatter}) if scatter else Refused(ANSWER.question, "", "", 0)
    found = rate_as_held(answer, TriedInterval.FAULT_RATE, seen)
    assert isinstance(found, Result)
    assert (found.low, found.high) == (answer.low, answer.high)
    assert found.details["held_least"] == pytest.approx(least, abs=0.03)


def test_what_is_refused_stays_refused() -> None:
    refused = Refused(ANSWER.question, "", "", 3)
    assert as_held(refused, TriedInterval.REEL_RISK, (TriedKind.NORMAL,), (0.5,), 6.0) is refused


@pytest.mark.parametrize(
    "kind",
    [
        TriedKind.NORMAL,
        TriedKind.SKEWED_THIN,
        TriedKind.SKEWED_THICK,
        TriedKind.BOUNDED,
        TriedKind.RARE_NOTCHES,
    ],
)
def test_kind_and_correlation_are_recognised(kind: TriedKind) -> None:
    """Ten kilometres of each invented world at .5, and of .95: three runs in four are taken for what they are."""
    random = np.random.default_rng(12)
    for phi in (0.5, 0.95):
        walls = [World(kind.value, phi).reels(10, random).ravel() for _ in range(20)]
        assert sum(kind_of(wall) is kind for wall in walls) >= 15, phi
        assert np.median([lag_one_of(effective_n(wall)) for wall in walls]) == pytest.approx(phi, abs=0.06)


def test_the_kept_table_is_of_the_trials() -> None:
    """Every cell of the grid has its row, with repetitions, seed and date; the standard error is that of its share."""
    rows = coverage_trials.kept()
    assert set(rows) == {one.key for one in coverage_trials.cells()}
    assert len(cells()) == len(rows)
    for one in cells():
        assert one.seed == coverage_trials.SEED and one.date >= "2026-11-29"
        assert one.repetitions >= 20 and one.answered <= one.repetitions
        assert (one.answered == 0) is math.isnan(one.held)
        if one.answered:
            told = float(
                rows[(one.figure.value, one.kind.value, f"{one.lag_one:g}", f"{one.size:g}")][
                    "standard_error"
                ]
            )
            assert one.standard_error == pytest.approx(told, abs=1e-4)


@pytest.mark.parametrize("number", range(0, len(coverage_trials.cells()), 7))
def test_a_cell_is_made_again(number: int) -> None:
    """A few repetitions with other seeds make a count that the kept share makes."""
    one = coverage_trials.cells()[number]
    row = coverage_trials.kept()[one.key]
    answered, held, _ = coverage_trials.tried(one, 10**6, 10**6 + 4)
    if answered and row["held"]:
        share = float(row["held"])
        slack = 4.0 * float(row["standard_error"])
        assert stats.binom.cdf(held, answered, min(share + slack, 0.97)) > 1e-4
    chance = (int(row["answered"]) + 1) / (int(row["repetitions"]) + 2)
    assert stats.binom.pmf(answered, 4, chance) > 1e-6


def test_no_figure_of_a_page_holds_less_than_told() -> None:
    """Whatever the table says, what passes the look-up is told with a share from `LEAST` on."""
    for one in cells():
        like = cells_like(one.figure, (one.kind,), (one.lag_one,), one.size)
        assert like is not None and one in like
        found = as_held(replace(ANSWER), one.figure, (one.kind,), (one.lag_one,), one.size)
        if isinstance(found, Result):
            assert found.details["held_least"] >= LEAST
        else:
            assert one.answered < held_share.FEWEST or one.held < LEAST


@pytest.mark.parametrize(
    "key",
    [
        ("risk of a reel", "normal", "0.5", "2"),
        ("risk of a reel", "skewed thin", "0.95", "6"),
        ("risk of a reel", "rare notches", "0.5", "6"),
        ("drift", "normal", "0.95", "2"),
        ("fault rate of a run", "clusters", "0", "12"),
        ("ratio of fault rates", "normal", "0", "12"),
    ],
)
def test_the_short_ways_of_the_trials_hold_and_fail_as_the_product_does(key: tuple[str, ...]) -> None:
    one = next(cell for cell in coverage_trials.cells() if cell.key == key)
    shortened, whole = (coverage_trials.tried(one, 10**7, 10**7 + 3, short) for short in (True, False))
    assert shortened == whole


def least_of(figure: TriedInterval) -> float:
    """The share under which the program gives no such interval."""
    return LEAST_OF_REELS if figure is TriedInterval.INDEX_OF_REELS else LEAST


def printed() -> dict[tuple[str, ...], tuple[int, int, float]]:
    """Of each cell's answers, how many a page would print, how many of these held, and the least share it would tell.

    An answer is looked up as the program saw the wire, not as it was made.
    """
    found: dict[tuple[str, ...], tuple[int, int, float]] = {}
    for key, sights in coverage_trials.kept_sights().items():
        figure = TriedInterval(key[0])
        always = figure in {
            TriedInterval.FAULT_RATE,
            TriedInterval.FAULT_RATE_OF_RUN,
            TriedInterval.FAULT_RATIO,
        }
        shown = held = 0
        told = 1.0
        for (kinds, sizes, lags), (n, of) in sights.items():
            like = shares_told(
                tuple(
                    one
                    for one in cells()
                    if one.figure is figure
                    and one.kind.value in kinds.split(" or ")
                    and f"{one.size:g}" in sizes.split(" or ")
                    and f"{one.lag_one:g}" in lags.split(" or ")
                )
            )
            if like and (always or min(like) >= least_of(figure)):
                shown, held, told = shown + n, held + of, min(told, min(like))
        found[key] = (shown, held, told)
    return found


@pytest.mark.parametrize("key", sorted(printed()))
def test_what_is_printed_holds_as_often_as_is_told(key: tuple[str, ...]) -> None:
    """Whatever the wire was taken for: what was printed of it held no less often than the least share told (0.1 %)."""
    shown, held, told = printed()[key]
    assert stats.binom.cdf(held, shown, told) > 1e-3
