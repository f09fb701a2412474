"""Places on a reel count from one end, and what is told of them can be read back."""

import pytest

from pipeline.found import Found, found_by
from pipeline.length.reel_places import (
    figure_told,
    from_other_end,
    metres,
    place_on,
    place_on_reel,
    span_from_other_end,
    span_on_reel,
    span_told,
    told_on_reel,
    wire_of_place,
)
from pipeline.messages import Between, Measure, Message, as_written, message, message_of, slots_of, to_json
from pipeline.wording.say import plain


@pytest.mark.parametrize("wire_m", [100.0, 250.5, 1600.0])
def test_a_place_goes_to_the_reel_and_back(wire_m: float) -> None:
    place = place_on_reel(wire_m, 1600.0)
    assert wire_of_place(place, 1600.0) == wire_m
    assert from_other_end(from_other_end(place, 1500.0), 1500.0) == place


def test_wire_made_last_comes_off_first() -> None:
    # Derivation: a reel of 1,500 m wound on from 100 m of the run; its last 20 m are the first to come off.
    assert span_on_reel(1580.0, 1600.0, 100.0, 1600.0) == (0.0, 20.0)
    assert span_on_reel(90.0, 110.0, 100.0, 1600.0) == (1490.0, 1500.0)  # kept to the reel
    assert span_from_other_end((1490.0, 1500.0), 1500.0) == (0.0, 10.0)


def test_both_ends_are_told_and_read_back_in_the_plants_unit() -> None:
    # 2,980 ft and 4,520 ft from the two ends of a reel of 7,500 ft; 1 ft = 0.3048 m exactly (NIST SP 811, B.8).
    told = plain(place_on(metres(4520.0, "ft"), metres(7500.0, "ft")), "us")
    assert told == "4,520.0 ft from the outer end (2,980.0 ft from the core end)"
    assert (
        span_told((0.0, 10.0), 100.0)
        == "0.0 to 10.0 m from the outer end (90.0 to 100.0 m from the core end)"
    )
    assert figure_told(-1e-9, "m") == "0.0"


def test_a_sentence_of_the_run_is_told_from_the_outer_end() -> None:
    written = as_written(
        "Thinnest wall 0.292 mm at 3604.4 m over 13.4 m from 3600.4 m to 3613.8 m: does not conform."
    )
    assert plain(told_on_reel(written, 4982.0)) == (
        "Thinnest wall 0.292 mm at 1377.6 m from the outer end over 13.4 m from 1368.2 m to 1381.6 m: does not "
        "conform."
    )
    without = as_written("No place is named, 12.0 m of it.")
    assert told_on_reel(without, 100.0) == without


def test_places_of_a_message_are_counted_from_the_outer_end_and_lengths_are_not() -> None:
    lump = {"size": Measure(1.0, "mm"), "length": Measure(13.4, "m"), "seen_by": "two gauges"}
    told = message(
        Found.SEVERAL, told=(Message(found_by("splice"), slots_of({**lump, "span": Between(10.0, 23.4)})),)
    )
    assert "13.4 m from 76.6 to 90.0 m from the outer end" in plain(told_on_reel(told, 100.0))
    assert message_of(to_json(told)) == told
