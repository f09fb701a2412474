"""The page of excess wall says nothing of prices that the plant's sheet has, and no more than a target allows."""

from pathlib import Path

import pytest

from dashboards.pages import overwall
from dashboards.pages.overwall import overwall_review
from pipeline.job.tuning_on_file import tuning_on_file
from pipeline.results import Refused
from pipeline.store.database import open_to_read
from pipeline.wording.say import plain
from tests.dashboards import invented


def test_without_a_target_the_page_blames_no_price(
    judged_store: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(overwall, "stamp_of", lambda _: invented.STAMP)
    with open_to_read(judged_store) as store:
        record = overwall_review(invented.PLANT, [tuning_on_file(store, "L2")], [])
    (row,) = record.rows
    assert isinstance(row.target, Refused)
    assert "has a target" in plain(record.price_note) and "prices" not in plain(record.price_note)
    told = " ".join(plain(one) for one in row.told)
    assert "Money is for" not in told and "Left out of the target" not in told
