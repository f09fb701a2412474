"""Scenarios of wire wound from package to package, of remnants, and of a supplier's lot in doubt.

Each says whether a good reel may lawfully leave by it.
"""

from __future__ import annotations

from contextlib import suppress

from pipeline.acts.deciding import act_on
from pipeline.acts.holding import put_hold
from pipeline.acts.shipping import put_shipping_on_file
from pipeline.errors import ReelproofError
from pipeline.record.shipping_list import Rewound, ShippingList
from tests.release_matrix.persons import ENGINEER, MANAGER, OnFile, Scenario, cut_off, release, ship


def _wind(reel: OnFile, source: str, onto: str, take_m: float | None = None) -> None:
    told = ShippingList(rewinds=(Rewound(source=source, onto=onto, take_m=take_m),))
    put_shipping_on_file(reel.store, told, "rewinder operator")


def _cut_and_wound(reel: OnFile, mark: str) -> tuple[str, str]:
    """All but a metre at both ends cut off, half of it in, and wound onto another package."""
    cut, onto = f"{reel.id}-{mark}", f"{reel.id}-{mark}w"
    cut_off(reel, cut, *reel.most)
    _wind(reel, cut, onto)
    return cut, onto


def rewound_unreleased(reel: OnFile) -> bool:
    _, onto = _cut_and_wound(reel, "r")
    ship(reel, onto)
    return False


def released_then_rewound(reel: OnFile) -> bool:
    """What was released is the length of one number; the package it is wound onto is released by nobody."""
    cut, onto = f"{reel.id}-s", f"{reel.id}-sw"
    cut_off(reel, cut, *reel.most)
    with suppress(ReelproofError):
        release(reel, name=cut)
    _wind(reel, cut, onto)
    ship(reel, onto)
    return False


def rewound_then_released(reel: OnFile) -> bool:
    _, onto = _cut_and_wound(reel, "t")
    release(reel, name=onto)
    ship(reel, onto)
    return True


def remnant_released(reel: OnFile) -> bool:
    """The reel cut in two, what is left of the second after half of it was wound off kept, released and sent."""
    cut = f"{reel.id}-u"
    cut_off(reel, cut, *reel.most)
    _wind(reel, cut, f"{reel.id}-uw", 5.0)
    release(reel, name=cut)
    ship(reel, cut)
    return True


def scrapped_then_rewound(reel: OnFile) -> bool:
    cut, onto = f"{reel.id}-v", f"{reel.id}-vw"
    cut_off(reel, cut, *reel.most)
    act_on(reel.store, cut, "decide", ENGINEER, "water damage", "scrap")
    _wind(reel, cut, onto)
    with suppress(ReelproofError):
        release(reel, name=onto)
    ship(reel, onto)
    return False


def released_and_reopened(reel: OnFile) -> bool:
    with suppress(ReelproofError):
        release(reel)
        act_on(reel.store, reel.id, "reopen", MANAGER, "a customer called")
    ship(reel)
    return False


def length_reworked_of_a_released_reel(reel: OnFile) -> bool:
    with suppress(ReelproofError):
        release(reel)
    name = f"{reel.id}-x"
    cut_off(reel, name, *reel.most)
    with suppress(ReelproofError):
        act_on(reel.store, name, "decide", ENGINEER, "to be wound again", "rework")
    ship(reel, name)
    return False


def lot_on_hold(reel: OnFile) -> bool:
    """The supplier's lot that all of the run was made of."""
    with suppress(ReelproofError):
        release(reel)
    put_hold(reel.store, "C-77", ENGINEER, "the supplier doubts this lot")
    ship(reel)
    return False


WOUND: tuple[Scenario, ...] = (
    rewound_unreleased, released_then_rewound, rewound_then_released, remnant_released, scrapped_then_rewound,
    released_and_reopened, length_reworked_of_a_released_reel, lot_on_hold,
)  # fmt: skip
