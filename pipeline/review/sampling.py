"""Laboratory samples against the in-line reading of the same wire: bias, limits of agreement, and what is kept."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import polars as pl

from pipeline.errors import Complaint, NotFoundError
from pipeline.results import Refused, Result
from pipeline.review.gauge_tables import Sample
from pipeline.review.journal import note
from pipeline.review.not_found import not_on_file
from pipeline.sheets.line_sheet import Instrument, LineSheet
from pipeline.store.readings import read_frame
from pipeline.trust.laboratory import Agreement, FittedLine, agreement, deming, line_with_errors_in_both

if TYPE_CHECKING:
    from pipeline.store.database import Store

KIND = "samples"
# Wire to either side of a sample whose readings are averaged [m]: places are told to about a metre (chosen here).
REACH_M = 1.0
GAUGE_OF = {
    "mean_wall_mm": ("wall gauge", "wall_at_m"),
    "thinnest_wall_mm": ("wall gauge", "wall_at_m"),
    "diameter_mm": ("cold diameter gauge", "diameter_at_m"),
}


@dataclass(frozen=True, slots=True)
class Pair:
    """A sample and the in-line reading of its wire, both [mm]; NaN where nothing was read there."""

    sample: Sample
    line_mm: float
    line_sd_mm: float
    readings: int


@dataclass(frozen=True, slots=True)
class Compared:
    """One quantity of one instrument against the laboratory.

    Args:
        instrument: the instrument.
        line: its line.
        quantity: column of the data dictionary.
        pairs: samples with their readings.
        found: bias and limits of agreement, or why there are none.
        straight: line with errors in both, or why there is none.
        supported_mm: standard uncertainty of one reading these samples support: root mean square difference [mm].
    """

    instrument: Instrument
    line: str
    quantity: str
    pairs: tuple[Pair, ...]
    found: Agreement | Refused
    straight: FittedLine | Refused
    supported_mm: float

    @property
    def bias(self) -> Result | Refused:
        """The bias as a result about this instrument, with what it means for the line sheet."""
        question = f"How far does {self.instrument.id} read {self.quantity} above the laboratory?"
        if isinstance(self.found, Refused):
            return replace(self.found, question=question)
        told = list(self.found.bias.warnings)
        if self.supported_mm > 1.2 * self.instrument.uncertainty_mm:
            told.append(
                f"These samples support a standard uncertainty of {self.supported_mm:.4f} mm; the line sheet states "
                f"{self.instrument.uncertainty_mm:g} mm. Calibrate the gauge or raise 'uncertainty_mm'."
            )
        details = {
            "low_limit_of_agreement_mm": self.found.low_limit,
            "high_limit_of_agreement_mm": self.found.high_limit,
            "supported_uncertainty_mm": self.supported_mm,
            "p": self.found.p,
        }
        return replace(self.found.bias, question=question, warnings=tuple(told), details=details)


def compare_samples(
    store: Store, samples: Sequence[Sample], reach_m: float = REACH_M
) -> tuple[Compared, ...]:
    """Each instrument's readings against the laboratory's samples of the same wire.

    Args:
        store: the store, open to read.
        samples: the samples.
        reach_m: wire to either side of a sample whose readings are averaged [m].

    Raises:
        NotFoundError: a reel is not on file, or a sample does not lie on it.
    """
    frames: dict[str, pl.DataFrame] = {}
    lines: dict[str, LineSheet] = {}
    groups: dict[tuple[str, str, str], tuple[Instrument, list[Pair]]] = {}
    heads = {row["run_id"]: row for row in store.ask("questions/current_runs")}
    for one in samples:
        reel = _reel(store, one)
        run = reel["run_id"]
        if run not in frames:
            text = store.ask("questions/sheet", sha256=heads[run]["line_sheet_sha256"])[0]["text"]
            lines[run] = LineSheet.model_validate(tomllib.loads(text)["line"])
            frames[run] = read_frame(store, heads[run]["assessment_folder"], "measured")
        kind, place = GAUGE_OF[one.quantity]
        gauge = lines[run].instrument(kind)
        if gauge is None:
            raise NotFoundError(
                Complaint(one.where, f"line {lines[run].id} has no {kind}", "Take the line out of the table")
            )
        pair = _pair(one, frames[run], place, reel["to_m"] - one.from_outer_m, reach_m, gauge.uncertainty_mm)
        groups.setdefault((lines[run].id, gauge.id, one.quantity), (gauge, []))[1].append(pair)
    return tuple(
        _compared(gauge, line, quantity, pairs) for (line, _, quantity), (gauge, pairs) in groups.items()
    )


def _reel(store: Store, one: Sample) -> dict[str, Any]:
    found = store.ask("questions/reel", reel_id=one.reel)
    if not found:
        raise not_on_file("reel", one.reel, [row["reel_id"] for row in store.ask("questions/reel_ids")])
    reel = found[0]
    if reel["from_m"] is None or reel["outcome"] != "judged":
        raise NotFoundError(
            Complaint(f"{one.where}: reel {one.reel}", "no reading of it has a place", "Assess its run first")
        )
    length = reel["to_m"] - reel["from_m"]
    if one.from_outer_m > length:
        raise NotFoundError(
            Complaint(
                f"{one.where}: reel {one.reel}",
                f"a sample {one.from_outer_m:.1f} m from its outer end is not on it",
                f"It holds {length:.1f} m; count from the end that comes off first",
            )
        )
    return reel


def _pair(
    one: Sample, frame: pl.DataFrame, place: str, at_m: float, reach_m: float, uncertainty_mm: float
) -> Pair:
    near = frame.filter(pl.col(place).is_between(at_m - reach_m, at_m + reach_m))[one.quantity].drop_nulls()
    values = near.to_numpy()
    values = values[np.isfinite(values)]
    if values.size == 0:
        return Pair(one, float("nan"), float("nan"), 0)
    return Pair(one, float(values.mean()), uncertainty_mm, int(values.size))


def _compared(gauge: Instrument, line: str, quantity: str, pairs: list[Pair]) -> Compared:
    ours, theirs = (np.array([getter(one) for one in pairs]) for getter in (_line_mm, _laboratory_mm))
    known = np.isfinite(ours)
    sds = [one.sample.sd_mm for one in pairs]
    straight: FittedLine | Refused
    if all(sd is not None and sd > 0 for sd in sds) and gauge.uncertainty_mm > 0:
        sd_lab = np.array(sds, dtype=np.float64)[known]
        straight = line_with_errors_in_both(
            theirs[known], ours[known], sd_lab, np.full(sd_lab.size, gauge.uncertainty_mm)
        )
    else:
        straight = deming(theirs, ours)
    apart = (ours - theirs)[known]
    supported = float(np.sqrt(np.mean(apart**2))) if apart.size else float("nan")
    return Compared(gauge, line, quantity, tuple(pairs), agreement(ours, theirs), straight, supported)


def _line_mm(one: Pair) -> float:
    return one.line_mm


def _laboratory_mm(one: Pair) -> float:
    return one.sample.value_mm


def note_samples(store: Store, compared: Sequence[Compared], role: str) -> list[int]:
    """Keep what samples said of each instrument in the journal; the numbers of the entries.

    Args:
        store: the store, open to write.
        compared: what was found.
        role: role of the person who hands the samples in.
    """
    numbers = []
    with store.transaction():
        for one in compared:
            bias = one.bias
            record = {
                "line": one.line,
                "instrument": one.instrument.id,
                "quantity": one.quantity,
                "role": role,
                "question": bias.question,
                "method": bias.method,
                "n": bias.n,
                "refused": bias.reason if isinstance(bias, Refused) else "",
                "warnings": [] if isinstance(bias, Refused) else list(bias.warnings),
                "figures_mm": _figures(bias),
                "samples": [
                    {
                        "reel": pair.sample.reel,
                        "from_outer_m": f"{pair.sample.from_outer_m:.2f}",
                        "laboratory_mm": f"{pair.sample.value_mm:.6f}",
                        "line_mm": "" if pair.readings == 0 else f"{pair.line_mm:.6f}",
                    }
                    for pair in one.pairs
                ],
            }
            numbers.append(note(store, KIND, one.instrument.id, record))
    return numbers


def _figures(bias: Result | Refused) -> dict[str, str]:
    if isinstance(bias, Refused):
        return {}
    named = {"bias": bias.estimate, "low": bias.low, "high": bias.high, **bias.details}
    return {name: f"{value:.6f}" for name, value in named.items()}


def last_samples(store: Store) -> str:
    """The number of the newest journal entry about samples; "" where there is none."""
    rows = store.ask("questions/entries_of_kind", kind=KIND)
    return str(rows[-1]["entry_no"]) if rows else ""


def biases_on_file(store: Store) -> dict[tuple[str, str], Result | Refused]:
    """The newest bias of each instrument against samples, by line and instrument.

    The mean wall goes before the thinnest wall where one table gave both.
    """
    found: dict[tuple[str, str], Result | Refused] = {}
    rank: dict[tuple[str, str], tuple[bool, int]] = {}
    for row in store.ask("questions/entries_of_kind", kind=KIND):
        record = json.loads(row["record"])["record"]
        key = (str(record["line"]), str(record["instrument"]))
        order = (record["quantity"] != "thinnest_wall_mm", int(row["entry_no"]))
        if key not in rank or order >= rank[key]:
            rank[key], found[key] = order, _bias_of(record)
    return found


def _bias_of(record: dict[str, Any]) -> Result | Refused:
    if record["refused"]:
        return Refused(record["question"], record["method"], record["refused"], record["n"])
    figures = {name: float(value) for name, value in record["figures_mm"].items()}
    return Result(
        question=record["question"],
        estimate=figures.pop("bias"),
        low=figures.pop("low"),
        high=figures.pop("high"),
        confidence=0.95,
        unit="mm",
        method=record["method"],
        n=record["n"],
        effective_n=None,
        known_m=None,
        unit_of_inference="section average",
        warnings=tuple(record["warnings"]),
        details=figures,
    )
