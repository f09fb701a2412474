"""A printed length found on the wire by surveyed marks."""

from __future__ import annotations

import pytest

from pipeline.errors import NotFoundError
from pipeline.length.footage_marks import DRIFT_M2_PER_M
from pipeline.length.reels import PlacedReel
from pipeline.lots.complaint import CutFrom
from pipeline.record.printed_mark import wire_at_printed
from pipeline.sheets.run_sheet import RunSheet

REEL = PlacedReel("A", 100.0, 400.0, 224.0, 524.0)


def sheet(*marks: tuple[float, float]) -> RunSheet:
    return RunSheet.model_construct(
        id="R-1",
        marks=tuple(type("M", (), {"counter_m": c, "printed_m": p})() for c, p in marks),  # type: ignore[misc]
    )


def test_a_printed_length_lies_between_its_surveyed_marks() -> None:
    """Printed 1 % short: 1100 m printed half way from 1000 (counter 200) to 1198 (counter 400) is counter 301.01."""
    place = wire_at_printed(sheet((200.0, 1000.0), (400.0, 1198.0)), REEL, 124.0, 1100.0)
    counter = 200.0 + 100.0 / 0.99
    assert place.wire_m == pytest.approx(counter - 124.0)
    assert place.from_outer_m == pytest.approx(400.0 - (counter - 124.0))
    # The bridge half way: 4e-4 x 100 x 98 / 198 m2, and 0.3 m of reading a mark at either end (derived).
    share = 100.0 / 198.0
    bridge = DRIFT_M2_PER_M * 100.0 * 98.0 / 198.0
    assert place.unsure_m == pytest.approx(
        2.0 * (bridge + 0.09 * (share**2 + (1 - share) ** 2)) ** 0.5, rel=1e-6
    )


def test_it_is_refused_without_a_survey_and_off_the_reel() -> None:
    with pytest.raises(NotFoundError) as none:
        wire_at_printed(sheet(), REEL, 124.0, 1100.0)
    assert str(none.value) == (
        "run R-1: 0 surveyed marks stand on its sheet, and two are needed. Add [[run.marks]] and load it again, or "
        "count from an end with --outer-mark and without --printed."
    )
    with pytest.raises(NotFoundError, match=r"the printed length 2,000\.0 m is not on it"):
        wire_at_printed(sheet((200.0, 1000.0), (400.0, 1200.0)), REEL, 124.0, 2000.0)


def test_a_printed_length_read_on_a_length_must_be_on_it() -> None:
    """Printed as the counter runs: 1100 m is counter 300, wire 176, and so 224 m from the outer end."""
    marks = sheet((200.0, 1000.0), (400.0, 1200.0))
    on_it = wire_at_printed(marks, REEL, 124.0, 1100.0, CutFrom("P", 200.0, 300.0, turned=True))
    assert on_it.from_outer_m == pytest.approx(224.0)
    with pytest.raises(NotFoundError) as told:
        wire_at_printed(marks, REEL, 124.0, 1100.0, CutFrom("Q", 0.0, 200.0))
    assert str(told.value) == (
        "length Q: the printed length 1,100.0 m is not on it. That was printed 224.0 m from the outer end of reel A, "
        "and the length is 0.0 m to 200.0 m from there; read the mark again."
    )
