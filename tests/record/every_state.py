"""A store of sample reels in every state that a reel can stand in, derived by hand from what is put on file."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import get_args

from pipeline.acts.deciding import act_on
from pipeline.acts.holding import put_hold
from pipeline.acts.sampling import reels_sampled
from pipeline.acts.shipping import put_shipping_on_file
from pipeline.acts.withdrawing import withdraw_sample
from pipeline.cli.app import run
from pipeline.nonconformance.disposition import Person
from pipeline.record.gauge_tables import Sample
from pipeline.record.issuer_sheet import NamingPart
from pipeline.record.samples_on_file import keep_samples
from pipeline.record.shipping_list import CutLength, Shipment, ShippingList
from pipeline.record.standing import Code, standing_of
from pipeline.store.database import Store, open_to_write
from tests.acts.decided_store import ENGINEER, MANAGER, SENT, judged

EXPECTED = {
    "L1-0411-01": "released",
    "L1-0411-02": "shipped",
    "L1-0411-03": "scrapped",
    "L1-0411-04": "awaiting a second person",
    "L1-0412-01": "held",  # by a person: the evidence says releasable
    "L1-0412-02": "decided",  # to be reworked, and not done yet
    "L1-0412-03": "left while held",
    "L1-0412-04": "releasable",
    "L1-0415-01": "held",  # reworked and done: nobody has released it since
    "L1-0415-02": "releasable",  # its release was taken back
    "L1-0415-03": "releasable",  # the laboratory sample that held it was withdrawn
    "L1-0413-01": "releasable",
    "L1-0413-02": "released",  # and cut
    "L1-0413-03": "held",
    "L1-0413-04": "held since it left",
    "L2-0517-01": "held",  # a third of it was not monitored
}
LENGTHS = {"A-1": "shipped", "A-2": "released"}
CODES = get_args(Code)
ALARMS = ("L1-0412-03", "L1-0413-04")
NAMING = NamingPart(base="https://id.example.com")
AT = datetime(2026, 3, 9, 12, 0, tzinfo=UTC)
LOTS = ("PVC-7740",)


def release(store: Store, reel: str) -> None:
    act_on(store, reel, "decide", ENGINEER, "seen", "release")
    act_on(store, reel, "confirm", MANAGER, "agreed")


def ship(store: Store, number: str, reel: str, *, sent: bool = False) -> None:
    told = ShippingList(shipments=(Shipment(id=number, to="a customer", contents=(reel,)),))
    put_shipping_on_file(store, told, "shipping clerk", SENT if sent else None)


def sample(store: Store, reel: str) -> str:
    """A thinnest wall of the laboratory far below the limit; its number."""
    taken = Sample(
        "laboratory.csv:2", reel, 100.0, "thinnest_wall_mm", 0.25, 0.002, "laboratory", "microscope"
    )
    reels = {name: one.sampled for name, one in reels_sampled(store, [taken]).items()}
    with store.transaction():
        (number,) = keep_samples(store, [taken], reels, "laboratory")
    return number


def every_state(folder: Path) -> Path:
    """A store with a reel in every state, and what is expected of each (`EXPECTED`)."""
    made = judged(folder, "R-0411", "R-0412", "R-0413", "R-0415", "R-0517")
    with open_to_write(made) as store:
        number = sample(store, "L1-0415-03")
        assert standing_of(store, "L1-0415-03").code == "held"
        withdraw_sample(store, number, MANAGER, "another reel's")
        release(store, "L1-0411-01")
        release(store, "L1-0411-02")
        ship(store, "S-1", "L1-0411-02")
        act_on(store, "L1-0411-03", "decide", ENGINEER, "crushed", "scrap")
        act_on(store, "L1-0411-03", "complete", ENGINEER, "gone", evidence="scrap ticket 4")
        act_on(store, "L1-0411-04", "decide", ENGINEER, "seen", "release")
        release(store, "L1-0412-01")
        put_hold(store, "L1-0412-01", Person("line operator"), "scuffed")
        ship(store, "S-2", "L1-0412-03", sent=True)
        act_on(store, "L1-0412-02", "decide", ENGINEER, "strip it", "rework")
        act_on(store, "L1-0415-01", "decide", ENGINEER, "strip it", "rework")
        act_on(store, "L1-0415-01", "complete", ENGINEER, "stripped", evidence="work order 9")
        release(store, "L1-0415-02")
        act_on(store, "L1-0415-02", "reopen", ENGINEER, "released by mistake")
        release(store, "L1-0413-02")
        cuts = (
            CutLength(reel="L1-0413-02", length="A-1", from_m=0, to_m=100),
            CutLength(reel="L1-0413-02", length="A-2", from_m=100, to_m=200, use="stock"),
        )
        left = Shipment(id="S-3", to="a customer", contents=("A-1",))
        put_shipping_on_file(store, ShippingList(cuts=cuts, shipments=(left,)), "shipping clerk")
        release(store, "L1-0413-04")
        ship(store, "S-4", "L1-0413-04")
        put_hold(store, "L1-0413-04", Person("line operator"), "the next reel is scuffed")
    asked = ("contain", "lot", LOTS[0], "--role", "quality engineer", "--reason", "a complaint")
    assert run([*asked, "--store", str(made)]) == 0
    return made
