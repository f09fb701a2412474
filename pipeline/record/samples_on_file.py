"""Laboratory samples put on file: what a laboratory found on wire cut from a reel, kept once and for good."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.errors import Complaint, NotFoundError, ReelproofError
from pipeline.length.reel_places import Unit, length_told
from pipeline.lots.journal import told_of_record
from pipeline.messages import Measure, Message, message, said
from pipeline.nonconformance.disposition import Person
from pipeline.products.product import Product
from pipeline.record.entry_kinds import SAMPLE_WITHDRAWN
from pipeline.record.gauge_tables import Sample, read_samples
from pipeline.record.plant_sheet_on_file import unit_of_plant
from pipeline.results import complaint_told
from pipeline.trust.sampled import SAMPLE_TABLE, Build, average_below_thinnest, impossible
from pipeline.why import SampleSays

if TYPE_CHECKING:
    from pipeline.steps.load import RunSheets
    from pipeline.store.database import Store

Row = dict[str, Any]
KIND = "sample"


@dataclass(frozen=True, slots=True)
class SampledReel:
    """A reel that samples may be cut from.

    Args:
        reel_id: the reel.
        run_id: its run.
        length_m: wire on it [m].
        build: the wire.
    """

    reel_id: str
    run_id: str
    length_m: float
    build: Build


def build_of(product: Product) -> Build:
    """What of a product tells which values are possible."""
    return Build(
        product.name,
        product.conductor_mm,
        product.overall_mm,
        product.covering is not None,
        product.average_wall_mm,
    )


def has_samples(store: Store) -> bool:
    """Whether the store can hold samples: one written before version 7 cannot, and is read all the same."""
    return bool(store.ask("questions/has_samples")[0]["has_samples"])


def samples_of_run(store: Store, run_id: str) -> list[Row]:
    """Every sample on file that was cut from a reel of the run, in the order of the journal."""
    return store.ask("questions/samples_of_run", run_id=run_id) if has_samples(store) else []


def check_samples(samples: Iterable[Sample], reels: Mapping[str, SampledReel], unit: Unit) -> None:
    """Refuse samples that cannot be of their reels; nothing is said of those whose reel is not among `reels`.

    Args:
        samples: what the laboratory found.
        reels: the reels on file.
        unit: unit that places are told in.

    Raises:
        NotFoundError: a sample does not lie on its reel.
        ReelproofError: a value is impossible; every complaint is told.
    """
    listed = [one for one in samples if one.reel in reels]
    outside = [
        Complaint(
            f"{one.where}: reel {one.reel}",
            f"a sample {length_told(one.from_outer_m, unit)} from its outer end is not on it",
            f"It holds {length_told(reels[one.reel].length_m, unit)}; count from the end that comes off first",
        )
        for one in listed
        if one.from_outer_m > reels[one.reel].length_m
    ]
    if outside:
        raise NotFoundError(outside)
    complaints = [
        Complaint(one.where, told, "Correct the value or its unit, or take the line out")
        for one in listed
        if (told := impossible(one.quantity, one.value, reels[one.reel].build))
    ]
    complaints += _thinner_than_average(listed)
    if complaints:
        raise ReelproofError(complaints)


def _thinner_than_average(samples: Sequence[Sample]) -> list[Complaint]:
    """Samples of one place whose average wall is below their thinnest wall."""
    walls = [one for one in samples if one.quantity in ("mean_wall_mm", "thinnest_wall_mm")]
    complaints = []
    for first, second in combinations(walls, 2):
        if first.reel != second.reel or first.from_outer_m != second.from_outer_m:
            continue
        if first.quantity == second.quantity:
            continue
        mean, thinnest = (first, second) if first.quantity == "mean_wall_mm" else (second, first)
        sd = ((mean.sd or 0.0) ** 2 + (thinnest.sd or 0.0) ** 2) ** 0.5
        if average_below_thinnest(mean.value, thinnest.value, sd):
            complaints.append(
                Complaint(
                    second.where,
                    f"the average wall of {mean.value:g} mm is below the thinnest wall of {thinnest.value:g} mm of the "
                    "same sample",
                    "Correct the two values",
                )
            )
    return complaints


def keep_samples(
    store: Store, samples: Sequence[Sample], reels: Mapping[str, SampledReel], role: str, person: str = ""
) -> dict[str, int]:
    """Put samples on file inside the caller's transaction; those on file already are left as they are.

    Args:
        store: the store, open to write.
        samples: what the laboratory found.
        reels: the reels they were cut from.
        role: role of whoever hands them in; whoever measured where a sample does not say.
        person: the plant's own mark of them, "" where it keeps roles only.

    Returns:
        Numbers of the samples that are new, in the order given, each with the journal entry that keeps it.

    Raises:
        ReelproofError: a sample cannot be of its reel; nothing is then on file.
    """
    check_samples(samples, reels, unit_of_plant(store))
    by_run: dict[str, list[Sample]] = {}
    for one in samples:
        by_run.setdefault(reels[one.reel].run_id, []).append(one)
    made: dict[str, int] = {}
    for run_id, group in by_run.items():
        on_file = samples_of_run(store, run_id)
        known = {_key(row) for row in on_file}
        rows: list[Row] = []
        for one in group:
            row = _row(f"{run_id}-S{len(on_file) + len(rows) + 1:02d}", run_id, one, role)
            if _key(row) not in known:
                known.add(_key(row))
                rows.append(row)
        if rows:
            entry_no = _put_on_file(store, run_id, rows, Person(role, person))
            made |= {row["sample_id"]: entry_no for row in rows}
    return made


def _key(row: Mapping[str, Any]) -> tuple[Any, ...]:
    """What makes a result the same result, however often its table is handed in."""
    return tuple(
        row[name]
        for name in (
            "reel_id",
            "from_outer_m",
            "quantity",
            "value",
            "uncertainty",
            "measured_by",
            "instrument",
        )
    )


def _row(sample_id: str, run_id: str, one: Sample, role: str) -> Row:
    return {
        "sample_id": sample_id,
        "run_id": run_id,
        "reel_id": one.reel,
        "from_outer_m": one.from_outer_m,
        "quantity": one.quantity,
        "value": one.value,
        "uncertainty": one.sd,
        "measured_by": one.measured_by or role,
        "instrument": one.instrument,
        "source": Path(one.where).name,
    }


def _put_on_file(store: Store, run_id: str, rows: list[Row], by: Person) -> int:
    import polars as pl

    from pipeline.record.sealing import note_sealed

    record = {
        "said": said(SampleSays.HANDED_IN, n=len(rows), run=run_id, role=str(by)),
        **by.kept,
        "samples": [row["sample_id"] for row in rows],
    }
    frame = pl.DataFrame(rows, infer_schema_length=None)
    return note_sealed(store, KIND, run_id, frame, record)


def keep_samples_beside(store: Store, sheets: RunSheets) -> tuple[int, tuple[Message, ...]]:
    """Put the samples that lie beside a run sheet on file; how many are new, and what is wrong with the table.

    A table that cannot be used stops nothing else of the run, and none of it is kept.

    Args:
        store: the store, open to write.
        sheets: the run's sheets.
    """
    path = sheets.folder / SAMPLE_TABLE
    if not path.is_file():
        return 0, ()
    run = sheets.run
    build = build_of(sheets.product)
    reels = {one.id: SampledReel(one.id, run.id, one.to_m - one.from_m, build) for one in run.reels}
    try:
        samples = read_samples(path)
        strangers = [one for one in samples if one.reel not in reels]
        if strangers:
            raise NotFoundError(
                Complaint(
                    one.where,
                    f"reel {one.reel} is not of run {run.id}",
                    "Hand it in with 'reelproof samples'",
                )
                for one in strangers
            )
        with store.transaction():
            made = keep_samples(store, samples, reels, run.operator_role or "not stated")
    except ReelproofError as fault:
        return 0, tuple(complaint_told(one) for one in fault.complaints)
    return len(made), ()


def told_as(row: Mapping[str, Any]) -> Message:
    """A sample on file by its number and place, as the beginning of a sentence."""
    at = Measure(row["from_outer_m"], "m")
    return message(SampleSays.SAMPLE, sample=row["sample_id"], reel=row["reel_id"], at=at)


def withdrawn_of_run(store: Store, run_id: str) -> dict[str, Message]:
    """The withdrawn samples of a run, each with who withdrew it and why.

    Args:
        store: the store.
        run_id: the run.
    """
    return withdrawn_of_runs(store, (run_id,))[run_id]


def withdrawn_of_runs(store: Store, runs: Collection[str]) -> dict[str, dict[str, Message]]:
    """The withdrawn samples of each of these runs, as of `withdrawn_of_run`."""
    found: dict[str, dict[str, Message]] = {run: {} for run in runs}
    for row in store.ask("questions/entries_of_kind", kind=SAMPLE_WITHDRAWN):
        if row["subject"] in found:
            told = json.loads(row["record"])["record"]
            if (said := told_of_record(told)) is not None:
                found[row["subject"]][told["withdraws"]] = said
    return found
