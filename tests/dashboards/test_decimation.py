"""No peak and no dip is lost: the readings kept for a drawing hold every extreme of every stretch."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dashboards.decimation import bucket_starts, extremes_kept


def test_each_stretch_keeps_its_lowest_and_highest_reading_where_they_are() -> None:
    generator = np.random.default_rng(11)
    at = np.cumsum(generator.uniform(0.0, 2.0, 20_000))
    values = generator.normal(size=20_000)
    kept = extremes_kept(at, values, 50)
    edges = np.linspace(at[0], at[-1], 51)
    for low, high in itertools.pairwise(edges):
        inside = (at >= low) & (at < high)
        drawn = kept[(at[kept] >= low) & (at[kept] < high)]
        assert values[drawn].min() == values[inside].min()
        assert values[drawn].max() == values[inside].max()
    assert kept.size <= 2 * 50 + 2
    assert (np.diff(kept) > 0).all()


@settings(max_examples=150, deadline=None)
@given(
    st.lists(st.one_of(st.floats(-1e6, 1e6), st.just(float("nan"))), min_size=1, max_size=400),
    st.integers(1, 40),
    st.booleans(),
)
def test_the_whole_picture_keeps_the_extremes_of_any_series(
    values: list[float], buckets: int, still: bool
) -> None:
    """A line standing still gives the same place many times over."""
    series = np.array(values)
    at = np.zeros(series.size) if still else np.arange(series.size, dtype=float)
    kept = extremes_kept(at, series, buckets)
    assert (np.diff(kept) > 0).all()
    known = series[~np.isnan(series)]
    if known.size:
        drawn = series[kept][~np.isnan(series[kept])]
        assert drawn.min() == known.min()
        assert drawn.max() == known.max()


def test_a_stretch_without_readings_breaks_the_line() -> None:
    at = np.arange(1000.0)
    values = np.ones(1000)
    values[400:600] = np.nan
    kept = extremes_kept(at, values, 10)
    assert np.isnan(values[kept]).any()


@pytest.mark.parametrize("n", [0, 1, 2])
def test_short_series_are_kept_whole(n: int) -> None:
    at = np.arange(float(n))
    assert extremes_kept(at, at, 5).tolist() == list(range(n))
    assert bucket_starts(at, 5).size <= max(n, 0)


def test_equal_readings_keep_one_of_each_stretch() -> None:
    at = np.arange(1000.0)
    kept = extremes_kept(at, np.full(1000, 7.0), 10)
    assert kept.size <= 12


def test_a_million_readings_are_thinned_in_well_under_a_second() -> None:
    import time

    at = np.arange(1e6)
    values = np.random.default_rng(3).normal(size=1_000_000)
    start = time.perf_counter()
    kept = extremes_kept(at, values, 900)
    assert time.perf_counter() - start < 1.0
    assert values[kept].max() == values.max()
