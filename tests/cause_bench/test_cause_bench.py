"""Causes planted on lines made by other code than the product's: named rightly, misnamed, missed, and false claims.

A few runs of the suite's own; with REELPROOF_CAUSES=20 every cause and size over twenty seeds on every line, whose
table REELPROOF_CAUSES_KEEP=1 writes anew (found.csv).
"""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.cause_bench.causes import CAUSES
from tests.cause_bench.counting import as_text, row_of
from tests.cause_bench.lines import PLACES

Record = Callable[[str, object], None]
SEEDS = int(os.environ.get("REELPROOF_CAUSES", "0") or "0")
# Causes at a size that is plain, on one line each.
PLAIN = (
    ("lot step", 5.0, "T1"),
    ("hunting", 2.0, "N5"),
    ("roll faults", 5.0, "T1"),
    ("short roll faults", 5.0, "N5"),
    ("capstan swing", 2.0, "T1"),
)
EVERY = [(one.name, size, line) for one in CAUSES.values() for size in one.sizes for line in PLACES]


@pytest.mark.parametrize(("cause", "size", "line"), EVERY if SEEDS else PLAIN)
def test_a_cause_is_named_and_nothing_else(
    cause: str, size: float, line: str, tmp_path: Path, record_property: Record
) -> None:
    row = row_of(cause, size, line, range(SEEDS or 1), tmp_path)
    record_property("causes", as_text(row))
    if not SEEDS:
        assert (row.named, row.false) == (1, 0)
