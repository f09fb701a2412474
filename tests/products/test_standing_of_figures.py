"""What a failed check does to a figure: changed and said so, or withdrawn; never shown as it was."""

import math
from dataclasses import replace

import pytest

from pipeline.quantity import Quantity, asks
from pipeline.results import Assumption, Refused, Result, standing
from pipeline.wording.say import plain

FIGURE = Result(asks(Quantity.FAULT_RATE), 1.0, 0.5, 2.0, 0.95, "1/km", "counted", 5, None, 9.0, "event")
HELD = Assumption("reels are alike", True, "p = 0.4")
UNCHECKED = Assumption("reels are alike", None, "not counted")


def test_a_figure_stands_on_what_held_or_was_not_checked() -> None:
    one = replace(FIGURE, assumptions=(HELD, UNCHECKED))
    assert standing(one) is one
    refused = Refused(FIGURE.question, "counted", "too few.", 1)
    assert standing(refused) is refused


def test_a_failed_check_withdraws_the_figure_unless_it_changed_it() -> None:
    failed = Assumption("reels are alike", False, "p = 0.001")
    gone = standing(replace(FIGURE, assumptions=(HELD, failed)))
    assert isinstance(gone, Refused)
    assert plain(gone.reason) == "Withdrawn: the check that reels are alike failed (p = 0.001)."
    assert (gone.question, gone.method, gone.n) == (FIGURE.question, "counted", 5)
    widened = replace(FIGURE, assumptions=(replace(failed, then="the interval is widened by 1.4"),))
    assert standing(widened) is widened
    assert math.isclose(widened.estimate, 1.0)


@pytest.mark.parametrize("held", [True, None])
def test_only_a_failed_check_has_a_consequence(held: bool | None) -> None:
    with pytest.raises(ValueError, match="only what a failed check changed has a consequence"):
        Assumption("reels are alike", held, "p = 0.4", "the interval is widened")
