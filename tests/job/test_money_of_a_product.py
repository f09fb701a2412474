"""What the plant's sheet says of money is said of the construction it names, and of no other."""

import tomllib
from pathlib import Path

from pipeline.job.tuning_question_on_file import _price
from pipeline.sheets.plant_sheet import PlantSheet

SHEET = Path(__file__).resolve().parents[2] / "sample_runs" / "plant.toml"


def test_a_length_a_month_of_one_construction_is_not_said_of_another_of_its_family() -> None:
    """Seen: XHHW-2's 300 km a month told as "the plant's own figure for USE-2"."""
    plant = PlantSheet.model_validate(tomllib.loads(SHEET.read_text(encoding="utf-8")))
    own = _price(plant, "XHHW-2", "XHHW-2", 1.05, 0.5)
    other = _price(plant, "USE-2", "XHHW-2", 1.05, 1.0)
    assert (own.per_kg, own.km_per_month) == (2.40, 150.0)
    # The same compound is on both, at the same price; how much of it is made is not said.
    assert (other.per_kg, other.km_per_month) == (2.40, None)
