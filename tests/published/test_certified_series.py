"""Mean, standard deviation and lag-one correlation against certified values.

NIST Statistical Reference Datasets, Univariate Summary Statistics. The digits asked for are those a 64-bit
float can carry: NumAcc2 is held to 1e-9 because its readings themselves are not exact in binary.
"""

import pytest

from pipeline.statistics.capability import summarise
from tests.published.worked_cases import column, printed
from tests.statistics.exact_sums import autocorrelation


@pytest.mark.parametrize(
    ("case", "digits"),
    [
        ("NIST-LEW", 1e-13),
        ("NIST-LOTTERY", 1e-13),
        ("NIST-MAVRO", 1e-11),
        ("NIST-NUMACC1", 1e-15),
        ("NIST-NUMACC2", 1e-9),
        ("NIST-PIDIGITS", 1e-13),
    ],
)
def test_certified_summary(case: str, digits: float) -> None:
    readings = column(case, "y")
    answers = printed(f"{case}-answers")
    found = summarise(readings)
    assert found.n == answers["n"][0]
    assert found.mean == pytest.approx(answers["mean"][0], rel=1e-14)
    assert found.sd == pytest.approx(answers["sd (n-1)"][0], rel=digits)
    certified = answers["lag-1 autocorrelation"][0]
    assert autocorrelation(readings, 1)[1] == pytest.approx(certified, rel=max(digits, 1e-11))
