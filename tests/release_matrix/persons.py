"""What persons of a plant do with a reel on file: release it, cut it, wind it and send it away."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from pipeline.acts.deciding import act_on
from pipeline.acts.shipping import put_shipping_on_file
from pipeline.nonconformance.disposition import Person
from pipeline.record.left_on_file import Override
from pipeline.record.shipping_list import CutLength, Shipment, ShippingList
from pipeline.store.database import Store
from tests.other_lines.products import Made
from tests.other_lines.running import ReelTruth
from tests.release_matrix.truths import Must

ENGINEER, MANAGER = Person("quality engineer", "QE-4"), Person("quality manager", "QM-1")
NIGHT = Person("night janitor", "N-9")


@dataclass(frozen=True)
class OnFile:
    """A reel of the store with what is true of it; `unsure_m` is how unsure an accumulator leaves its ends [m]."""

    store: Store
    id: str
    length_m: float
    truth: ReelTruth
    must: Must
    made: Made
    unsure_m: float = 0.0

    @property
    def most(self) -> tuple[float, float]:
        """All of it but a metre at each end, and the wire that may be the next reel's [m]."""
        edge = 1.0 + 2.5 * self.unsure_m
        return edge, self.length_m - edge

    @property
    def is_bad(self) -> bool:
        return self.must == "hold"


Scenario = Callable[[OnFile], bool]


def release(reel: OnFile, by: Person = ENGINEER, second: Person | None = MANAGER, name: str = "") -> None:
    act_on(reel.store, name or reel.id, "decide", by, "looked at", "release")
    if second is not None:
        act_on(reel.store, name or reel.id, "confirm", second, "looked at too")


def ship(reel: OnFile, name: str = "", override: Override | None = None) -> None:
    item = name or reel.id
    told = ShippingList(shipments=(Shipment(id=f"S-{item}", to="a customer", contents=(item,)),))
    put_shipping_on_file(reel.store, told, "shipping clerk", override)


def cut_off(reel: OnFile, name: str, from_m: float, to_m: float) -> None:
    told = ShippingList(cuts=(CutLength(reel=reel.id, length=name, from_m=from_m, to_m=to_m),))
    put_shipping_on_file(reel.store, told, "rewinder operator")
