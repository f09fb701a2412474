"""What a program sends to act, and the form of the site that it amounts to: acts go one way, whoever asks for them.

Each key is checked before anything is done. What a person must have seen, a program must have read: the digest that
the read gave as ``seen``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

from pipeline.desk.acting import LONGEST_TEXT
from pipeline.nonconformance.disposition import ActKind, Disposition
from pipeline.sheets.run_sheet import Identifier
from pipeline.trust.sampled import SAMPLED

Fields = list[tuple[str, str]]
Words = Annotated[str, StringConstraints(strip_whitespace=True, max_length=LONGEST_TEXT)]
Reason = Annotated[Words, Field(min_length=1)]
Metres = Annotated[float, Field(ge=0, lt=1e9, allow_inf_nan=False)]
Figure = Annotated[float, Field(gt=0, lt=1e9, allow_inf_nan=False)]
MOST_AT_ONCE = 100


class _Body(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, use_attribute_docstrings=True)


class AsRead(_Body):
    """Something that is acted on, as it was read."""

    id: Identifier
    """Number of the finding, reel, cut length or lot."""
    seen: Annotated[str, Field(pattern="^[0-9a-f]{32}$")]
    """Digest that its read gave as ``seen``."""


class _OnSeen(_Body):
    entry_no: Annotated[int, Field(ge=0, le=2**53)] = 0
    """Newest entry of the journal when it was read, so that a refusal can tell what happened since; 0 for not known."""


class HoldBody(_Body):
    """Keeps wire back. A hold is not refused because something else happened meanwhile."""

    subject: Identifier
    """A reel, or a material lot with every reel made of it."""
    reason: Reason
    """Why, in words."""
    from_outer_m: Metres | None = None
    """Start of the stretch of the reel, from its outer end [m]; null for the whole."""
    to_outer_m: Metres | None = None
    """End of the stretch [m]; null for the whole."""

    def fields(self) -> Fields:
        """As the form sends it."""
        places = (("from", self.from_outer_m), ("to_place", self.to_outer_m))
        told = [(name, "" if one is None else repr(one)) for name, one in places]
        return [("subject", self.subject), ("reason", self.reason), ("unit", "m"), *told]


class LiftBody(_OnSeen):
    """Lifts a hold."""

    subject: AsRead
    """What it is on."""
    number: Annotated[int, Field(ge=1, le=2**53)]
    """Number of the hold."""
    reason: Reason
    """Why, in words."""

    def fields(self) -> Fields:
        """As the form sends it."""
        told = [("subject", self.subject.id), ("number", str(self.number)), ("reason", self.reason)]
        return [*told, *_seen([self.subject], self.entry_no)]


class DecideBody(_OnSeen):
    """Decides about findings, reels or cut lengths, or follows up what was decided."""

    subjects: Annotated[list[AsRead], Field(min_length=1, max_length=MOST_AT_ONCE)]
    """What is acted on, all with the same."""
    kind: ActKind
    """What is done; ``confirm`` and ``decline`` are a second person's."""
    disposition: Disposition | None = None
    """What is decided; null for the other kinds."""
    reason: Reason
    """Why, in words."""
    evidence: Words = ""
    """Test report, sample or cut record that was seen."""

    def fields(self) -> Fields:
        """As the form sends it."""
        deed = f"{self.kind} {self.disposition or ''}".strip() if self.kind == "decide" else self.kind
        told = [("deed", deed), ("reason", self.reason), ("evidence", self.evidence)]
        names = [("subject", one.id) for one in self.subjects]
        return [*told, *names, *_seen(self.subjects, self.entry_no)]


class ShipBody(_OnSeen):
    """Puts a shipment on file; refused where something in it may not leave."""

    shipment: Identifier
    """The plant's number of the shipment."""
    to: Annotated[Words, Field(min_length=1)]
    """Where it goes."""
    items: Annotated[list[AsRead], Field(min_length=1, max_length=MOST_AT_ONCE)]
    """Reels and cut lengths in it."""
    held_reason: Reason | None = None
    """Why wire that is held is sent all the same, by a role that may; null to be refused."""

    def fields(self) -> Fields:
        """As the form sends it."""
        told = [("shipment", self.shipment), ("to", self.to)]
        if self.held_reason is not None:
            told += [("override", "1"), ("reason", self.held_reason)]
        names = [("item", one.id) for one in self.items]
        return [*told, *names, *_seen(self.items, self.entry_no)]


class SampleBody(_Body):
    """Puts a laboratory sample on file."""

    reel: Identifier
    """The reel it was cut from."""
    from_outer_m: Metres
    """Place from the end that comes off first [m]."""
    quantity: Annotated[str, Field(json_schema_extra={"enum": sorted(SAMPLED)})]
    """What was measured."""
    value: Figure
    """The laboratory's result."""
    unit: Literal["mm", "mil", "pct"]
    """Unit of `value` and `sd`: mm, mil, or % for a concentricity."""
    sd: Figure | None = None
    """Its standard uncertainty; null where the laboratory gives none."""
    instrument: Words = ""
    """The laboratory's instrument."""

    def fields(self) -> Fields:
        """As the form sends it."""
        told = [("subject", self.reel), ("quantity", self.quantity), ("value", repr(self.value))]
        told += [("value_unit", self.unit), ("sd", "" if self.sd is None else repr(self.sd))]
        return [*told, ("place", repr(self.from_outer_m)), ("unit", "m"), ("instrument", self.instrument)]


def _seen(subjects: list[AsRead], entry_no: int) -> Fields:
    return [("entry", str(entry_no)), *(("seen", f"{one.id}|{one.seen}") for one in subjects)]


Body = HoldBody | LiftBody | DecideBody | ShipBody | SampleBody


@dataclass(frozen=True, slots=True)
class ActRoute:
    """An act of the API: what it does in a sentence, and what a program sends for it."""

    told: str
    body: type[Body]


DEEDS: Mapping[str, ActRoute] = {
    "hold": ActRoute("Put a hold on a reel, a lot or a stretch of a reel.", HoldBody),
    "lift": ActRoute("Lift a hold.", LiftBody),
    "decide": ActRoute("Decide about findings, reels or lengths, or follow up a decision.", DecideBody),
    "ship": ActRoute("Put a shipment on file.", ShipBody),
    "sample": ActRoute("Put a laboratory sample on file.", SampleBody),
}


def scopes_of(body: Body) -> tuple[str, ...]:
    """What a token must be made for to send this."""
    if isinstance(body, DecideBody):
        return ("confirm",) if body.kind in ("confirm", "decline") else ("decide",)
    if isinstance(body, ShipBody):
        return ("ship", "ship held") if body.held_reason is not None else ("ship",)
    if isinstance(body, HoldBody):
        return ("hold",)
    return ("lift",) if isinstance(body, LiftBody) else ("sample",)
