"""Which stretches of a reel may be neither sold nor kept, and why?

A stretch goes for what was found on it and for what was never seen of it. A cause that repeats, such as a damaged
roll, is in doubt from its first mark to its last and one turn beyond each: what lies between two marks was made by
the same roll (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

from pipeline.length.reel_places import Span
from pipeline.messages import Message
from pipeline.nonconformance.disposition import Act, State

GoingKind = Literal[
    "nonconforming", "unmonitored", "untested", "contradicted", "either reel", "held", "repeating cause"
]
# Causes whose marks come back along the wire.
REPEATING = frozenset({"roll"})
# What is found on a reel in such a zone that has no mark of its own: no mark itself.
BETWEEN_MARKS = "between-marks"


@dataclass(frozen=True, slots=True)
class Going:
    """A stretch of a reel that may be neither sold nor kept.

    Args:
        from_m: start from the reel's outer end, what is unsure about the place taken off [m].
        to_m: end, what is unsure added [m].
        kind: why it goes.
        told: the same, its places from the outer end.
        finding_id: the finding that says so; "" where none does.
    """

    from_m: float
    to_m: float
    kind: GoingKind
    told: Message
    finding_id: str = ""

    def meets(self, from_m: float, to_m: float) -> bool:
        """Whether it shares wire with a stretch of its reel, by places from the outer end [m]."""
        return self.from_m < to_m and self.to_m > from_m


def repeat_zones(
    findings: Iterable[Mapping[str, Any]], turns_m: Mapping[str, float]
) -> tuple[tuple[Span, str, int], ...]:
    """The wire of a run that lies in the zone of a cause that repeats, what causes it, and by how many findings.

    Args:
        findings: findings of the run, with rule, cause, cause_of, from_m and to_m [m of the run].
        turns_m: wire of one turn of each element of the line [m]; one that is not named has the longest.
    """
    families: dict[str, list[Span]] = {}
    for one in findings:
        if one["cause"] in REPEATING and one["rule"] != BETWEEN_MARKS:
            families.setdefault(one["cause_of"], []).append((one["from_m"], one["to_m"]))
    longest = max(turns_m.values(), default=0.0)
    zones = []
    for element, spans in families.items():
        turn = max((turn for name, turn in turns_m.items() if name in element), default=longest)
        low, high = min(span[0] for span in spans), max(span[1] for span in spans)
        zones.append(((low - turn, high + turn), element, len(spans)))
    return tuple(zones)


def widened(stretches: Iterable[Going], by_m: float, length_m: float) -> tuple[Going, ...]:
    """The stretches with so much more at both ends, kept to the reel, as they come off.

    Args:
        stretches: stretches of one reel.
        by_m: what more is unsure about their places [m].
        length_m: wire on the reel [m].
    """
    wide = (
        replace(one, from_m=max(one.from_m - by_m, 0.0), to_m=min(one.to_m + by_m, length_m))
        for one in stretches
    )
    return tuple(sorted(wide, key=lambda one: (one.from_m, one.to_m, one.kind, one.finding_id)))


def covered_m(stretches: Sequence[Going], from_m: float, to_m: float) -> float:
    """How much of the wire between two places of a reel the stretches cover together [m]."""
    at, covered = from_m, 0.0
    for one in sorted(stretches, key=lambda one: one.from_m):
        low, high = max(one.from_m, at), min(one.to_m, to_m)
        if high > low:
            covered += high - low
            at = high
    return covered


def wire_stays(state: State, acts: Sequence[Act], stays_after: Sequence[str]) -> bool:
    """Whether a decision lets a finding's wire stay in a piece: it is closed, allowed, and names its evidence.

    Args:
        state: what the acts amount to.
        acts: every act on the finding.
        stays_after: dispositions after which the plant's sheet lets wire stay.
    """
    last = max((act.version for act in acts if act.kind == "decide"), default=0)
    shown = any(act.evidence.strip() for act in acts if act.version >= last)
    return state.standing == "closed" and state.disposition in stays_after and shown
