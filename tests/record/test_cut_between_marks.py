"""A piece of wire between two marks of a damaged roll: no standing calls it fit to leave without named evidence.

The zone of a repeating cause runs from its first mark to its last and one turn beyond each (common practice, no
source). The run with a damaged roll is one of the sample runs, invented.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from pathlib import Path

import pytest

from pipeline.acts.deciding import act_on
from pipeline.acts.shipping import put_shipping_on_file
from pipeline.errors import ReelproofError
from pipeline.messages import as_message
from pipeline.nonconformance.disposition import DispositionRefused
from pipeline.record.shipping_list import CutLength, Rewound, Shipment, ShippingList
from pipeline.record.standing import LengthStanding, standing_of
from pipeline.record.stretches_that_go import ReelFacts, doubted
from pipeline.store.database import Store, open_to_write
from pipeline.units import M_PER_FOOT
from tests.acts.decided_store import ENGINEER, MANAGER, copied

ROLL = "L1-0418-02"


@pytest.fixture
def store(judged_store: Path, tmp_path: Path) -> Iterator[Store]:
    with open_to_write(copied(judged_store, tmp_path)) as opened:
        yield opened


def piece_between_marks(store: Store) -> str:
    """Cut a metre of wire between the first two marks, more than two metres from both."""
    facts = ReelFacts(store, ROLL)
    marks = sorted(
        facts.on_reel(row["from_m"], row["to_m"]) for row in facts.findings if row["cause"] == "roll"
    )
    (_, low), (high, _) = next((one, two) for one, two in itertools.pairwise(marks) if two[0] - one[1] > 6.0)
    middle = (low + high) / 2 / M_PER_FOOT
    cut = CutLength(reel=ROLL, length=f"{ROLL}-X", from_ft=middle - 1.0, to_ft=middle + 1.0)
    put_shipping_on_file(store, ShippingList(cuts=(cut,)), "shipping clerk", None)
    return cut.length


def length_of(store: Store, name: str) -> LengthStanding:
    return next(one for one in standing_of(store, ROLL).lengths if one.length_id == name)


def test_it_is_held_and_ship_refuses_it(store: Store) -> None:
    name = piece_between_marks(store)
    stands = length_of(store, name)
    (zone,) = {one.told for one in doubted(ReelFacts(store, ROLL)) if one.kind == "repeating cause"}
    assert (stands.code, stands.may_leave, stands.open_findings) == ("held", False, ())
    assert as_message(zone) in stands.lacking
    told = ShippingList(shipments=(Shipment(id="S-1", to="a customer", contents=(name,)),))
    with pytest.raises(ReelproofError):
        put_shipping_on_file(store, told, "shipping clerk", None)
    assert length_of(store, name).left is None


def test_a_release_that_names_its_evidence_lets_it_leave_and_one_that_names_none_does_not(
    store: Store,
) -> None:
    name = piece_between_marks(store)
    with pytest.raises(DispositionRefused) as told:
        act_on(store, name, "decide", ENGINEER, "looks sound", "release")
    assert all("Name with --evidence what stands for it" in str(one) for one in told.value.complaints)
    act_on(store, name, "decide", ENGINEER, "tested again", "release", evidence="spark test record 12")
    assert not length_of(store, name).may_leave  # a second person is asked for
    act_on(store, name, "confirm", MANAGER, "seen")
    assert (length_of(store, name).code, length_of(store, name).may_leave) == ("released", True)
    told_of = ShippingList(shipments=(Shipment(id="S-1", to="a customer", contents=(name,)),))
    assert put_shipping_on_file(store, told_of, "shipping clerk", None).alarms == ()
    assert length_of(store, name).code == "shipped"


def test_the_evidence_of_one_length_lets_no_other_leave(store: Store) -> None:
    """All of it is wound onto another package after its release: what was shown of one number is not of another."""
    name = piece_between_marks(store)
    act_on(store, name, "decide", ENGINEER, "tested again", "release", evidence="spark test record 12")
    act_on(store, name, "confirm", MANAGER, "seen")
    onto = ShippingList(rewinds=(Rewound(source=name, onto="R-1", use="stock"),))
    put_shipping_on_file(store, onto, "rewinder")
    assert (length_of(store, "R-1").code, length_of(store, "R-1").may_leave) == ("held", False)
    told_of = ShippingList(shipments=(Shipment(id="S-1", to="a customer", contents=("R-1",)),))
    with pytest.raises(ReelproofError):
        put_shipping_on_file(store, told_of, "shipping clerk", None)
