"""Control charts against published worked examples and tables; each data file names its source."""

import numpy as np
import pytest
from scipy import stats
from worked_cases import column, printed

from pipeline.results import Chart, Refused
from pipeline.statistics.count_charts import laney_chart, share_chart
from pipeline.statistics.ewma_cusum import CusumChart, cusum_chart
from pipeline.statistics.multivariate_charts import t_squared
from pipeline.statistics.shewhart import chart_constants, individuals_chart, mean_charts


def chart(answer: Chart | Refused) -> Chart:
    assert isinstance(answer, Chart)
    return answer


def test_individuals_and_moving_range() -> None:
    # CHT-01: NIST/SEMATECH e-Handbook 6.3.2.2. The page divides by 1.128; d2 is 1.128379.
    answers = printed("CHT-01-answers")
    found = chart(individuals_chart(column("CHT-01", "flowrate"), sigma_from="moving range"))
    d2 = chart_constants(2).d2
    mean_range = found.details["sigma"] * d2
    assert found.details["centre"] == pytest.approx(answers["mean"][0], abs=answers["mean"][1])
    assert mean_range == pytest.approx(answers["MRbar"][0], abs=answers["MRbar"][1])
    half = (found.upper[0] - found.details["centre"]) * d2 / 1.128
    assert found.details["centre"] + half == pytest.approx(answers["UCL"][0], abs=answers["UCL"][1])
    assert found.details["centre"] - half == pytest.approx(answers["LCL"][0], abs=answers["LCL"][1])
    assert found.signals == ()


def test_tabular_cusum() -> None:
    # CHT-03: NIST/SEMATECH e-Handbook 6.3.2.3: first signal at group 14.
    found = cusum_chart(column("CHT-03", "mean"), 325.0, 0.635, 0.5, 4.1959 / 0.635)
    assert isinstance(found, CusumChart)
    assert found.reference == pytest.approx(0.3175)
    assert found.signals[0].item + 1 == printed("CHT-03-answers")["first signal group"][0]


def test_means_and_ranges_of_subgroups() -> None:
    # CHT-05: Montgomery, table 6.1 and example 6.1. The book rounds each subgroup mean, hence two digits off.
    answers = printed("CHT-05-answers")
    answer = mean_charts(column("CHT-05", "micron").reshape(25, 5))
    assert not isinstance(answer, Refused)
    means, ranges = answer
    assert means.details["centre"] == pytest.approx(answers["grand mean"][0], abs=answers["grand mean"][1])
    assert ranges.plotted.sum() == pytest.approx(answers["sum of ranges"][0], abs=answers["sum of ranges"][1])
    assert ranges.plotted.mean() == pytest.approx(answers["Rbar"][0], abs=answers["Rbar"][1])
    assert means.details["sigma"] == pytest.approx(
        answers["sigma=Rbar/2.326"][0], abs=answers["sigma=Rbar/2.326"][1]
    )
    # A2 and D4 are rounded to three decimals in the book.
    assert means.upper[0] == pytest.approx(answers["UCL xbar"][0], abs=1e-4)
    assert means.lower[0] == pytest.approx(answers["LCL xbar"][0], abs=1e-4)
    assert ranges.upper[0] == pytest.approx(answers["UCL R"][0], abs=3e-4)
    assert means.signals == ranges.signals == ()


def test_share_of_bad_pieces() -> None:
    # CHT-07: NIST/SEMATECH e-Handbook 6.3.3.2.
    answers = printed("CHT-07-answers")
    found = chart(share_chart(np.round(column("CHT-07", "fraction") * 50), np.full(30, 50)))
    for name, value in (("pbar", found.centre[0]), ("UCL", found.upper[0]), ("LCL", found.lower[0])):
        assert value == pytest.approx(answers[name][0], abs=answers[name][1])
    assert {one.item + 1 for one in found.signals} == {15, 23}


def test_cracks_on_lengths_of_covered_wire() -> None:
    # CHT-08: Ishikawa, Guide to Quality Control, pp. 81-83 (data read; no printed limits): limits by hand.
    cracks, length = column("CHT-08", "cracks"), column("CHT-08", "length_m")
    rate = 98 / 46.25
    found = chart(laney_chart(cracks, length))
    assert found.details["rate_per_km"] / 1000 == pytest.approx(2.118919, abs=5e-7)
    z = (cracks / length - rate) / np.sqrt(rate / length)
    assert found.details["sigma_z"] == pytest.approx(np.abs(np.diff(z)).mean() / 1.128, rel=4e-4)
    # Counts are more even than Poisson's, so the limits are not narrowed.
    assert found.upper[0] / 1000 == pytest.approx(5.20682, abs=5e-6)


def test_hotelling_of_subgrouped_pairs() -> None:
    # CHT-10: Montgomery, table 11.1 and example 11.1, with the book's rounded centre and covariance.
    answers = printed("CHT-10-answers")
    means = np.column_stack([column("CHT-10", "xbar1"), column("CHT-10", "xbar2")])
    found = t_squared(means, [115.59, 1.06], [[1.23, 0.79], [0.79, 0.83]], 10)
    assert means.mean(axis=0) == pytest.approx([answers["mean 1"][0], answers["mean 2"][0]], abs=0.005)
    for i, value in enumerate(found, start=1):
        if f"T2_{i}" in answers:
            assert value == pytest.approx(answers[f"T2_{i}"][0], abs=0.005)


def test_cusum_against_a_baseline() -> None:
    # CHT-12: US EPA Unified Guidance (2009), example 20-1; the last month stands 4.919 sd above the baseline.
    answers = printed("CHT-12-answers")
    nickel = column("CHT-12", "nickel_ppb")
    base, after = nickel[:8], nickel[8:]
    assert base.mean() == pytest.approx(answers["baseline mean"][0], abs=answers["baseline mean"][1])
    assert base.std(ddof=1) == pytest.approx(answers["baseline sd"][0], abs=answers["baseline sd"][1])
    assert stats.shapiro(base).statistic == pytest.approx(answers["Shapiro-Wilk W"][0], abs=1e-5)
    found = cusum_chart(after, base.mean(), base.std(ddof=1), 1.0, 3.0)
    assert isinstance(found, CusumChart)
    assert found.above[-1] / base.std(ddof=1) == pytest.approx(3.919, abs=5e-4)
    assert [one.item for one in found.signals] == [7]


@pytest.mark.parametrize("quantity", list(printed("CHT-13")))
def test_constants_of_control_charts(quantity: str) -> None:
    # CHT-13: ASTM MNL 7, table 49. Printed tables were made from rounded d2 and d3: one unit of the last digit.
    name, n = quantity[:2], int(quantity.split("=")[1].rstrip(")"))
    k = chart_constants(n)
    exact = {
        "d2": k.d2, "d3": k.d3, "c4": k.c4, "A2": k.a2, "A3": k.a3, "D3": k.d_lower, "D4": k.d_upper,
        "B3": k.b_lower, "B4": k.b_upper, "E2": k.e2,
    }[name]  # fmt: skip
    value, half = printed("CHT-13")[quantity]
    # E2 of two is printed as 3/1.128 = 2.660; exact is 2.6587.
    allowed = 0.0014 if quantity == "E2(n=2)" else 2 * half
    assert exact == pytest.approx(value, abs=allowed)
