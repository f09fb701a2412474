"""The rows of a load, put on file: its files, counts of flags, texts and materials."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import polars as pl

from pipeline import __version__
from pipeline.flags import BY_CODE
from pipeline.job.growing import (
    PLAIN_LOGS,
    UNPACKS_TO,
    LogNow,
    growth_rows,
    told_of,
)
from pipeline.messages import Message, said_json
from pipeline.record.journal_on_file import note
from pipeline.record.sealing import LOAD_TABLES, seals_of
from pipeline.steps.load import Loaded, RunSheets, SheetText
from pipeline.store.layout import folder_of
from pipeline.store.readings import written_folder

if TYPE_CHECKING:
    from pipeline.logs.log_rows import FilesBefore
    from pipeline.store.database import Store


# Logs of more bytes than this are read by way of scratch files in the store, so that memory need not hold them.
LONG_LOGS_BYTES = 200_000_000


@dataclass(frozen=True, slots=True)
class LoadOutcome:
    """What a load came to.

    Args:
        run_id: the run.
        load_id: its load on file.
        was_new: False if the same content was on file already.
        supersedes: the earlier load of this run whose content differed, or None.
        rows_read: rows read from all logs.
        rows_kept: rows kept as readings or events.
        rows_set_aside: lines set aside with a reason.
        rows_new: of the rows read, those that are not of an earlier load.
        told: what is said of files that grew or changed, of lines held back, and of samples.
        plant_sheet: the plant sheet that the run sheet names; None where it was not looked at.
        plant_sha256: hash of its text as it stands now.
        samples: laboratory samples beside the run sheet that were put on file.
    """

    run_id: str
    load_id: int
    was_new: bool
    supersedes: int | None
    rows_read: int
    rows_kept: int
    rows_set_aside: int
    rows_new: int = 0
    told: tuple[Message, ...] = ()
    plant_sheet: Path | None = None
    plant_sha256: str = ""
    samples: int = 0


@dataclass(frozen=True, slots=True)
class WantedRun:
    """A load that is to be made.

    Args:
        sheets: what it stands on.
        content_sha256: the identity of its content.
        files: its logs as they are.
        before: what is known of them from the run's last load.
        head: that load, or None.
    """

    sheets: RunSheets
    content_sha256: str
    files: tuple[LogNow, ...]
    before: FilesBefore
    head: dict[str, Any] | None

    @property
    def bytes_to_read(self) -> int:
        """Bytes of its logs, packed ones as large as they may unpack to."""
        return sum(
            log.now.bytes * (1 if path.suffix.lower() in PLAIN_LOGS else UNPACKS_TO)
            for log, (_, path) in zip(self.files, self.sheets.files, strict=True)
        )

    @property
    def is_long(self) -> bool:
        """Whether its rows go by way of scratch files, because memory may not hold them."""
        return self.bytes_to_read >= LONG_LOGS_BYTES


@dataclass(frozen=True, slots=True)
class NewLoad:
    """A load that is to be put on file, and what was known before its logs were read."""

    loaded: Loaded
    wanted: WantedRun
    frames: Mapping[str, pl.DataFrame | Path]


def put_on_file(store: Store, new: NewLoad) -> LoadOutcome:
    """Put a load on file in one transaction."""
    loaded, wanted, head = new.loaded, new.wanted, new.wanted.head
    supersedes = None if head is None else int(head["load_id"])
    run, logs = loaded.sheets.run, loaded.logs
    load_id = int(store.ask("questions/next_load_id")[0]["load_id"])
    folder = folder_of(run.plant, run.line, loaded.shift_date, run.id, load_id=load_id)
    totals = {
        name: sum(getattr(file, name) for file in logs.files)
        for name in ("rows_read", "rows_kept", "rows_set_aside")
    }
    growth = growth_rows(logs, wanted.files, wanted.before, load_id, supersedes)
    told = told_of(
        wanted.files,
        dict(growth.select("file_no", "rows_new").iter_rows()),
        wanted.before,
        is_first=head is None,
    )
    with written_folder(store, folder, new.frames), store.transaction():
        store.append("logged.load", _load_row(new, load_id, folder, totals))
        store.append("logged.file", _file_rows(loaded, load_id))
        store.append("logged.file_growth", growth)
        aside = logs.set_aside.with_columns(pl.lit("").alias("reason"))
        store.append("logged.set_aside", _of_load(aside, load_id))
        store.append("logged.flag_count", _flag_counts(logs.flagged, load_id))
        store.append("logged.material", _material_rows(loaded.sheets, load_id))
        store.append(
            "logged.warning",
            pl.DataFrame(
                {
                    "load_id": load_id,
                    "sentence": "",
                    "said": [said_json(one) for one in (*logs.warnings, *told)],
                },
                schema={"load_id": pl.Int32, "sentence": pl.String, "said": pl.String},
            ),
        )
        put_texts_on_file(store, loaded.sheets.texts)
        note(
            store,
            "load",
            run.id,
            {
                "load_id": load_id,
                "folder": folder,
                "content_sha256": wanted.content_sha256,
                "seals": seals_of(store, LOAD_TABLES, folder, load_id=load_id),
                "files": [{"name": file.name, "sha256": file.sha256} for file in logs.files],
                "supersedes": supersedes,
                **totals,
            },
        )
    return LoadOutcome(
        run.id,
        load_id,
        True,
        supersedes,
        **totals,
        rows_new=int(growth["rows_new"].sum()),
        told=told,
        plant_sheet=loaded.sheets.plant_path,
        plant_sha256=loaded.sheets.texts[2].sha256,
    )


def _load_row(new: NewLoad, load_id: int, folder: str, totals: dict[str, int]) -> pl.DataFrame:
    loaded, sheets, run = new.loaded, new.loaded.sheets, new.loaded.sheets.run
    return pl.DataFrame(
        {
            "load_id": load_id,
            "run_id": run.id,
            "content_sha256": new.wanted.content_sha256,
            "run_sheet_sha256": sheets.texts[0].sha256,
            "line_sheet_sha256": sheets.texts[1].sha256,
            "plant_sheet_sha256": sheets.texts[2].sha256,
            "plant": run.plant,
            "line": run.line,
            "construction": sheets.product.construction,
            "size": sheets.product.size.name,
            "conductor": run.product.conductor,
            "metal": run.product.metal,
            "colour": run.product.colour,
            "shift": loaded.shift,
            "shift_date": loaded.shift_date,
            "operator_role": run.operator_role,
            "note": run.note,
            "trial": run.trial,
            "started_utc": loaded.started,
            "ended_utc": loaded.ended,
            "folder": folder,
            "loaded_utc": datetime.now(UTC).replace(tzinfo=None),
            "software": __version__,
            **totals,
        }
    )


def _file_rows(loaded: Loaded, load_id: int) -> pl.DataFrame:
    return pl.DataFrame(
        [
            {
                "load_id": load_id,
                "file_no": file.file_no,
                "name": file.name,
                "kind": file.kind,
                "sha256": file.sha256,
                "bytes": file.bytes,
                "rows_read": file.rows_read,
                "rows_kept": file.rows_kept,
                "rows_set_aside": file.rows_set_aside,
            }
            for file in loaded.logs.files
        ]
    )


def _of_load(frame: pl.DataFrame, load_id: int) -> pl.DataFrame:
    return frame.with_columns(pl.lit(load_id, pl.Int32).alias("load_id"))


def _flag_counts(flagged: pl.DataFrame, load_id: int) -> pl.DataFrame:
    counted = flagged.group_by("channel", "flag").agg(pl.len().alias("readings")).sort("channel", "flag")
    names = [BY_CODE[code].name for code in counted["flag"]]
    return _of_load(counted, load_id).with_columns(pl.Series("reason", names, pl.String))


def _material_rows(sheets: RunSheets, load_id: int) -> pl.DataFrame:
    return pl.DataFrame(
        [
            {
                "load_id": load_id,
                "material": lot.material,
                "lot": lot.lot,
                "from_m": lot.from_m,
                "to_m": lot.to_m,
            }
            for lot in sheets.run.lots
        ],
        infer_schema_length=None,
    )


def put_texts_on_file(store: Store, texts: tuple[SheetText, ...]) -> None:
    """Keep the text of every sheet once, by its hash."""
    known = {row["sha256"] for row in store.ask("questions/sheets_on_file")}
    store.append(
        "logged.sheet",
        pl.DataFrame(
            [
                {"sha256": text.sha256, "kind": text.kind, "name": text.name, "text": text.text}
                for text in {text.sha256: text for text in texts}.values()
                if text.sha256 not in known
            ],
        ),
    )
