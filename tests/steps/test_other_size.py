"""A run of one conductor under a sheet that names another; solid diameters by ASTM B258."""

from __future__ import annotations

import polars as pl
import pytest
from runs import made, run_sheet

from pipeline.products.product import find_product
from pipeline.simulator.lines import line_l1
from pipeline.steps.plausible import implausible
from pipeline.wording.say import plain


@pytest.mark.parametrize(
    ("conductor_mm", "named", "told"),
    [
        (2.588, "10 AWG", ""),
        (2.588 * 1.05, "10 AWG", ""),
        (
            2.588,
            "12 AWG",
            "The conductor reads 2.588 mm in mid run, and XHHW-2 12 AWG, solid copper has 2.052",
        ),
        (
            2.052,
            "10 AWG",
            "The conductor reads 2.052 mm in mid run, and XHHW-2 10 AWG, solid copper has 2.588",
        ),
    ],
)
def test_a_conductor_of_another_size_than_the_sheet_names_is_told(
    conductor_mm: float, named: str, told: str
) -> None:
    readings = pl.DataFrame({"conductor_mm": [conductor_mm] * 60 + [None] * 5})
    product = find_product("XHHW-2", named, "solid")
    found = implausible(readings, run_sheet(made()), line_l1(), product)
    assert found == () if not told else plain(found[0].told).startswith(told)
