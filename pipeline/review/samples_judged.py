"""One laboratory sample against the limits and against the line's own reading of the same wire."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipeline.nonconformance.decision import DecisionRule, Verdict, decide
from pipeline.nonconformance.rules import figure
from pipeline.nonconformance.sense import ROUNDING
from pipeline.review.samples_on_file import told_as
from pipeline.sheets.line_sheet import LineSheet
from pipeline.store.readings import ThinnedError, read_frame
from pipeline.trust.normalized_difference import normalized_difference
from pipeline.trust.sampled import SAMPLED, SampledQuantity

if TYPE_CHECKING:
    from pipeline.store.database import Store

Row = Mapping[str, Any]
# Wire to either side of a sample whose readings are averaged [m]: places are told to about a metre (chosen here).
REACH_M = 1.0


@dataclass(frozen=True, slots=True)
class AgainstLimit:
    """A sample against one limit.

    Args:
        requirement_set: whose limit it is.
        is_below: whether the value is on the wrong side of the limit.
        conforms: whether the plant's rule lets it be said that the limit is met.
        sentence: why not, "" where it conforms.
    """

    requirement_set: str
    is_below: bool
    conforms: bool
    sentence: str


@dataclass(frozen=True, slots=True)
class AgainstLine:
    """A sample against the line's reading of the same wire.

    Args:
        line: the line's reading, averaged over the wire around the sample [unit of the sample].
        sd: its standard uncertainty, with the spread of the readings there.
        e_n: normalized difference; above 1 in size they contradict each other.
    """

    line: float
    sd: float
    e_n: float

    @property
    def contradicts(self) -> bool:
        """Whether they differ by more than their uncertainties."""
        return abs(self.e_n) > 1.0


@dataclass(frozen=True, slots=True)
class JudgedSample:
    """A sample on file and what it says.

    Args:
        sample_id: its number.
        reel_id: the reel it was cut from.
        from_outer_m: place from the reel's outer end [m].
        quantity: what was measured.
        value: the result [unit of the quantity].
        uncertainty: its standard uncertainty; None where the laboratory gives none.
        measured_by: role of whoever measured.
        instrument: the laboratory's instrument, "" where none is named.
        entry_no: the journal entry that keeps it.
        limits: it against each limit in force on its requirement.
        line: it against the line's reading, None where there is none.
        withdrawn: who withdrew it and why; "" for a sample that judges.
    """

    sample_id: str
    reel_id: str
    from_outer_m: float
    quantity: SampledQuantity
    value: float
    uncertainty: float | None
    measured_by: str
    instrument: str
    entry_no: int
    limits: tuple[AgainstLimit, ...]
    line: AgainstLine | None
    withdrawn: str = ""

    @property
    def is_below(self) -> bool:
        """Whether it is on the wrong side of a limit."""
        return any(one.is_below for one in self.limits)

    @property
    def verdict(self) -> str:
        """What is said of it in a few words."""
        if self.withdrawn:
            return "withdrawn"
        if not self.limits:
            return "no limit on file"
        if self.is_below:
            return "does not conform"
        if all(one.conforms for one in self.limits):
            return "conforms"
        return "indeterminate" if self.uncertainty is not None else "not judged"


def judged_sample(
    row: Row, limits: Iterable[Row], rule: DecisionRule, line: AgainstLine | None = None
) -> JudgedSample:
    """A sample on file against the limits on its requirement.

    Args:
        row: a row of ``journal.sample``.
        limits: rows of ``judged.limit``; those of other requirements are left out.
        rule: the plant's decision rule for the requirement.
        line: it against the line's reading.
    """
    quantity = SAMPLED[row["quantity"]]
    held = tuple(
        against_limit(row, one, rule) for one in limits if one["requirement"] == quantity.requirement
    )
    return JudgedSample(
        row["sample_id"],
        row["reel_id"],
        row["from_outer_m"],
        quantity,
        row["value"],
        row["uncertainty"],
        row["measured_by"],
        row["instrument"],
        row["entry_no"],
        held,
        line,
    )


def against_limit(row: Row, limit: Row, rule: DecisionRule) -> AgainstLimit:
    """A sample against one limit, by the plant's rule and the sample's own uncertainty.

    A value on the wrong side of the limit is below it whatever its uncertainty; one on the right side conforms only
    where the rule says so, and by a guard band never without an uncertainty.

    Args:
        row: a row of ``journal.sample``.
        limit: a row of ``judged.limit``.
        rule: the plant's decision rule.
    """
    quantity = SAMPLED[row["quantity"]]
    value, u, at = row["value"], row["uncertainty"], limit["value"]
    sign = -1.0 if limit["sense"] == "at most" else 1.0
    is_below = sign * (value - at) < -ROUNDING * max(1.0, abs(at))
    told = f"{told_as(row)}: {quantity.told} {figure(value, quantity.unit)}"
    asked = f"{limit['sense']} {figure(at, quantity.unit)} is required by {limit['requirement_set']}."
    if is_below:
        return AgainstLimit(limit["requirement_set"], True, False, f"{told}, {asked}")
    if u is None and rule.kind == "guard band":
        why = f"{told} without an uncertainty, so it does not show that {asked}"
        return AgainstLimit(limit["requirement_set"], False, False, why)
    decided = decide(value, u or 0.0, at, "at most" if sign < 0 else "at least", rule)
    if decided.verdict is Verdict.CONFORMS:
        return AgainstLimit(limit["requirement_set"], False, True, "")
    why = f"{told} is too near the limit for its uncertainty; {asked}"
    return AgainstLimit(limit["requirement_set"], False, False, why)


def beside_the_line(
    store: Store, head: Row, samples: Sequence[Row], requirements: Iterable[Row], factor: float
) -> dict[str, AgainstLine]:
    """The samples of a run against the line's readings of the same wire, by sample.

    Readings within a metre of the place are averaged, and within as far as the reel's end is unsure; their spread is
    part of the uncertainty, for the sample may lie anywhere there. A sample that no instrument of the line read, or
    whose readings were thinned, is left out.

    Args:
        store: the store.
        head: a row of the question ``judged_run``.
        samples: rows of ``journal.sample``, of this run.
        requirements: rows of ``judged.requirement``, which tell the uncertainty of a reading.
        factor: coverage factor of the expanded uncertainties.
    """
    seen = [row for row in samples if SAMPLED[row["quantity"]].place]
    if not seen:
        return {}
    text = store.ask("questions/sheet", sha256=head["line_sheet_sha256"])[0]["text"]
    sheet = LineSheet.model_validate(tomllib.loads(text)["line"])
    key = {"assessment_id": head["assessment_id"]}
    places = {row["reel_id"]: row for row in store.ask("questions/places_of_assessment", **key)}
    unsure = {
        row["reel_id"]: row["end_unsure_m"] for row in store.ask("questions/end_unsure_of_reels", **key)
    }
    of_reading = {
        (row["reel_id"], row["requirement"]): row["uncertainty"]
        for row in requirements
        if row["uncertainty"] is not None
    }
    wanted = {name for row in seen for name in (row["quantity"], SAMPLED[row["quantity"]].place)}
    try:
        frame = read_frame(store, head["assessment_folder"], "measured", only=wanted)
    except ThinnedError:
        return {}
    found: dict[str, AgainstLine] = {}
    for row in seen:
        quantity = SAMPLED[row["quantity"]]
        gauge, reel = sheet.instrument(quantity.instrument), places.get(row["reel_id"])
        if gauge is None or reel is None or row["quantity"] not in frame.columns:
            continue
        reach = max(REACH_M, unsure.get(row["reel_id"], 0.0))
        at = reel["to_m"] - row["from_outer_m"]
        near = _near(frame, quantity, at, reach)
        if near.size == 0:
            continue
        u = of_reading.get((row["reel_id"], quantity.requirement))
        if u is None:
            if quantity.unit != "mm":
                continue
            u = gauge.uncertainty_mm
        spread = float(near.std(ddof=1)) if near.size > 1 else 0.0
        line, sd = float(near.mean()), float((u**2 + spread**2) ** 0.5)
        e_n = normalized_difference(row["value"], row["uncertainty"] or 0.0, line, sd, factor)
        found[row["sample_id"]] = AgainstLine(line, sd, e_n)
    return found


def _near(frame: Any, quantity: SampledQuantity, at_m: float, reach_m: float) -> Any:
    """Finite readings of a quantity within reach of a place."""
    import numpy as np
    import polars as pl

    here = frame.filter(pl.col(quantity.place).is_between(at_m - reach_m, at_m + reach_m))
    values = here[quantity.name].drop_nulls().to_numpy()
    return values[np.isfinite(values)]


def contradiction_told(row: Row, line: AgainstLine) -> str:
    """A contradiction between laboratory and line as a sentence."""
    quantity = SAMPLED[row["quantity"]]
    return (
        f"{told_as(row)}: the laboratory gives {quantity.told} {figure(row['value'], quantity.unit)}, the line "
        f"{figure(line.line, quantity.unit)}; they differ by more than their uncertainties (E_n {line.e_n:.1f}), so "
        "nothing is concluded from the line's readings of this run."
    )
