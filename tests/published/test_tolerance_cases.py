"""Tolerance limits against published tables and examples; each case's file names its source."""

import re

import pytest
from scipy import stats

from pipeline.statistics.capability import summarise
from pipeline.statistics.tolerance import (
    confidence_of_extreme,
    one_sided_factor,
    values_needed,
)
from tests.published.worked_cases import printed, rows


def test_one_sided_factors() -> None:
    """Odeh and Owen (1980); ISO 16269-6 tables."""
    answers = printed("TOL-01")
    assert len(answers) == 13
    for name, (value, half) in answers.items():
        n, share = re.fullmatch(r"k1 n=(\d+) P=(\.\d+) conf=\.95", name).groups()
        assert one_sided_factor(int(n), float(share), 0.95) == pytest.approx(value, abs=half), name


def test_handbook_tolerance_interval() -> None:
    """NIST/SEMATECH e-Handbook, 7.2.6.3: n 43, 90 % content, 99 % confidence, mean 97.07, s 0.0268."""
    answers = printed("TOL-04")
    exact = one_sided_factor(43, 0.9, 0.99)
    z, g = stats.norm.ppf(0.9), stats.norm.ppf(0.99)
    a, b = 1 - g**2 / (2 * 42), z**2 - g**2 / 43  # the handbook's approximation, k1 = (z + sqrt(z^2 - ab))/a
    near = (z + (z**2 - a * b) ** 0.5) / a
    for name, found in (
        ("one-sided upper (approx.)", 97.07 + near * 0.0268),
        ("one-sided lower (approx.)", 97.07 - near * 0.0268),
        ("k1 approx (7 dec.)", near),
        ("k1 (exact noncentral t)", exact),
    ):
        assert found == pytest.approx(answers[name][0], abs=answers[name][1]), name


def test_extremes_as_tolerance_limits() -> None:
    """US EPA, Unified Guidance (2009), example 17-4, and the worked examples of the R package EnvStats."""
    answers = printed("TOL-06")
    value, half = answers.pop("coverage n=24 one-sided 95 %")
    assert confidence_of_extreme(24, value) == pytest.approx(0.95, abs=24 * half)
    value, half = answers.pop("conf n=24 coverage .95 one-sided")
    assert confidence_of_extreme(24, 0.95) == pytest.approx(value, abs=half)
    assert len(answers) == 16
    pattern = r"n (one|two)-sided(?: ltl rank (\d))? cov (0?\.\d+) conf (0?\.\d+)"
    for name, (value, _) in answers.items():
        side, rank, share, confidence = re.fullmatch(pattern, name).groups()
        found = values_needed(float(share), float(confidence), int(rank or 1), side == "two")
        assert found == value, name


def test_wilks_sample_sizes() -> None:
    """Wilks (1941, 1942); ISO 16269-6."""
    answers = printed("TOL-07")
    assert len(answers) == 8
    orders = {"2nd order": 2, "3rd order": 3}
    for name, (value, _) in answers.items():
        share, confidence, side, order = re.fullmatch(r"(\d+)/(\d+) (one|two)-sided ?(.*)", name).groups()
        rank = orders.get(order, 1)
        found = values_needed(int(share) / 100, int(confidence) / 100, rank, side == "two")
        assert found == value, name


def test_limits_of_mean_and_95th_percentile() -> None:
    """US EPA, Unified Guidance (2009), examples 21-1 and 21-4: four values a well."""
    answers = printed("TOL-08-answers")
    for well in ("Well.1", "Well.2", "Well.3"):
        found = summarise([float(row["aldicarb_ppb"]) for row in rows("TOL-08") if row["well"] == well])
        low, high = (
            found.mean - one_sided_factor(found.n, 0.05, 0.99) * found.sd,
            found.mean + one_sided_factor(found.n, 0.95, 0.99) * found.sd,
        )
        # The mean of a normal is its median: a bound of the 50 % point is the t bound of the mean.
        mean_low = found.mean - one_sided_factor(found.n, 0.5, 0.95) * found.sd
        for name, value in (
            ("95 % lower limit of mean", mean_low),
            ("99 % LCL of 95th percentile", low),
            ("99 % UCL of 95th percentile", high),
        ):
            printed_value, half = answers[f"{well} {name}"]
            assert value == pytest.approx(printed_value, abs=half), (well, name)


def test_a_sampling_plan_by_variables() -> None:
    """Montgomery, chapter 16, example 16.1: a lot passes from k deviations on, a tolerance factor of its bad share.

    A lot of share p passes with chance Pa exactly where k is the factor of 1 - p at a confidence of 1 - Pa.
    """
    for name, (value, half) in printed("ACC-02").items():
        share, chance = (float(one) for one in re.findall(r"0\.\d+", name))
        assert one_sided_factor(40, 1.0 - share, 1.0 - chance) == pytest.approx(value, abs=half), name


def test_correction_factors_of_a_net_content_lot() -> None:
    """NIST Handbook 133, table 2-1: the one-sided 97.5 % bound of a mean, in deviations of the sample."""
    for name, (value, half) in printed("ACC-03").items():
        n = int(name.removeprefix("SCF n="))
        assert one_sided_factor(n, 0.5, 0.975) == pytest.approx(value, abs=half), name
