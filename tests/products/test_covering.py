"""A covering that cannot be on the product is refused word for word."""

import re
import shutil
from pathlib import Path

import pytest

from pipeline.errors import SheetError
from pipeline.products.covering import covering_complaints
from pipeline.products.product import find_product
from pipeline.steps.load import read_run_sheets

SAMPLES = Path(__file__).parents[2] / "sample_runs"
WHERE = "run.toml: run.covering.mean_mm"


def test_a_covering_that_can_be_is_not_complained_about() -> None:
    product = find_product("THHN/THWN-2", "14 AWG", "solid")
    assert covering_complaints(product, 0.116, WHERE) == ()
    assert covering_complaints(product, 0.05, WHERE) == ()


def test_a_covering_thicker_than_the_wall() -> None:
    product = find_product("THHN/THWN-2", "14 AWG", "solid")
    for mean, shown in ((4.0, "4"), (0.381, "0.381"), (0.0, "0"), (float("nan"), "nan")):
        (complaint,) = covering_complaints(product, mean, WHERE)
        assert str(complaint) == (
            f"run.toml: run.covering.mean_mm: a covering of {shown} mm is not thinner than the insulation's "
            "minimum average wall of 0.381 mm. Check the figure and its unit; the least covering of "
            "THHN/THWN-2 14 AWG is 0.1016 mm (4 mil)."
        )


def test_a_covering_on_a_wire_that_has_none() -> None:
    (complaint,) = covering_complaints(find_product("XHHW-2", "1/0 AWG", "compact"), 0.116, WHERE)
    assert str(complaint) == (
        "run.toml: run.covering.mean_mm: a covering of 0.116 mm is stated, but XHHW-2 has none. Take the "
        "covering out, or name the construction that was made."
    )


def test_it_is_told_when_the_run_sheet_is_read(tmp_path: Path) -> None:
    for name in ("plant.toml", "lines", "runs/R-0411"):
        copy = shutil.copytree if (SAMPLES / name).is_dir() else shutil.copy
        (tmp_path / name).parent.mkdir(exist_ok=True)
        copy(SAMPLES / name, tmp_path / name)
    path = tmp_path / "runs" / "R-0411" / "run.toml"
    path.write_text(
        re.sub(r"(?m)^mean_mm = .*", "mean_mm = 4.6", path.read_text(encoding="utf-8")), encoding="utf-8"
    )
    with pytest.raises(SheetError) as told:
        read_run_sheets(path)
    assert str(told.value) == (
        f"{path}: run.covering.mean_mm: a covering of 4.6 mm is not thinner than the insulation's minimum average wall "
        "of 0.381 mm. Check the figure and its unit; the least covering of THHN/THWN-2 14 AWG is 0.1016 mm (4 mil)."
    )
