"""What turning elements leave on the wire, how it is seen, and which one fits."""

import math

import pytest

from pipeline.errors import MethodRefusal
from pipeline.quantity import Quantity, asks
from pipeline.results import Refused, Result
from pipeline.statistics.turning_elements import (
    NOTHING_FITS,
    alias_table,
    attribute,
    driven_by_motor,
    driven_by_wire,
    period_of_result,
    seen_frequency,
)
from tests.said import said

CAPSTAN = driven_by_wire("capstan", math.pi * 0.6, 1.0)
SCREW = driven_by_motor("screw", 1.0, 1.0, 10.0)


def test_turns_on_the_wire() -> None:
    # Worked out by a script apart: 60 rpm at 10 m/s: 10 m; a capstan of .6 m: 1.885 m; a .2 Hz dancer: 50 m.
    assert SCREW.turn_m == pytest.approx(10.0)
    assert (SCREW.locked_to, CAPSTAN.locked_to) == ("time", "length")
    assert CAPSTAN.turn_m == pytest.approx(1.8849555921538759)
    assert driven_by_motor("dancer", 5.0, 1.0, 10.0).turn_m == pytest.approx(50.0)


def test_a_capstan_read_once_a_metre_shows_a_period_it_does_not_have() -> None:
    # Trap "capstan alias": worked out by a script apart: .5305/m appears at .4695/m, 2.130 m.
    assert 1 / CAPSTAN.turn_m == pytest.approx(0.5305164769729844)
    assert seen_frequency(1 / CAPSTAN.turn_m, 1.0) == pytest.approx(0.46948352302701557)
    line = alias_table([CAPSTAN], 1.0, 0.5, 1)[0]
    assert line.aliased
    assert line.seen_period_m == pytest.approx(2.1300002043787525)
    found = attribute(2.130, 0.002, alias_table([CAPSTAN, SCREW], 1.0, 0.5))
    assert found.element == "capstan"
    assert said(found.words) == ("The period of 2.130 m matches capstan (2.130 m, alias of 1.885 m).")


def test_averaging_of_one_reading_weakens_a_swing() -> None:
    # Worked out by a script apart: window .5 m leaves .888 of a capstan's swing.
    assert alias_table([CAPSTAN], 0.1, 0.5, 1)[0].passed == pytest.approx(0.8882122238352445, rel=1e-6)
    assert alias_table([CAPSTAN], 0.1, 0.0, 1)[0].passed == 1.0


def test_seen_frequencies_by_sampling_sines() -> None:
    import numpy as np

    for f in (0.3, 0.53, 0.97, 1.4, 2.6):
        x = np.sin(2 * np.pi * f * np.arange(4000) + 1.0)
        peak = np.abs(np.fft.rfft(x * np.hanning(4000))).argmax() / 4000
        assert peak == pytest.approx(seen_frequency(f, 1.0), abs=1 / 4000)


def test_harmonics_beyond_half_the_reading_rate_are_marked_not_left_out() -> None:
    table = alias_table([CAPSTAN], 0.4, 0.0, 3)
    assert [line.aliased for line in table] == [False, False, True]
    assert [line.true_period_m for line in table] == pytest.approx([1.885, 0.9425, 0.6283], abs=1e-4)


def test_a_period_that_no_element_has_is_said_so() -> None:
    table = alias_table([CAPSTAN, SCREW], 0.1, 0.0, 2)
    found = attribute(3.3, 0.01, table)
    assert found.element == NOTHING_FITS
    assert said(found.words) == "The period of 3.300 m fits no listed element."
    assert attribute(1.9, 0.002, table).element == "capstan"
    assert attribute(1.92, 0.002, table).element == NOTHING_FITS


def test_a_harmonic_is_named_as_such() -> None:
    found = attribute(0.943, 0.001, alias_table([CAPSTAN, SCREW], 0.1, 0.0, 2))
    assert said(found.words) == "The period of 0.943 m matches a half of a turn of capstan (0.942 m)."


def test_two_elements_that_fit_are_both_named_and_none_is_blamed() -> None:
    roll = driven_by_wire("guide roll", 1.89, 1.0)
    found = attribute(1.887, 0.001, alias_table([CAPSTAN, roll], 0.1, 0.0, 1))
    assert found.element == "several fit"
    assert said(found.words).startswith("The period of 1.887 m matches more than one element: ")
    assert {line.element for line in found.fits} == {"capstan", "guide roll"}


def test_a_swing_read_as_a_level_fits_nothing() -> None:
    still = alias_table([driven_by_wire("roll", 1.0, 1.0)], 1.0, 0.0, 1)
    assert still[0].seen_period_m == math.inf
    assert attribute(1.0, 0.1, still).element == NOTHING_FITS


def test_period_of_a_result() -> None:
    found = Result(
        asks(Quantity.PERIOD),
        2.0,
        1.9,
        2.1,
        0.95,
        "m",
        "m",
        9,
        None,
        None,
        "reading",
        details={"period_sd_m": 0.04},
    )
    assert period_of_result(found) == (2.0, 0.04)
    assert period_of_result(Refused(asks(Quantity.PERIOD), "m", "r", 0)) is None


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (
            lambda: driven_by_motor("screw", 1.0, 1.0, 0.0),
            "speed_m_s: 0 m/s was given. Give a finite number above 0.",
        ),
        (lambda: alias_table([CAPSTAN], 0.0, 0.0), "step_m: 0 m was given. Give a finite number above 0."),
        (lambda: alias_table([CAPSTAN], 0.1, 0.0, 0), "harmonics: 0 was given. Give 1 or more."),
        (lambda: attribute(0.0, 0.1, ()), "period_m: 0 m was given. Give a finite number above 0."),
    ],
)
def test_bad_input_is_told(call: object, text: str) -> None:
    with pytest.raises(MethodRefusal) as caught:
        call()  # type: ignore[operator]
    assert str(caught.value) == text
