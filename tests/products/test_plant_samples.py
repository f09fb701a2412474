"""The plant sheet's samples: what is shown by them, how often, and every complaint, word for word."""

from pathlib import Path

import pytest

from pipeline.sheets.plant_samples import Samples, ShownBySamples
from tests.products.test_plant_sheet import complaints_of


def test_a_requirement_is_asked_for_by_type() -> None:
    covering = ShownBySamples(requirement="covering at any point", per="run", types=("THHN", "THWN-2"))
    samples = Samples(shown=(covering, ShownBySamples(requirement="conductor diameter", per="lot")))
    assert samples.asked_of("covering at any point", ["THHN"]) is covering
    assert samples.asked_of("covering at any point", ["THHN", "THWN-2"]) is covering
    # A wire marked with a type that the plant does not name is not shown by samples as that type.
    assert samples.asked_of("covering at any point", ["THHN", "THWN"]) is None
    assert samples.asked_of("conductor diameter", ["XHHW-2"]) is samples.shown[1]
    assert samples.asked_of("minimum average wall", ["THHN"]) is None


def test_nothing_is_shown_by_samples_unless_the_sheet_says_so() -> None:
    assert Samples().shown == ()
    # One good run in a hundred may be blocked by its samples (the product's own choice); no factor is fixed.
    assert (Samples().false_alarms_per_run, Samples().coverage_factor) == (0.01, None)


@pytest.mark.parametrize(
    ("text", "complaints"),
    [
        (
            '[samples]\nshown = [{ requirement = "covering at any point", per = "shift" }]\n',
            [
                "plant.toml: samples.shown[1].per: found 'shift'. It may be 'reel', 'run', 'lot' or 'none'.",
            ],
        ),
        (
            '[samples]\nshown = [{ requirement = "covering at any point", per = "none" }]\n',
            [
                (
                    "plant.toml: samples.shown[1]: covering at any point asks for no sample and gives no reason; write "
                    "'reason', how it is shown instead. Mend it and try again."
                ),
            ],
        ),
        (
            '[samples]\nshown = [{ requirement = "covering at any point", per = "run", types = ["XHWH-2"] }]\n',
            [
                (
                    "plant.toml: samples.shown[1].types: 'XHWH-2' is not a wire type on file. The nearest is XHHW-2. "
                    "On file are THHN, THWN, THWN-2, XHHW-2, XHHW, XHH, RHW-2, USE-2, RW90-1000V."
                ),
            ],
        ),
        (
            '[samples]\nshown = [{ requirement = "minimum average wall", per = "none", reason = "in-line" }]\n',
            [
                (
                    "plant.toml: samples.shown[1]: minimum average wall is always judged; ask for a sample per reel, "
                    "run or lot, or take the entry out. Mend it and try again."
                ),
            ],
        ),
        (
            (
                '[samples]\nshown = [{ requirement = "covering at any point", per = "run" }, '
                '{ requirement = "covering at any point", per = "reel", types = ["THHN"] }]\n'
            ),
            [
                (
                    "plant.toml: samples.shown[2]: 'covering at any point' stands in samples.shown[1] for the same "
                    "type. Name each requirement once for a type."
                ),
            ],
        ),
    ],
)
def test_complaints(tmp_path: Path, text: str, complaints: list[str]) -> None:
    assert complaints_of(tmp_path, text) == complaints
