"""Holds of persons: on a reel, a lot and a stretch; lifted with a reason; held wire is neither released nor shipped."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.acts.deciding import act_on
from pipeline.acts.holding import holds_on, lift_hold, put_hold
from pipeline.acts.shipping import put_shipping_on_file
from pipeline.errors import ReelproofError
from pipeline.nonconformance.disposition import DispositionRefused, Person
from pipeline.proofs.changes import changes_in
from pipeline.record.holds_on_file import holds_by_reel
from pipeline.record.shipping_list import CutLength, Shipment, ShippingList
from pipeline.record.standing import standing_of, standings_of_run
from pipeline.store.database import Store, open_to_write
from pipeline.wording.say import plain
from tests.acts.decided_store import ENGINEER, MANAGER, copied, judged

OPERATOR = Person("line operator")
REEL = "L1-0412-01"


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return judged(tmp_path_factory.mktemp("held") / "store", "R-0412")


@pytest.fixture
def store(kept: Path, tmp_path: Path) -> Store:  # type: ignore[misc]
    with open_to_write(copied(kept, tmp_path / "store")) as opened:
        yield opened


def release(store: Store, name: str) -> None:
    act_on(store, name, "decide", ENGINEER, "nothing found", "release")
    act_on(store, name, "confirm", MANAGER, "agreed")


def ship(store: Store, *items: str, cuts: tuple[CutLength, ...] = ()) -> None:
    shipments = (Shipment(id="S-1", to="a customer", contents=items),) if items else ()
    put_shipping_on_file(store, ShippingList(cuts=cuts, shipments=shipments), "shipping clerk")


def test_a_good_looking_reel_is_held_and_neither_released_nor_shipped(store: Store) -> None:
    release(store, REEL)
    number = put_hold(store, REEL, OPERATOR, "scuffed at the rewinder")
    # Given again, as after a kill, it is the same hold: lifting it leaves no other behind.
    assert put_hold(store, REEL, OPERATOR, "scuffed at the rewinder") == number
    now = standing_of(store, REEL)
    assert (now.code, now.evidence, now.may_leave) == ("held", "releasable", False)
    assert plain(now.headline).startswith(
        f"Held, may not leave. Hold {number} on reel {REEL}, put by line operator on 20"
    )
    with pytest.raises(ReelproofError) as told:
        ship(store, REEL)
    assert str(told.value).startswith(
        f"shipment S-1: {REEL} may not leave: Held, may not leave. Hold {number}"
    )
    lift_hold(store, REEL, number, ENGINEER, "the jacket is sound on a sample")
    assert standing_of(store, REEL).code == "released"
    ship(store, REEL)
    assert changes_in(store) == ()


def test_held_wire_is_not_released(store: Store) -> None:
    number = put_hold(store, REEL, ENGINEER, "looks dull")
    with pytest.raises(DispositionRefused) as told:
        act_on(store, REEL, "decide", ENGINEER, "nothing found", "release")
    assert str(told.value).startswith(f"{REEL}: release is refused: Hold {number} on reel {REEL}")
    assert str(told.value).endswith(f"Lift it first: reelproof hold {REEL} --lift {number}.")


def test_a_lot_holds_every_reel_made_of_it(store: Store) -> None:
    put_hold(store, "PVC-7740", ENGINEER, "the supplier recalled it")
    assert {one.code for one in standings_of_run(store, "R-0412").values()} == {"held"}
    assert [one.from_outer_m for one in holds_by_reel(store)[REEL]] == [None]


def test_a_stretch_holds_the_lengths_that_meet_it_and_no_other(store: Store) -> None:
    """Held from 300 m to 340 m; cut at 310 m (holds the first 10 m of it) and at 345 m, which is clear of it."""
    ends = (("A", 0.0, 310.0), ("B", 310.0, 345.0), ("C", 345.0, 2000.0))
    ship(store, cuts=tuple(CutLength(reel=REEL, length=n, from_m=low, to_m=high) for n, low, high in ends))
    put_hold(store, REEL, OPERATOR, "scuffed", (300.0, 340.0))
    assert [(one.from_outer_m, one.to_outer_m) for one in holds_by_reel(store)[REEL]] == [(300.0, 340.0)]
    code_of = {one.length_id: one.code for one in standing_of(store, REEL).lengths}
    assert code_of == {"A": "held", "B": "held", "C": "releasable"}
    release(store, "C")
    ship(store, "C")
    now = standing_of(store, REEL)
    assert (now.where, now.left_while_held) == ("partly shipped", False)
    with pytest.raises(ReelproofError):
        ship(store, "A")


def test_a_hold_on_wire_that_is_out_is_an_alarm(store: Store) -> None:
    release(store, REEL)
    ship(store, REEL)
    put_hold(store, REEL, ENGINEER, "a complaint")
    now = standing_of(store, REEL)
    assert (now.code, now.left_while_held) == ("held since it left", True)


REFUSED = {
    "no hold 99999 is in force on it. In force: none.": lambda store: lift_hold(
        store, REEL, 99999, ENGINEER, "over"
    ),
    "by the plant's sheet the role 'night janitor' may not put a hold. It is for line operator": lambda store: (
        put_hold(store, REEL, Person("night janitor"), "why not")
    ),
    "by the plant's sheet the role 'line operator' may not lift a hold. It is for quality engineer": lambda store: (
        lift_hold(store, REEL, 1, OPERATOR, "over")
    ),
    "the role or the reason is missing. Give --role and --reason.": lambda store: put_hold(
        store, REEL, OPERATOR, " "
    ),
    "29,527.6 ft to 29,530.8 ft from the outer end is no stretch of its 7,500.0 ft.": lambda store: put_hold(
        store, REEL, OPERATOR, "scuffed", (9000.0, 9001.0)
    ),
    "a stretch was given and this is a lot. Hold the lot, or a stretch of a reel.": lambda store: put_hold(
        store, "PVC-7740", OPERATOR, "scuffed", (0.0, 1.0)
    ),
}


@pytest.mark.parametrize("sentence", REFUSED)
def test_what_no_hold_is_made_of_is_refused(store: Store, sentence: str) -> None:
    with pytest.raises(DispositionRefused) as told:
        REFUSED[sentence](store)
    assert sentence in str(told.value)
    assert holds_on(store, REEL).holds == ()
