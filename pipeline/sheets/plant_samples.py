"""Which requirements a plant shows by laboratory samples, and how often it takes them."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, model_validator

from pipeline.errors import Complaint, NotFoundError
from pipeline.products.type_letters import types_named
from pipeline.sheets.toml_file import Sheet

Sampled = Literal[
    "minimum average wall",
    "minimum wall at any point",
    "covering at any point",
    "conductor diameter",
    "concentricity",
    "overall diameter",
]
Per = Literal["reel", "run", "lot", "none"]


class ShownBySamples(Sheet):
    """A requirement that the plant shows by laboratory samples.

    Args:
        requirement: the requirement.
        per: how often a sample is taken: of each reel, once a run, or once a lot of the layer's material; ``none``
            where the plant shows the requirement otherwise and asks for no sample.
        types: type letters it holds for; every type where left out.
        reason: how the requirement is shown where ``per`` is ``none``.
    """

    requirement: Sampled
    per: Per
    types: tuple[Annotated[str, Field(min_length=1)], ...] = ()
    reason: str = ""

    @model_validator(mode="after")
    def _told(self) -> ShownBySamples:
        if self.per == "none" and self.requirement in ("minimum average wall", "minimum wall at any point"):
            raise ValueError(
                f"{self.requirement} is always judged; ask for a sample per reel, run or lot, or take the entry out"
            )
        if self.per == "none" and not self.reason:
            raise ValueError(
                f"{self.requirement} asks for no sample and gives no reason; write 'reason', how it is shown instead"
            )
        return self

    def holds_for(self, types: Collection[str]) -> bool:
        """Whether it holds for every one of these type letters."""
        return not self.types or {one.upper() for one in types} <= {one.upper() for one in self.types}


class Samples(Sheet):
    """What a plant shows by laboratory samples.

    Args:
        shown: requirements shown by samples, in the order in which they are looked up.
        false_alarms_per_run: share of good runs that samples may block by chance, over all samples of a run; the
            difference at which a sample contradicts the line's reading of its wire follows from it. 0.01: chosen here.
        coverage_factor: expands the combined standard uncertainty of a sample and the in-line reading, where a plant
            fixes it itself; the rate of false alarms then does not hold. 2 is the factor of the E_n number of ISO 13528
            (from memory), by which about one good sample in twenty contradicts.
    """

    shown: tuple[ShownBySamples, ...] = ()
    false_alarms_per_run: Annotated[float, Field(gt=0.0, le=0.2)] = 0.01
    coverage_factor: Annotated[float, Field(ge=1.0, le=6.0)] | None = None

    def asked_of(self, requirement: str, types: Collection[str]) -> ShownBySamples | None:
        """The entry by which a wire of these types shows a requirement by samples; None where there is none.

        Args:
            requirement: the requirement.
            types: every type letter that the wire is marked with and the requirement is judged for.
        """
        return next(
            (one for one in self.shown if one.requirement == requirement and one.holds_for(types)), None
        )


def sample_complaints(path: Path, samples: Samples) -> list[Complaint]:
    """Types that are not on file, and requirements that stand twice for a type."""
    complaints: list[Complaint] = []
    seen: dict[str, list[tuple[int, set[str]]]] = {}
    for number, one in enumerate(samples.shown, 1):
        key = f"{path}: samples.shown[{number}]"
        for name in one.types:
            try:
                types_named(name, f"{key}.types")
            except NotFoundError as fault:
                complaints += fault.complaints
        types = {name.upper() for name in one.types}
        for earlier, others in seen.get(one.requirement, []):
            if not types or not others or types & others:
                complaints.append(
                    Complaint(
                        key,
                        f"'{one.requirement}' stands in samples.shown[{earlier}] for the same type",
                        "Name each requirement once for a type",
                    )
                )
        seen.setdefault(one.requirement, []).append((number, types))
    return complaints
