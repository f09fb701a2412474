"""A trial of settings is told by the load, or by the run sheet of a load of an earlier version."""

from pathlib import Path

import pytest

from pipeline.record.trials import is_trial, trials_of_line
from pipeline.store.database import open_to_write
from tests.sql.test_questions import fill


@pytest.mark.parametrize(
    ("text", "trial"),
    [
        ("[run]\ntrial = true # of bolts\n", True),
        ("[run]\ntrial = false\n", False),
        ('[run]\nnote = "trial = true was meant"\n', False),
        ('[run]\nnote = """\ntrial = true\n"""\n', False),
        ("[run]\n", False),
    ],
)
def test_the_key_itself_counts_and_no_note_that_mentions_it(text: str, trial: bool) -> None:
    assert is_trial(text) is trial


def test_an_earlier_load_is_known_by_its_sheet(tmp_path: Path) -> None:
    loads = [
        {"load_id": 1, "run_id": "R-1", "line": "L1", "run_sheet_sha256": "a", "trial": True},
        {"load_id": 2, "run_id": "R-2", "line": "L1", "run_sheet_sha256": "b"},
        {"load_id": 3, "run_id": "R-3", "line": "L1", "run_sheet_sha256": "a"},
    ]
    sheets = [{"sha256": "a", "text": "[run]\n"}, {"sha256": "b", "text": "[run]\ntrial = true\n"}]
    with open_to_write(tmp_path) as store:
        fill(store, "logged.load", loads)
        fill(store, "logged.sheet", sheets)
        assert trials_of_line(store, "L1") == {"R-1", "R-2"}
