"""Wire was damaged in the field: is it, as a rule, repaired or replaced?

The guide is common practice, no source, for wire with a nylon covering over its insulation. It speaks of kinds
of damage, never of a wire: the program decides nothing about wire in service.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Advice = Literal["repairable", "replace", "inspect first"]

CAUTIONS: tuple[str, ...] = (
    "De-energize the circuit, lock it out and prove it dead before anyone touches the wire.",
    "Only qualified persons inspect, test, repair or replace wire.",
    "The adopted code, the maker's procedure and the authority having jurisdiction decide; this guide does not.",
    "This program decides nothing about wire in service and has not seen the wire.",
)


@dataclass(frozen=True, slots=True)
class DamageRule:
    """What is usually done about one kind of damage.

    Args:
        damage: the damage, as seen.
        reaches: the deepest layer that is harmed.
        advice: what is usual.
        sentence: the advice in words.
    """

    damage: str
    reaches: Literal["covering", "insulation", "conductor", "not known"]
    advice: Advice
    sentence: str


_COVERING_ONLY = (
    "With the insulation beneath found sound, the electrical performance is not affected and the wire is usually "
    "repairable by the maker's procedure."
)
GUIDE: tuple[DamageRule, ...] = (
    DamageRule("wrinkle of the covering", "covering", "repairable", _COVERING_ONLY),
    DamageRule("nick in the covering", "covering", "repairable", _COVERING_ONLY),
    DamageRule("tear or split of the covering", "covering", "repairable", _COVERING_ONLY),
    DamageRule(
        "cut or gouge in the insulation",
        "insulation",
        "replace",
        "The insulation no longer has its wall: the wire is replaced.",
    ),
    DamageRule(
        "conductor bared", "conductor", "replace", "The wire is replaced; keep people away until it is dead."
    ),
    DamageRule(
        "heat, chemical or crush damage",
        "insulation",
        "replace",
        "How deep the harm goes cannot be seen from outside: the wire is replaced.",
    ),
    DamageRule(
        "damage whose depth is not known",
        "not known",
        "inspect first",
        "Until a qualified person has found the insulation sound, it counts as damage to the insulation.",
    ),
)
