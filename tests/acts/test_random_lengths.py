"""No sequence of cuts, rewindings, decisions, holds and shipments lets out wire that may not leave.

The model keeps the wire of one reel in cells of half a metre, and moves the cells from package to package as wire
comes off an outer end. Which cells may not leave it knows from the thin spot of R-0412 and the roll damage of R-0418
(sample_runs/README.md), from holds, and from what was decided about any package the cells were ever on.
"""

from __future__ import annotations

import itertools
import os
import random
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from pipeline.acts.deciding import act_on
from pipeline.acts.holding import put_hold
from pipeline.acts.shipping import put_shipping_on_file
from pipeline.errors import ReelproofError
from pipeline.nonconformance.disposition import Person
from pipeline.proofs.changes import changes_in
from pipeline.record.lengths import lengths_of_reel
from pipeline.record.shipping_list import CutLength, Rewound, Shipment, ShippingList
from pipeline.record.standing import ALARMS, standing_of
from pipeline.record.stretches_that_go import ReelFacts, going_of
from pipeline.store.database import Store, open_to_write
from pipeline.units import M_PER_FOOT
from tests.acts.decided_store import ENGINEER, MANAGER, copied, judged

SEQUENCES = int(os.environ.get("REELPROOF_ACTS", "1"))
STEPS = 32
CELL_M = 0.5
# Each reel with something wrong on part of it, and one that is sound.
REELS = ("L1-0412-02", "L1-0418-02", "L1-0412-01")
SECOND = Person("quality engineer", "QE-2")


@dataclass
class Package:
    """A package: cells from its outer end, what was decided of it, and what it was wound from."""

    cells: list[int]
    source: str = ""
    use: str = "package"
    decided: str = ""
    closed: bool = False
    left: bool = False


@dataclass
class Model:
    """The wire of one reel, cell by cell from its outer end."""

    bad: set[int]
    made: dict[str, Package] = field(default_factory=dict)
    held: set[int] = field(default_factory=set)
    scrapped: set[int] = field(default_factory=set)

    def might_leave(self, name: str) -> bool:
        one = self.made[name]
        return (
            one.closed
            and one.decided in ("release", "concession")
            and not set(one.cells) & (self.bad | self.held | self.scrapped)
        )


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return judged(tmp_path_factory.mktemp("lengths") / "store", "R-0412", "R-0418")


def cells_of(from_m: float, to_m: float) -> set[int]:
    """Cells that lie wholly in a stretch."""
    return {
        k
        for k in range(int(from_m / CELL_M), int(to_m / CELL_M) + 1)
        if from_m <= k * CELL_M and (k + 1) * CELL_M <= to_m
    }


def one_step(store: Store, model: Model, reel: str, cells: int, dice: random.Random) -> None:
    what = dice.choice(
        ("cut",) * 3
        + ("rewind",) * 3
        + ("decide", "confirm") * 2
        + ("let go",) * 4
        + ("hold",)
        + ("ship",) * 5
    )
    names = [name for name, one in model.made.items() if not one.left]
    name = dice.choice(names) if names else ""
    one = model.made.get(name)
    if what == "cut":
        low = dice.randrange(0, cells - 20)
        high = min(low + dice.randrange(20, 900), cells)
        new, feet = f"{reel}-C{len(model.made)}", dice.random() < 0.5
        use = dice.choice(("package", "package", "stock", "scrap"))
        unit, scale = ("ft", CELL_M / M_PER_FOOT) if feet else ("m", CELL_M)
        told = {f"from_{unit}": low * scale, f"to_{unit}": high * scale}
        put_shipping_on_file(
            store, ShippingList(cuts=(CutLength(reel=reel, length=new, use=use, **told),)), "rewinder"
        )  # type: ignore[arg-type]
        model.made[new] = Package(list(range(low, high)), use=use)
    elif what == "rewind" and one is not None:
        new = f"{reel}-W{len(model.made)}"
        take = dice.choice((None, dice.randrange(2, 300)))
        told = Rewound(
            source=name,
            onto=new,
            take_m=None if take is None else take * CELL_M,
            use=dice.choice(("package", "stock")),
        )
        put_shipping_on_file(store, ShippingList(rewinds=(told,)), "rewinder")
        number = len(one.cells) if take is None else min(take, len(one.cells))
        model.made[new] = Package(one.cells[:number][::-1], source=name)
        one.cells = one.cells[number:]
    elif what == "decide" and one is not None:
        chosen = dice.choice(("release",) * 6 + ("concession", "scrap"))
        act_on(
            store,
            name,
            "decide",
            dice.choice((ENGINEER, MANAGER)),
            "seen",
            chosen,
            evidence=dice.choice(("", "record 4")),
        )
        one.decided, one.closed = chosen, False
        if chosen == "scrap":
            model.scrapped |= set(one.cells)
    elif what == "confirm" and one is not None:
        act_on(store, name, "confirm", SECOND, "agreed", evidence="record 4")
        one.closed = True
    elif what == "let go" and one is not None:
        act_on(store, name, "decide", ENGINEER, "seen", "release", evidence="record 4")
        one.decided, one.closed = "release", False
        act_on(store, name, "confirm", SECOND, "agreed", evidence="record 4")
        one.closed = True
    elif what == "hold":
        low = dice.randrange(0, cells - 10)
        stretch = (low * CELL_M, (low + dice.randrange(4, 60)) * CELL_M)
        put_hold(store, reel, ENGINEER, "a dull patch", stretch)
        model.held |= cells_of(*stretch)
    elif what == "ship" and one is not None:
        put_shipping_on_file(
            store,
            ShippingList(shipments=(Shipment(id=f"S-{name}", to="a customer", contents=(name,)),)),
            "clerk",
        )
        assert model.might_leave(name), f"{name} left although it might not"
        one.left = True


def test_no_piece_of_wire_leaves_that_may_not(kept: Path, tmp_path: Path) -> None:
    left = 0
    for seed, reel in itertools.product(range(SEQUENCES), REELS):
        dice = random.Random(f"{reel} {seed}")
        with open_to_write(copied(kept, tmp_path / f"store-{reel}-{seed}")) as store:
            facts = ReelFacts(store, reel)
            bad: set[int] = set()
            for one in going_of(facts):
                # What the plan takes with it for being unsure of the place is not in the model: only what is truly bad.
                bad |= cells_of(one.from_m + 2.5, one.to_m - 2.5)
            cells = int(facts.length_m / CELL_M)
            model = Model(bad)
            for _ in range(STEPS):
                before = len(store.ask("questions/journal"))
                try:
                    one_step(store, model, reel, cells, dice)
                except ReelproofError:
                    assert len(store.ask("questions/journal")) <= before + 1
            rows = {row["length_id"]: row for row in lengths_of_reel(store, reel)}
            now = {one.length_id: one for one in standing_of(store, reel).lengths}
            for name, package in model.made.items():
                row = rows[name]
                if package.cells:
                    assert (row["from_outer_m"], row["to_outer_m"]) == (
                        pytest.approx(min(package.cells) * CELL_M, abs=0.02),
                        pytest.approx((max(package.cells) + 1) * CELL_M, abs=0.02),
                    )
                else:
                    assert row["use"] == "rewound"
                if now[name].may_leave:
                    assert model.might_leave(name), name
                if package.left and not model.might_leave(name):
                    assert now[name].code in ALARMS, name
            on = [row for row in rows.values() if row["use"] != "rewound"]
            told = sum(row["to_outer_m"] - row["from_outer_m"] for row in on)
            assert told == pytest.approx(sum(len(one.cells) for one in model.made.values()) * CELL_M, abs=0.2)
            assert told <= facts.length_m * 1.01 + 1.0
            assert changes_in(store) == ()
            left += sum(one.left for one in model.made.values())
    # Were nothing let out, the rules would be met by letting nothing go.
    assert left > 0
