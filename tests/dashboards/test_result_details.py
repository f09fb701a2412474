"""Figures behind a result, as the fold under it tells them: in words, in the reader's units, no figure as code has it.

Conversions are exact: 1 mil = 0.0254 mm, 1 ft = 0.3048 m (definition of the inch, 1959).
"""

import pytest

from dashboards.rendering import detail, few_digits, unit_read
from pipeline.messages import Measure, message
from pipeline.quantity import Quantity, asks
from pipeline.results import Result


@pytest.mark.parametrize(
    ("figure", "told"),
    [
        (8.92e-05, "8.92\u00a0×\u00a010⁻⁵"),
        (-7.113e-07, "-7.113\u00a0×\u00a010⁻⁷"),
        (0.000123, "0.000123"),
        (0.0, "0"),
        (1234.5, "1,234"),
    ],
)
def test_a_small_figure_is_told_as_people_write_it(figure: float, told: str) -> None:
    assert few_digits(figure) == told


@pytest.mark.parametrize(
    ("name", "figure", "unit", "label", "us", "si"),
    [
        ("p_value", 9.2e-27, "", "p-value", "&lt; 0.0001", ""),
        ("p_local", 0.25, "", "p-value if named beforehand", "0.25", ""),
        ("amplitude_low", 0.00254, "mm", "amplitude low", "0.1\u00a0mil", "0.00254\u00a0mm"),
        ("residual_sd", 0.5, "%", "residual standard deviation", "0.5\u00a0%", "0.5\u00a0%"),
        ("amplitude", 0.5, "", "amplitude", "0.5", ""),
        ("period_sd_m", 0.3048, "", "period standard deviation", "1\u00a0ft", "0.3048\u00a0m"),
        ("trials", 214.8, "mm", "trials", "214.8", ""),
    ],
)
def test_a_figure_is_told_with_its_name_and_unit(
    name: str, figure: float, unit: str, label: str, us: str, si: str
) -> None:
    shown, made = detail(name, figure, unit)
    text = str(made).replace('<span class="unit">', "").replace("</span>", "")
    assert shown == label
    assert text == (f'<span class="q"><span class="us">{us}<span class="si">{si}' if si else us)


@pytest.mark.parametrize(
    ("asked", "unit"),
    [
        ({"channel": "diameter_mm"}, "mm"),
        ({"channel": "concentricity_pct"}, "%"),
        ({"limit": Measure(5.0, "kV")}, "kV"),
        ({}, ""),
    ],
)
def test_the_unit_is_that_of_the_limit_or_the_channel(asked: dict[str, object], unit: str) -> None:
    question, method = asks(Quantity.PERIOD, **asked), message("method/line fit")  # type: ignore[arg-type]
    assert unit_read(Result(question, 1.0, 0.5, 1.5, 0.95, "m", method, 10, None, None, "reading")) == unit
