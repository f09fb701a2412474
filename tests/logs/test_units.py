"""Units of logs: what is known without the units library is what the library says, and turns are turns."""

from __future__ import annotations

import pytest

from pipeline import units
from pipeline.errors import ReelproofError


@pytest.mark.parametrize("pair", units._USUAL, ids=" to ".join)
def test_a_usual_unit_converts_as_the_units_library_says(pair: tuple[str, str]) -> None:
    assert units._USUAL[pair] == units._by_library(*pair, *pair, "here")


@pytest.mark.parametrize("written", ["rpm", "RPM", "1/min", "min-1", "min^-1", "rev/min", "r/min"])
def test_a_count_a_minute_of_a_screw_is_its_turns_a_minute(written: str) -> None:
    # One revolution is 2 pi rad (NIST SP 811, appendix B.8: rpm = 0.1047198 rad/s).
    assert units.scale_and_offset(written, "rpm", "here") == (1.0, 0.0)
    assert units.scale_and_offset("rad/s", "rpm", "here")[0] == pytest.approx(1 / 0.1047198, rel=1e-6)


@pytest.mark.parametrize("written", ["Hz", "1/s", "rev/s"])
def test_turns_a_second_are_sixty_a_minute(written: str) -> None:
    assert units.scale_and_offset(written, "rpm", "here")[0] == pytest.approx(60.0, rel=1e-12)


def test_spelling_and_space_around_do_not_matter() -> None:
    assert units.scale_and_offset(" mils ", "mm", "here") == (0.0254, 0.0)
    assert units.scale_and_offset("°F", "degC", "here") == units.scale_and_offset("degF", "degC", "here")


def test_a_unit_that_is_not_usual_is_asked_of_the_library() -> None:
    assert units.scale_and_offset("furlong", "m", "here")[0] == pytest.approx(201.168, rel=1e-4)


def test_an_unknown_or_unfit_unit_is_a_sentence() -> None:
    with pytest.raises(ReelproofError, match=r"run.toml: 'frob' is not a unit this program knows"):
        units.scale_and_offset("frob", "mm", "run.toml")
    with pytest.raises(ReelproofError, match="unit 'psi' measures another kind of quantity than mm"):
        units.scale_and_offset("psi", "mm", "run.toml")
