"""The laboratory samples of a run beside the line's own readings of the same wire: which contradict it?"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipeline.messages import Measure, Message, message
from pipeline.record.samples_judged import AgainstLine
from pipeline.record.samples_on_file import told_as
from pipeline.sheets.line_sheet import LineSheet
from pipeline.sheets.plant_samples import Samples
from pipeline.sheets.run_sheet import RunSheet
from pipeline.store.readings import ThinnedError, read_frame
from pipeline.trust.against_line import (
    ComparedWithLine,
    MeanApart,
    comparisons_of,
    coverage_factor,
    mean_apart,
)
from pipeline.trust.sampled import SAMPLED, SampledQuantity
from pipeline.why import SampleSays

if TYPE_CHECKING:
    import polars as pl

    from pipeline.store.database import Store

Row = Mapping[str, Any]
# Wire to either side of a sample whose readings are averaged [m]: places are told to about a metre (chosen here).
REACH_M = 1.0


@dataclass(frozen=True, slots=True)
class Beside:
    """The samples of a run against its line.

    Args:
        lines: each sample that the line has readings for.
        told: where laboratory and line contradict each other.
        samples: numbers of the samples behind that.
    """

    lines: Mapping[str, AgainstLine]
    told: tuple[Message, ...]
    samples: frozenset[str]


def beside_the_line(
    store: Store, head: Row, samples: Sequence[Row], requirements: Iterable[Row], asked: Samples
) -> Beside:
    """The samples of a run against the line's readings of the same wire.

    Readings within a metre of the place are averaged, and within as far as the reel's end is unsure; their spread is
    part of the uncertainty, for the sample may lie anywhere there. A sample that no instrument of the line read, or
    whose readings were thinned, is left out.

    Args:
        store: the store.
        head: a row of the question ``judged_run``.
        samples: rows of ``journal.sample``, of this run.
        requirements: rows of ``judged.requirement``, which tell the uncertainty of a reading.
        asked: what the plant's sheet says of samples.
    """
    compared = compared_of(store, head, samples, requirements)
    rows = {row["sample_id"]: row for row in samples if row["sample_id"] in compared}
    by_quantity: dict[str, list[str]] = {}
    for number, row in rows.items():
        by_quantity.setdefault(row["quantity"], []).append(number)
    comparisons = comparisons_of({name: len(numbers) for name, numbers in by_quantity.items()})
    factor = asked.coverage_factor or coverage_factor(comparisons, asked.false_alarms_per_run)
    lines = {
        number: AgainstLine(
            0.5 * (one.low + one.high), (one.line_sd**2 + one.place_sd**2) ** 0.5, one.e_n(factor)
        )
        for number, one in compared.items()
    }
    alone = [number for number in rows if lines[number].contradicts]
    told = [_sample_told(rows[number], compared[number], lines[number].e_n, factor) for number in alone]
    behind = set(alone)
    for name, numbers in by_quantity.items():
        mean = mean_apart([compared[number] for number in numbers], factor)
        if mean.n > 1 and abs(mean.e_n) > 1.0 and behind.isdisjoint(numbers):
            told.append(_mean_told(SAMPLED[name], mean, factor))
            behind.update(numbers)
    return Beside(lines, tuple(told), frozenset(behind))


def compared_of(
    store: Store, head: Row, samples: Sequence[Row], requirements: Iterable[Row]
) -> dict[str, ComparedWithLine]:
    """Each sample with what the line read of its wire; arguments as of `beside_the_line`.

    Where the laboratory gives no uncertainty it is taken to be no better than the line's own (chosen here).
    """
    seen = [row for row in samples if SAMPLED[row["quantity"]].place]
    if not seen:
        return {}
    # Loaded where a sample lies beside readings only: whoever asks about a reel without one needs no frames.
    from pipeline.wall.two_layers import insulation_between

    sheet = LineSheet.model_validate(_sheet(store, head["line_sheet_sha256"])["line"])
    covering = RunSheet.model_validate(_sheet(store, head["run_sheet_sha256"])["run"]).covering
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
        frame = read_frame(store, head["assessment_folder"], "measured", only=wanted | set(_BOUNDED))
    except ThinnedError:
        return {}
    found: dict[str, ComparedWithLine] = {}
    for row in seen:
        quantity = SAMPLED[row["quantity"]]
        gauge, reel = sheet.instrument(quantity.instrument), places.get(row["reel_id"])
        if gauge is None or reel is None or row["quantity"] not in frame.columns:
            continue
        at, reach = reel["to_m"] - row["from_outer_m"], max(REACH_M, unsure.get(row["reel_id"], 0.0))
        near = frame.filter(frame[quantity.place].is_between(at - reach, at + reach))

        read = _read(near, quantity, insulation_between(near, gauge, covering) if covering else {})
        u = of_reading.get((row["reel_id"], quantity.requirement))
        if u is None and quantity.unit == "mm":
            u = gauge.uncertainty_mm
        if read is None or u is None:
            continue
        laboratory = row["uncertainty"] if row["uncertainty"] is not None else u
        found[row["sample_id"]] = ComparedWithLine(row["value"], laboratory, *read[:2], u, read[2])
    return found


# What bounds on a wall under a covering are worked out from.
_BOUNDED = ("thinnest_wall_mm", "concentricity_pct", "eccentricity_mm")


def _sheet(store: Store, sha256: str) -> dict[str, Any]:
    return tomllib.loads(store.ask("questions/sheet", sha256=sha256)[0]["text"])


def _read(
    near: pl.DataFrame, quantity: SampledQuantity, bounds: Mapping[str, tuple[Any, Any]]
) -> tuple[float, float, float] | None:
    """Least and greatest that readings allow, on average, and their spread; None without a reading."""
    import numpy as np
    import polars as pl

    values = near[quantity.name].cast(pl.Float64).fill_null(float("nan")).to_numpy()
    low, high = bounds.get(quantity.name, (values, values))
    known = np.isfinite(values) & np.isfinite(low) & np.isfinite(high)
    if not known.any():
        return None
    spread = float(values[known].std(ddof=1)) if known.sum() > 1 else 0.0
    return float(low[known].mean()), float(high[known].mean()), spread


def _sample_told(row: Row, one: ComparedWithLine, e_n: float, factor: float) -> Message:
    """A sample that contradicts the line."""
    quantity = SAMPLED[row["quantity"]]
    line = {"line": Measure(one.nearest, quantity.unit)}
    if one.low < one.high:
        line = {"low": Measure(one.low, quantity.unit), "high": Measure(one.high, quantity.unit)}
    value = Measure(row["value"], quantity.unit)
    told = {"sample": told_as(row), "quantity": quantity.told, "value": value, "e_n": e_n, "k": factor}
    return message(SampleSays.AGAINST_LINE, **told, **line)


def _mean_told(quantity: SampledQuantity, mean: MeanApart, factor: float) -> Message:
    """A mean difference that contradicts the line."""
    side = {"above" if mean.apart > 0 else "below": Measure(abs(mean.apart), quantity.unit)}
    told = {"n": mean.n, "quantity": quantity.told, "e_n": mean.e_n, "k": factor}
    return message(SampleSays.MEAN_AGAINST_LINE, **told, **side)
