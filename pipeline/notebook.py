"""What a person at a notebook calls: from a log to a verdict and a plot. `import pipeline` gives these names.

Nothing is opened between two calls, and importing them changes nothing in the process. What is on file and what is
said are those of the commands.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Generic, TypeVar

from pipeline.errors import Complaint, NotFoundError, ReelproofError
from pipeline.wording.say import plain

if TYPE_CHECKING:
    import polars as pl

    from dashboards.figures.reel_plot import ReelFigure
    from pipeline.job.assessing import AssessOutcome
    from pipeline.job.load_on_file import LoadOutcome
    from pipeline.job.tuning_on_file import LineOnFile
    from pipeline.products.construction_sheet import ConstructionSheet
    from pipeline.products.sheet_line import SheetLine
    from pipeline.record.standing import Standing

Record = TypeVar("Record")


@dataclass(frozen=True, slots=True)
class OpenStore:
    """A store's folder, as `open_store` gives it.

    Args:
        folder: the folder.
    """

    folder: Path

    def __repr__(self) -> str:
        return f"Store {self.folder}"


@dataclass(frozen=True, slots=True, repr=False)
class Printed(Generic[Record]):
    """A result with the words a command would print of it.

    Args:
        record: the result itself.
        text: its words, a line each.
        heads: heads of its table; none where it has none.
        rows: rows of its table, under the words.
    """

    record: Record
    text: tuple[str, ...]
    heads: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()

    def __repr__(self) -> str:
        table = [self.heads, *self.rows] if self.rows else []
        widths = (
            [max(len(row[column]) for row in table) for column in range(len(self.heads))] if table else []
        )
        lines = [
            "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)) for row in table
        ]
        return "\n".join([*self.text, *(line.rstrip() for line in lines)])

    def _repr_html_(self) -> str:
        said = "".join(f"<p>{escape(line)}</p>" for line in self.text if line.strip())
        if not self.rows:
            return said
        heads = "".join(f"<th>{escape(cell)}</th>" for cell in self.heads)
        rows = "".join(
            "<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in row) + "</tr>" for row in self.rows
        )
        return f"{said}<table><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>"


def open_store(folder: str | Path) -> OpenStore:
    """The store in `folder`; `load` makes it where it is not there."""
    return OpenStore(Path(folder))


def load(store: OpenStore, *paths: str | Path) -> Printed[tuple[LoadOutcome, ...]]:
    """Put every run below `paths` on file; what is on file already is left as it is.

    Args:
        store: the store.
        *paths: run sheets, or folders with run sheets below them.

    Raises:
        ReelproofError: nothing is there to load, or a run cannot be loaded; the others are then on file.
    """
    from pipeline.job.loading import load_sheets
    from pipeline.store.database import open_to_write

    with open_to_write(store.folder) as opened:
        loads, faults = load_sheets(opened, tuple(Path(one) for one in paths))
    if faults:
        raise ReelproofError(Complaint("load", " ".join(faults).rstrip("."), "The other runs are on file"))
    rows = tuple(
        (one.run_id, str(one.rows_read), str(one.rows_kept), str(one.rows_set_aside), str(one.load_id))
        for one in loads
    )
    told = tuple(plain(said) for one in loads for said in one.told)
    return Printed(loads, told, ("Run", "Rows read", "Kept", "Set aside", "Load"), rows)


def assess(store: OpenStore, *runs: str) -> Printed[tuple[AssessOutcome, ...]]:
    """Judge runs on file; one that was judged on the same basis before is not judged again.

    Args:
        store: the store.
        *runs: the runs; every run on file where none is named.

    Raises:
        NotFoundError: a run or the store is not there.
    """
    from pipeline.job.assessing import assess_runs
    from pipeline.store.database import open_to_write

    with open_to_write(store.folder, must_exist=True) as opened:
        judged = assess_runs(opened, runs)
    rows = tuple(
        (
            one.run_id,
            one.outcome,
            str(one.releasable),
            str(one.held),
            str(one.findings),
            plain(one.reason or ""),
        )
        for one in judged
    )
    return Printed(judged, (), ("Run", "Outcome", "Releasable", "Held", "Findings", "Reason"), rows)


def reel(store: OpenStore, reel_id: str) -> Printed[Standing]:
    """How one reel stands now, and why, in the plant's units; wire that left although it might not is told first.

    Raises:
        NotFoundError: there is no such reel.
    """
    from pipeline.record.plant_sheet_on_file import plant_sheet_of
    from pipeline.record.standing import standing_of
    from pipeline.record.standing_told import told_once
    from pipeline.store.database import open_to_read

    with open_to_read(store.folder) as opened:
        now = standing_of(opened, reel_id)
        system = plant_sheet_of(opened, now.run_id)[0].system
    alarms = tuple(f"ALARM: {one}" for one in told_once(now.alarms, system))
    said = (f"{reel_id}: {now.code}.", *told_once((now.headline, *now.reasons), system))
    return Printed(now, (*alarms, *said))


def readings(store: OpenStore, run_id: str) -> pl.DataFrame:
    """Every reading of a run on the metre of wire it saw, with wall and offset [mm], as it was judged last.

    Raises:
        NotFoundError: the run is not on file, or was not judged.
        ThinnedError: its readings were thinned.
    """
    from pipeline.record.not_found import not_on_file
    from pipeline.store.database import open_to_read
    from pipeline.store.readings import read_frame

    with open_to_read(store.folder) as opened:
        heads = {row["run_id"]: row for row in opened.ask("questions/current_runs")}
        if run_id not in heads:
            raise not_on_file("run", run_id, list(heads))
        if not heads[run_id]["assessment_folder"]:
            raise NotFoundError(Complaint(f"run {run_id}", "it was not judged yet", "Assess it first"))
        return read_frame(opened, heads[run_id]["assessment_folder"], "measured")


def plot(store: OpenStore, reel_id: str, quantity: str = "thinnest_wall_mm") -> ReelFigure:
    """A reel's readings along its wire, in metres from its outer end, with the limits on them.

    Args:
        store: the store.
        reel_id: the reel.
        quantity: a column of `readings`.

    Raises:
        NotFoundError: there is no such reel, or no such column.
    """
    from dashboards.figures.reel_plot import reel_plot
    from pipeline.record.not_found import not_on_file
    from pipeline.store.database import open_to_read

    with open_to_read(store.folder) as opened:
        found = opened.ask("questions/reel", reel_id=reel_id)
        if not found:
            raise not_on_file("reel", reel_id, [row["reel_id"] for row in opened.ask("questions/reel_ids")])
        row = found[0]
        limits = opened.ask("questions/limits_of_assessment", assessment_id=row["assessment_id"])
    frame = readings(store, row["run_id"])
    place = "diameter_at_m" if quantity in ("diameter_mm", "ovality_mm") else "wall_at_m"
    if quantity not in frame.columns:
        raise not_on_file("column", quantity, [name for name in frame.columns if name.endswith("_mm")])
    on_reel = frame.filter((frame[place] >= row["from_m"]) & (frame[place] <= row["to_m"]))
    return reel_plot(
        reel_id, quantity, row["to_m"] - on_reel[place].to_numpy(), on_reel[quantity].to_numpy(), limits
    )


def tune(store: OpenStore, line: str, product: str | None = None) -> Printed[LineOnFile]:
    """How far the wall of a line may come down, what to turn, and what it is worth.

    Args:
        store: the store.
        line: the line.
        product: words of the product's name; every product where left out.

    Raises:
        NotFoundError: no such line or product was judged.
    """
    from pipeline.job.tuning_in_words import in_words
    from pipeline.job.tuning_on_file import tuning_on_file
    from pipeline.store.database import open_to_read

    with open_to_read(store.folder) as opened:
        found = tuning_on_file(opened, line, product)
    return Printed(found, tuple(in_words(found)))


def product(
    construction: str, size: str, conductor: str = "concentric", metal: str = "copper"
) -> Printed[ConstructionSheet]:
    """What a wire must be, each figure with its source and how sure it is.

    Args:
        construction: type letters, as ``THHN/THWN-2``.
        size: conductor size, as ``12 AWG``.
        conductor: solid, concentric, compressed or compact.
        metal: copper or aluminum.

    Raises:
        ReelproofError: there is no such product.
    """
    from pipeline.products.construction_sheet import construction_sheet
    from pipeline.products.product import find_product

    sheet = construction_sheet(find_product(construction, size, conductor, metal))
    return Printed(sheet, (sheet.name,), ("Section", "What", "Value", "How sure"), _sheet_rows(sheet.lines))


def _sheet_rows(lines: Sequence[SheetLine]) -> tuple[tuple[str, ...], ...]:
    from pipeline.products.sheet_line import value_told

    return tuple((one.section, one.name, value_told(one), str(one.standing)) for one in lines)
