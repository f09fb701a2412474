"""Sentences follow the reader's units; what was written stays as written."""

import pytest

from dashboards.sentences import in_units, words


@pytest.mark.parametrize(
    ("text", "us", "si"),
    [
        ("Thinnest wall 0.317 mm (12.5 mil) at 3562.4 m.", "12.5\u00a0mil", "0.317\u00a0mm"),
        ("over 12.5 m", "41.0\u00a0ft", "12.5\u00a0m"),
        ("2,635 ft of reel R-1045", "2,635\u00a0ft", "803\u00a0m"),
        ("13 mil allowed", "13\u00a0mil", "0.330\u00a0mm"),
        ("over 1.234 km", "4,049\u00a0ft", "1.234\u00a0km"),
        ("nearer than 610 mm", "24.0\u00a0in", "610\u00a0mm"),
        ("has 0.2495 to 0.998 mm", "9.82 to 39.29\u00a0mil", "0.2495 to 0.998\u00a0mm"),
        ("between 3 and 5 m", "10 and 16\u00a0ft", "3 and 5\u00a0m"),
        ("by 394.6 um (15.54 mil), ", "15.54\u00a0mil", "394.6\u00a0\u00b5m"),
        (
            "a change of +0.0254 (-0.0127 to +0.0508) mm",
            "+1.00 (\u22120.50 to +2.00)\u00a0mil",
            "+0.0254 (-0.0127 to +0.0508)\u00a0mm",
        ),
        (
            "see the same wire 62.52 m apart (1 to 2)",
            "205.1\u00a0ft",
            "62.52\u00a0m",
        ),
        (
            "see it 62.52 m (62.49 to 62.55) apart",
            "205.1\u00a0ft (205.0 to 205.2)",
            "62.52\u00a0m (62.49 to 62.55)",
        ),
        ("thin by 127 um (+/- 25.4), ", "5.00\u00a0mil (+/- 1.00)", "127\u00a0\u00b5m (+/- 25.4)"),
        ("could fall by 10 g/km", "0.007\u00a0lb/1000 ft", "10\u00a0g/km"),
        ("at 10 m/s", "1,969\u00a0ft/min", "10\u00a0m/s"),
    ],
)
def test_figures_are_given_in_both_systems(text: str, us: str, si: str) -> None:
    shown = str(words(text))
    assert f'<span class="us">{us}</span><span class="si">{si}</span>' in shown


@pytest.mark.parametrize(
    "text",
    [
        "its middle value 0.5476 mil is 0.01391 mm, where this product has 0.2495 to 0.998 mm",
        "at 3, 4 and 5 m",
        "a 2 x 3 m sheet",
        "1000 ft is 304.8 m",
    ],
)
def test_a_text_about_units_and_a_list_stay_as_written(text: str) -> None:
    assert str(words(text)) == text
    assert in_units(text, "us") == text


def test_everything_else_is_left_alone_and_escaped() -> None:
    assert str(words("R-10 mixed & <b>5 mils</b>, A-12 m2, 3 mm2, v1.2 mmx")) == (
        "R-10 mixed &amp; &lt;b&gt;5 mils&lt;/b&gt;, A-12 m2, 3 mm2, v1.2 mmx"
    )
    assert str(words("")) == ""
