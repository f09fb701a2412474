"""Commands that carry records away from the site: print, mail."""

from __future__ import annotations

import re
from pathlib import Path

import typer

from pipeline.cli.showing import STORE, tell_of_wait
from pipeline.cli.typed import moment_of
from pipeline.errors import Complaint, NotFoundError, ReelproofError


def add_to(app: typer.Typer) -> None:
    """Add these commands to `app`."""
    app.command("print")(print_record)
    app.command()(mail)


def print_record(
    kind: str = typer.Argument(metavar="KIND", help="shift, finding, lot, morning, week, month or tag."),
    wanted: str = typer.Argument(
        metavar="ID", help="Shift as in its page's name, finding, lot, date, or a tag's reel."
    ),
    by: str = typer.Option(..., "--by", help="Role of who prints; it stands on every page."),
    at: str = typer.Option(
        "",
        "--at",
        help="Time of printing, as 2026-03-04T06:00, to repeat an earlier print byte for byte; now by default. Not for "
        "a tag.",
    ),
    out: Path | None = typer.Option(None, "--out", help="File to write; named after the record by default."),
    store: Path = STORE,
) -> int:
    """Print a shift, finding, lot, morning sheet or reel tag. All are PDF files.

    The code on a tag leads to the reel's page on the review site. The journal keeps each print of a tag.

    Example: reelproof print shift 2026-03-03-NIGHT --by "quality engineer" --store store
    """
    from datetime import UTC, datetime

    from pipeline.record.plant_sheet_on_file import plant_zone
    from pipeline.reports.printed import printed
    from pipeline.store.damage import told_of_disk
    from pipeline.store.database import open_to_read, open_to_write

    if at and kind == "tag":
        raise ReelproofError(
            Complaint("--at", "a tag says how its reel stands now, so it has no other time", "Leave --at out")
        )
    with open_to_read(store) as opened:
        when = moment_of(at, plant_zone(opened), "--at") if at else datetime.now(UTC).replace(microsecond=0)
        content = b"" if kind == "tag" else printed(opened, kind, wanted, by, when)
    if kind == "tag":
        from pipeline.reports.reel_tag import printed_tag

        with open_to_write(store, on_wait=tell_of_wait, must_exist=True) as opened:
            content = printed_tag(opened, wanted, by, when)
    path = out or Path(f"{kind}-{file_name_of(wanted)}.pdf")
    with told_of_disk(path):
        path.write_bytes(content)
    print(f"Written: {path}")
    return 0


def file_name_of(record_id: str) -> str:
    """A record's id as part of a file's name: what could lead to another folder becomes an underscore."""
    return re.sub(r"[^\w.,()+=@-]", "_", record_id)[:120] or "record"


def mail(
    page: str = typer.Argument(
        metavar="PAGE", help="Address of a page from the site's root, as runs/R-0412.html."
    ),
    out: Path | None = typer.Option(None, "--out", help="File to write; named after the page by default."),
    store: Path = STORE,
) -> int:
    """Write one page of the site as a single file for mailing. It needs nothing beside it.

    Example: reelproof mail runs/R-0412.html --store store
    """
    from dashboards.mailing import mail_name, single_file
    from dashboards.site import Site

    site = store / "pages"
    inside = (site / page).resolve().is_relative_to(site.resolve())
    if not inside or not page.endswith(".html") or not (site / page).is_file():
        raise NotFoundError(
            Complaint(
                page,
                f"there is no such page in {site}",
                "Write the pages first with 'reelproof pages', and give the address as the site's index shows it",
            )
        )
    path = single_file(Site(site), page, out or Path(mail_name(page)))
    print(f"Written: {path}")
    return 0
