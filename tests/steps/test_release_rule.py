"""A reel leaves only if every set that applies had an average and a point of the insulation judged and met.

The sheets are invented; the walls are the wire code's (NFPA 70-2023 Table 310.4(1), transcription).
"""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from runs import PLANT, done, made

from pipeline.sheets.plant_sheet import PlantSheet, read_plant_sheet
from pipeline.steps.judge import _standing
from pipeline.steps.release_rule import walls_not_shown
from pipeline.wording.say import plain
from tests.said import said

CONDUCTOR = made().scenario.wire.conductor


def demo() -> PlantSheet:
    return read_plant_sheet(PLANT)


def product(construction: str) -> dict[str, str]:
    return {"construction": construction, "size": "1/0 AWG", "conductor": CONDUCTOR}


@pytest.mark.parametrize(
    "certified",
    [
        {"USE-2": ("UL 854",)},
        {"XHHW-2": ("UL 854",)},
        {"XHHW-2": ("USE-2",)},
        {"USE-2": ("UL 44",)},
        {},
    ],
)
def test_a_wire_of_xhhw_2_wall_marked_use_2_is_held(certified: dict[str, tuple[str, ...]]) -> None:
    """USE-2, 1/0 AWG: 80 mil average is required, the wire is made at 55 mil and some."""
    plant = demo().model_copy(update={"certified": certified})
    found = done(made(), plant=plant, product=product("USE-2"))
    assert {one.standing for one in found.judged.reels} == {"held"}
    assert found.verdict("minimum average wall")[0] == "does not conform"
    assert any(
        (one.requirement_set, one.requirement, said(one.verdict))
        == ("UL 854", "minimum wall at any point", "not judged")
        for one in found.judged.requirements
    )


def test_wire_of_its_own_type_with_every_limit_is_releasable() -> None:
    found = done(made())
    assert {one.standing for one in found.judged.reels} == {"releasable"}
    own = [one for one in found.judged.requirements if one.reel_id == "A"]
    assert walls_not_shown(found.bench, own) == ()


def test_a_judgement_that_was_lost_holds_the_reel() -> None:
    """Derivation: take the judged walls of UL 44 away and nothing else speaks against the reel."""
    found = done(made())
    own = [one for one in found.judged.requirements if one.reel_id == "A"]
    for requirement in ("minimum average wall", "minimum wall at any point"):
        rest = [one for one in own if (one.requirement, one.requirement_set) != (requirement, "UL 44")]
        reason = f"No {requirement} to UL 44 as type XHHW-2 was judged and met on this reel."
        (lack,) = walls_not_shown(found.bench, rest)
        assert plain(lack.told) == reason
        standing = _standing(found.bench, found.judged.reels[0].reel, rest, (), 0)
        assert (standing.standing, standing.lacks) == ("held", (lack,))
        worse = [replace(one, verdict="not judged") if one not in rest else one for one in own]
        assert walls_not_shown(found.bench, worse) == (lack,)


def test_no_random_certificate_releases_wire_that_is_too_thin_for_its_letters() -> None:
    """Property: wire of 55 mil and some marked with a type that asks for 80 mil is never releasable."""
    draw = random.Random(7)
    sets = (
        "UL 83",
        "UL 44",
        "UL 854",
        "CSA C22.2 No. 38, 1000 V",
        "ICEA S-95-658/NEMA WC 70",
        "UL44",
        "none",
    )
    types = ("XHHW-2", "XHHW", "XHH", "RHW-2", "USE-2", "RW90-1000V", "THHN")
    for _ in range(6):
        marked = draw.sample(["RHW-2", "USE-2", "RW90-1000V"], draw.randint(1, 2))
        certified = {
            draw.choice(types): tuple(draw.sample(sets, draw.randint(0, 3)))
            for _ in range(draw.randint(0, 4))
        }
        plant = demo().model_copy(update={"certified": certified})
        found = done(made(), plant=plant, product=product("/".join(["XHHW-2", *marked])))
        assert {one.standing for one in found.judged.reels} == {"held"}, (marked, certified)
