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
from pipeline.messages import Measure, message
from pipeline.notes import Note
from pipeline.products.product import find_product
from pipeline.quantity import Asked, Quantity, asks
from pipeline.record.entry_kinds import SAMPLES_COMPARED
from pipeline.record.gauge_tables import Sample
from pipeline.record.not_found import not_on_file
from pipeline.record.plant_sheet_on_file import unit_of_plant
from pipeline.record.samples_beside import REACH_M
from pipeline.record.samples_on_file import SampledReel, build_of, check_samples
from pipeline.record.which_wire import check_known
from pipeline.results import Refused, Result
from pipeline.sheets.line_sheet import Instrument, LineSheet
from pipeline.store.readings import read_frame
from pipeline.trust.sampled import SAMPLED

if TYPE_CHECKING:
    from pipeline.store.database import Store
    from pipeline.trust.laboratory import Agreement, FittedLine


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
        question = bias_of(self.instrument.id, self.quantity)
        if isinstance(self.found, Refused):
            return replace(self.found, question=question)
        told = list(self.found.bias.warnings)
        if self.supported_mm > 1.2 * self.instrument.uncertainty_mm:
            told.append(
                message(
                    Note.SAMPLES_SUPPORT,
                    supported=Measure(self.supported_mm, "mm"),
                    stated=Measure(self.instrument.uncertainty_mm, "mm"),
                )
            )
        details = {
            "low_limit_of_agreement_mm": self.found.low_limit,
            "high_limit_of_agreement_mm": self.found.high_limit,
            "supported_uncertainty_mm": self.supported_mm,
            "p": self.found.p,
        }
        return replace(self.found.bias, question=question, warnings=tuple(told), details=details)


@dataclass(frozen=True, slots=True)
class WireOfReel:
    """A sampled reel and the last metre of its wire on the run [m], which lies at its outer end."""

    sampled: SampledReel
    to_m: float


def reels_sampled(store: Store, samples: Sequence[Sample]) -> dict[str, WireOfReel]:
    """The reels that samples were cut from, each judged and with a place on its run.

    Raises:
        NotFoundError: a reel is not on file, or no reading of it has a place.
    """
    found: dict[str, WireOfReel] = {}
    for one in samples:
        if one.reel in found:
            continue
        check_known(store, one.reel, f"{one.where}: reel {one.reel}")
        rows = store.ask("questions/reel", reel_id=one.reel)
        if not rows:
            raise not_on_file("reel", one.reel, [row["reel_id"] for row in store.ask("questions/reel_ids")])
        reel = rows[0]
        if reel["from_m"] is None or reel["outcome"] != "judged":
            raise NotFoundError(
                Complaint(
                    f"{one.where}: reel {one.reel}", "no reading of it has a place", "Assess its run first"
                )
            )
        product = find_product(reel["construction"], reel["size"], reel["conductor"], reel["metal"])
        length = reel["to_m"] - reel["from_m"]
        sampled = SampledReel(one.reel, reel["run_id"], length, build_of(product))
        found[one.reel] = WireOfReel(sampled, reel["to_m"])
    return found


def bias_of(instrument_id: str, quantity: str) -> Asked:
    """What the bias of an instrument against samples answers."""
    return asks(Quantity.GAUGE_BIAS, instrument_id, instrument=instrument_id, quantity=quantity)


def compare_samples(
    store: Store, samples: Sequence[Sample], reach_m: float = REACH_M
) -> tuple[Compared, ...]:
    """Each instrument's readings against the laboratory's samples of the same wire.

    A quantity that no instrument of the line reads, such as a covering, is left out.

    Args:
        store: the store, open to read.
        samples: the samples.
        reach_m: wire to either side of a sample whose readings are averaged [m].

    Raises:
        NotFoundError: a reel is not on file, or a sample does not lie on it.
        ReelproofError: a value is impossible.
    """
    reels = reels_sampled(store, samples)
    check_samples(samples, {name: one.sampled for name, one in reels.items()}, unit_of_plant(store))
    frames: dict[str, pl.DataFrame] = {}
    lines: dict[str, LineSheet] = {}
    groups: dict[tuple[str, str, str], tuple[Instrument, list[Pair]]] = {}
    heads = {row["run_id"]: row for row in store.ask("questions/current_runs")}
    for one in samples:
        reel = reels[one.reel]
        run = reel.sampled.run_id
        if run not in frames:
            text = store.ask("questions/sheet", sha256=heads[run]["line_sheet_sha256"])[0]["text"]
            lines[run] = LineSheet.model_validate(tomllib.loads(text)["line"])
            frames[run] = read_frame(store, heads[run]["assessment_folder"], "measured")
        quantity = SAMPLED[one.quantity]
        gauge = lines[run].instrument(quantity.instrument)
        if gauge is None or quantity.unit != "mm":
            continue
        pair = _pair(
            one, frames[run], quantity.place, reel.to_m - one.from_outer_m, reach_m, gauge.uncertainty_mm
        )
        groups.setdefault((lines[run].id, gauge.id, one.quantity), (gauge, []))[1].append(pair)
    return tuple(
        _compared(gauge, line, quantity, pairs) for (line, _, quantity), (gauge, pairs) in groups.items()
    )


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
    from pipeline.trust.laboratory import agreement, deming, line_with_errors_in_both

    ours, theirs = (np.array([getter(one) for one in pairs]) for getter in (_line_mm, _laboratory_mm))
    known = np.isfinite(ours)
    sds = [one.sample.sd for one in pairs]
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
    return one.sample.value


def last_samples(store: Store) -> str:
    """The number of the newest journal entry about samples; "" where there is none."""
    rows = store.ask("questions/entries_of_kind", kind=SAMPLES_COMPARED)
    return str(rows[-1]["entry_no"]) if rows else ""


def biases_on_file(store: Store) -> dict[tuple[str, str], Result | Refused]:
    """The newest bias of each instrument against samples, by line and instrument.

    The mean wall goes before the thinnest wall where one table gave both.
    """
    found: dict[tuple[str, str], Result | Refused] = {}
    rank: dict[tuple[str, str], tuple[bool, int]] = {}
    for row in store.ask("questions/entries_of_kind", kind=SAMPLES_COMPARED):
        record = json.loads(row["record"])["record"]
        key = (str(record["line"]), str(record["instrument"]))
        order = (record["quantity"] != "thinnest_wall_mm", int(row["entry_no"]))
        if key not in rank or order >= rank[key]:
            rank[key], found[key] = order, _bias_of(record)
    return found


def _bias_of(record: dict[str, Any]) -> Result | Refused:
    question = bias_of(str(record["instrument"]), str(record["quantity"]))
    if record["refused"]:
        return Refused(question, record["method"], record["refused"], record["n"])
    figures = {name: float(value) for name, value in record["figures_mm"].items()}
    return Result(
        question=question,
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
