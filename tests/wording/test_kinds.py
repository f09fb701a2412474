"""How figures are shown: exact conversions, sensible digits, never rounded across a limit."""

import math

import pytest

from pipeline.wording.kinds import BAR_PER_PSI, KINDS, decimals_for_width, grouped, kind_of, text_of

# NIST SP 811 (2008), appendix B.8: 1 in = 25.4 mm exactly, 1 ft = 0.3048 m exactly, 1 lb = 0.453 592 37 kg,
# 1 psi = 6.894 757 E+03 Pa, 1 degF: t/degC = (t/degF - 32)/1.8; 1 lb/ft = 1.488 164 kg/m.
SP811 = [
    ("wall", 0.0254, 1.0),
    ("diameter", 25.4, 1000.0),
    ("length", 0.3048, 1.0),
    ("speed", 0.3048 / 60.0, 1.0),
    ("mass", 0.45359237, 1.0),
    ("temperature", 100.0, 212.0),
    ("temperature", 0.0, 32.0),
]


@pytest.mark.parametrize(("kind", "metric", "us"), SP811)
def test_conversions_are_those_of_sp_811(kind: str, metric: float, us: float) -> None:
    side = KINDS[kind].us
    assert math.isclose(metric * side.factor + side.offset, us, rel_tol=1e-12, abs_tol=1e-12)


def test_pressure_and_mass_per_length_agree_with_the_printed_digits_of_sp_811() -> None:
    assert f"{BAR_PER_PSI * 1e5:.6E}" == "6.894757E+03"
    # 1 lb/ft = 1.488164 kg/m, so 1000 lb/1000 ft is 1488.164 kg/km
    assert f"{1488.164 * KINDS['mass per length'].us.factor:.2f}" == "1000.00"


def test_circular_mils_agree_with_the_wire_code() -> None:
    """14 AWG is 2.08 mm2 and 4110 circular mils (National Electrical Code, chapter 9, table 8)."""
    assert f"{2.08 * KINDS['area'].us.factor:.2f}" == "4.10"
    assert math.isclose(math.pi / 4 * 0.0254**2 * 1000 * KINDS["area"].us.factor, 1.0, rel_tol=1e-9)


@pytest.mark.parametrize(
    ("value", "limit", "us", "si"),
    [
        (0.33015, 0.3302, "12.998", "0.3301"),
        (0.3302, 0.3302, "13.00", "0.330"),
        (0.33024, 0.3302, "13.002", "0.33024"),
        (0.3171, 0.3302, "12.48", "0.317"),
        (0.330199999, 0.3302, "13.000000", "0.3302000"),
    ],
)
def test_rounding_never_moves_a_figure_across_its_limit(value: float, limit: float, us: str, si: str) -> None:
    wall = KINDS["wall"]
    assert text_of(value, wall, "us", limit) == us
    assert text_of(value, wall, "si", limit) == si


def test_thousands_are_set_apart_as_each_system_does() -> None:
    assert grouped(12345.6, 0, "us") == "12,346"
    assert grouped(12345.6, 0, "si") == "12\u202f346"
    assert grouped(-0.004, 2, "us") == "0.00"
    assert grouped(-1.5, 1, "us") == "\u22121.5"
    assert grouped(math.inf, 2, "si") == "\u221e"


def test_an_unknown_unit_is_shown_as_it_is() -> None:
    assert text_of(1.5, kind_of("furlong"), "us") == "1.500"
    assert kind_of("furlong").us.unit == "furlong"


@pytest.mark.parametrize(
    ("width", "digits"), [(0.21, 2), (2.1, 1), (21.0, 0), (0.0021, 4), (0.0, 6), (math.inf, 6), (math.nan, 6)]
)
def test_an_interval_shows_two_figures_of_its_half_width(width: float, digits: int) -> None:
    assert decimals_for_width(width, 6) == digits


@pytest.mark.parametrize(
    ("sd_m", "us", "si"),
    [(0.46, "1,235", "376.3"), (4.6, "1,235", "376"), (0.02, "1,234.6", "376.3"), (0.0, "1,234.6", "376.3")],
)  # by hand: 376.3 m is 1,234.58 ft; .46 m is 1.5 ft, .02 m is .07 ft
def test_a_place_has_no_digit_below_the_first_of_its_uncertainty(sd_m: float, us: str, si: str) -> None:
    assert text_of(376.3, KINDS["place"], "us", known_to=sd_m) == us
    assert text_of(376.3, KINDS["place"], "si", known_to=sd_m) == si
