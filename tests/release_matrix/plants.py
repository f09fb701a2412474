"""The invented plant's sheet, whole or with something left out, relaxed or mistyped."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from tests.other_lines.lines import OtherLine
from tests.other_lines.products import Made
from tests.other_lines.wire import Defect

CONCENTRICITY = 70.0
FLAW_MM = 0.5


def target_mm(made: Made) -> float:
    """Mean wall the line aims at [mm], as `made_wire` makes it."""
    margin = 0.10 if made.covering_mil is None else 0.20
    return max(made.average_mm * (1.0 + margin), made.average_mm + 0.05)


def diameter_limits(made: Made) -> tuple[float, float]:
    """The plant's own least and greatest overall diameter [mm]."""
    covering = made.covering_mm or 0.0
    least = made.conductor_mm + 2.0 * (made.average_mm + covering) * 0.98
    greatest = made.conductor_mm + 2.0 * (target_mm(made) + 1.25 * covering) * 1.12
    return round(least, 3), round(greatest, 3)


@dataclass(frozen=True)
class Entered:
    """A limit as the plant's sheet has it."""

    id: str
    types: Sequence[str]
    requirement: str
    value: float
    unit: str
    requirement_set: str
    sense: str = ""
    size_from: str = "14 AWG"
    size_to: str = "1000 kcmil"
    effective_from: str = "2026-01-01"
    effective_to: str = ""
    document: str = "plant limit list"
    source: str = "the invented plant's own figure"
    checked_by: str = "quality manager"

    @property
    def text(self) -> str:
        keys: dict[str, object] = {
            "id": self.id,
            "types": list(self.types),
            "size_from": self.size_from,
            "size_to": self.size_to,
            "requirement": self.requirement,
            "sense": self.sense,
            "value": self.value,
            "unit": self.unit,
            "requirement_set": self.requirement_set,
            "document": self.document,
            "edition": "2026",
            "table": "1",
            "revision": "A",
            "entered_by": "quality engineer",
            "checked_by": self.checked_by,
            "source": self.source,
        }
        lines = ["[[limits]]"]
        for key, value in keys.items():
            if value == "":
                continue
            shown = str(value).replace("'", '"') if isinstance(value, list) else value
            lines.append(f'{key} = "{shown}"' if isinstance(value, str) else f"{key} = {shown}")
        lines.append(f"effective_from = {self.effective_from}")
        if self.effective_to:
            lines.append(f"effective_to = {self.effective_to}")
        return "\n".join(lines) + "\n"


@dataclass(frozen=True)
class PlantText:
    """A plant's sheet in parts, so that one may be changed or left out."""

    decision: str
    holds: str
    certified: str
    samples: str
    second_person: str
    may_decide: str
    limits: tuple[Entered, ...]
    more: str = ""

    @property
    def text(self) -> str:
        head = '[plant]\nname = "Foothill"\nzone = "America/Denver"\nunits = "imperial"\nrevision = "1"\n'
        parts = [
            head,
            self.decision,
            self.holds,
            self.certified,
            self.samples,
            self.second_person,
            self.may_decide,
        ]
        return "\n".join([*parts, *(one.text for one in self.limits), self.more])

    def without(self, requirement: str) -> PlantText:
        """The sheet without its limits of one requirement."""
        return replace(self, limits=tuple(one for one in self.limits if one.requirement != requirement))

    def changed(self, requirement: str, change: Callable[[Entered], Entered]) -> PlantText:
        """The sheet with its limits of one requirement changed."""
        return replace(
            self, limits=tuple(change(one) if one.requirement == requirement else one for one in self.limits)
        )


NO_SAMPLE = (
    '{ requirement = "covering at any point", per = "none", reason = "slices of each shift, kept on paper" }'
)


def plant_for(line: OtherLine, made: Made, shown: Sequence[str] | None = None) -> PlantText:
    """The whole sheet of a plant that makes `made` on `line`.

    Args:
        line: the line, for its test voltage.
        made: the wire.
        shown: entries of ``[samples] shown``; the covering is shown on paper where left out.
    """
    least, greatest = diameter_limits(made)
    own = "Foothill standard"
    limits = [
        Entered("own-concentricity", made.types, "concentricity", CONCENTRICITY, "%", own),
        Entered("own-least", made.types, "overall diameter", least, "mm", own, "at least"),
        Entered("own-greatest", made.types, "overall diameter", greatest, "mm", own, "at most"),
        Entered("own-spark", made.types, "spark test voltage", 0.9 * line.spark.kv, "kV", made.sets[0]),
    ]
    if made.plant_point:
        limits.append(
            Entered(
                "own-point", made.types, "minimum wall at any point", made.point_mil, "mil", made.sets[0],
                size_from=made.size, size_to=made.size,
            )
        )  # fmt: skip
    entries = shown if shown is not None else ([NO_SAMPLE] if made.covering_mil is not None else [])
    sets = ", ".join(f'"{one}"' for one in made.sets)
    return PlantText(
        decision="",
        holds=f"[holds]\nsurface_flaw_mm = {FLAW_MM}\nspark_faults_per_reel = 0\n",
        certified=f'[certified]\n"{made.construction}" = [{sets}]\n',
        samples="[samples]\nshown = [" + ", ".join(entries) + "]\n" if entries else "",
        second_person='[second_person]\ndispositions = ["release", "concession"]\n',
        may_decide=(
            '[may_decide]\nrelease = ["quality engineer", "quality manager"]\n'
            'concession = ["quality engineer", "quality manager"]\nscrap = ["quality engineer", "quality manager"]\n'
            'rework = ["quality engineer", "quality manager"]\nhold = ["quality engineer"]\n'
            '"ship held" = ["plant manager"]\n'
        ),
        limits=tuple(limits),
    )


def thin_by(made: Made, mm_under: float, at_m: float, length_m: float) -> Defect:
    """Wire whose mean wall falls under the average asked by about so much [mm]."""
    return Defect("thin", at_m, length_m, target_mm(made) - made.average_mm + mm_under)
