"""How a reel stands: evidence, acts, cuts and shipments folded once. Cases are derived by hand from what was put."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.acts.deciding import act_on
from pipeline.acts.shipping import put_shipping_on_file
from pipeline.messages import message
from pipeline.record.holds_on_file import holds_by_reel
from pipeline.record.shipping_list import read_shipping_list
from pipeline.record.standing import Standing, standing_of, standings_of_run
from pipeline.store.database import Store, open_to_write
from pipeline.why import Stands
from pipeline.wording.say import plain
from tests.acts.decided_store import ENGINEER, MANAGER, copied, judged

GOOD, BAD = "L1-0412-01", "L1-0412-02"


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return judged(tmp_path_factory.mktemp("standing") / "store", "R-0412")


@pytest.fixture
def store(kept: Path, tmp_path: Path) -> Store:  # type: ignore[misc]
    with open_to_write(copied(kept, tmp_path / "store")) as opened:
        yield opened


def release(store: Store, reel: str) -> Standing:
    act_on(store, reel, "decide", ENGINEER, "nothing found", "release")
    act_on(store, reel, "confirm", MANAGER, "agreed")
    return standing_of(store, reel)


def ship(store: Store, tmp_path: Path, text: str) -> None:
    path = tmp_path / "shipped.toml"
    path.write_text(text)
    put_shipping_on_file(store, read_shipping_list(path), "shipping clerk")


def test_what_the_evidence_says_where_nobody_acted(store: Store) -> None:
    assert {name: one.code for name, one in standings_of_run(store, "R-0412").items()} == {
        "L1-0412-01": "releasable",
        "L1-0412-02": "held",
        "L1-0412-03": "held",
        "L1-0412-04": "releasable",
    }
    good = standing_of(store, GOOD)
    assert (good.where, good.may_leave, good.reasons) == ("in plant", False, ())
    assert GOOD not in holds_by_reel(store)


def test_a_release_waits_for_the_second_person_and_then_stands_with_its_names_and_day(store: Store) -> None:
    act_on(store, GOOD, "decide", ENGINEER, "nothing found", "release")
    assert standing_of(store, GOOD).code == "awaiting a second person"
    act_on(store, GOOD, "confirm", MANAGER, "agreed")
    now = standing_of(store, GOOD)
    day = store.ask("questions/acts_of_subject", subject=GOOD)[-1]["at_utc"]
    assert (now.code, now.may_leave) == ("released", True)
    assert plain(now.headline).startswith("Released by quality engineer and quality manager on 20")
    assert abs((day.date() - day.date().fromisoformat(plain(now.headline)[-11:-1])).days) <= 1


def test_a_released_reel_that_was_held_is_not_called_held_any_more(store: Store) -> None:
    act_on(store, "R-0412-F01", "decide", ENGINEER, "cut out", "scrap")
    act_on(store, "R-0412-F01", "complete", ENGINEER, "cut out", evidence="cut record 12")
    assert standing_of(store, BAD).reasons == (message(Stands.NOT_RELEASED),)
    now = release(store, BAD)
    assert (now.code, now.evidence, now.reasons) == ("released", "held", ())


def test_a_shipped_reel_says_where_it_went(store: Store, tmp_path: Path) -> None:
    release(store, GOOD)
    ship(store, tmp_path, f'[[shipments]]\nid = "S-1"\nto = "a customer"\ncontents = ["{GOOD}"]\n')
    now = standing_of(store, GOOD)
    assert (now.code, now.where, now.may_leave, now.left_while_held) == ("shipped", "shipped", False, False)
    assert plain(now.headline).startswith("Shipped in S-1 to a customer. Released by quality engineer and ")
