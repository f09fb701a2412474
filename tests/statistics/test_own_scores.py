"""Scores by the items before: independent standard normal from the third item on, by regression done apart."""

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from pipeline.statistics.own_scores import own_scores


def test_a_score_is_the_students_t_of_a_new_item() -> None:
    # statsmodels: the next item as a dummy of its own; of the second value, beside the first one.
    rows = np.random.default_rng(3).multivariate_normal([1.0, 5.0], [[1.0, 0.6], [0.6, 2.0]], 9)
    found = own_scores(rows)[8]
    new = np.eye(9)[8]
    for j, others in enumerate(([], [rows[:, 0]])):
        fit = sm.OLS(rows[:, j], np.column_stack([np.ones(9), new, *others])).fit()
        same = stats.norm.isf(stats.t.sf(abs(fit.tvalues[1]), fit.df_resid)) * np.sign(fit.tvalues[1])
        assert found[j] == pytest.approx(same, rel=1e-9)


def test_scores_are_independent_and_normal_however_few_lie_before() -> None:
    random = np.random.default_rng(5)
    made = np.array([own_scores(random.normal(3.0, 0.2, 14))[3:] for _ in range(300)])
    assert stats.kstest(made.ravel(), "norm").pvalue > 0.01
    assert abs(np.corrcoef(made[:, :-1].ravel(), made[:, 1:].ravel())[0, 1]) < 0.06
    assert np.abs(np.corrcoef(made.T) - np.eye(11)).max() < 0.25


def test_what_is_not_known_has_no_score_and_teaches_nothing() -> None:
    values = np.array([1.0, 1.2, np.nan, 0.9, 1.1, 1.3])
    found = own_scores(values)
    assert np.isnan(found[:4]).all()
    assert found[4:] == pytest.approx(own_scores(values[[0, 1, 3, 4, 5]])[3:])
    assert np.isnan(own_scores(np.full(6, 0.4))).all()
    assert np.isnan(own_scores(np.column_stack([values, values]))).all()
    # In other units the same; a reel that is far off keeps its digits.
    assert own_scores(25.4 * values + 3.0)[4:] == pytest.approx(found[4:])
    assert 8.0 < own_scores([*np.random.default_rng(1).normal(size=400), 1e3])[-1] < 40.0
