"""Pages that only the review site has, and what it puts on the others: made for one person, at one instant."""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

from dashboards.addresses import PageKind, address
from dashboards.comma_table import Cell, comma_table
from dashboards.records import Plant, Stamp
from dashboards.rendering import DESK_MARKS, SITE_LINKS, environment
from dashboards.site import asset_mark
from dashboards.table_cells import LinkedCells
from dashboards.table_files import parquet_table, workbook
from pipeline.messages import Message
from pipeline.wording.say import plain


@dataclass(frozen=True, slots=True)
class SignedIn:
    """Who looks at a page, as the page shows it.

    Args:
        name: the person's mark.
        role: their role; "" for reading only.
        form_token: what each form on the page carries.
        told: what the page tells first, once; None for nothing.
        waits: how many things wait for them; None where that cannot be told now.
        version: what the page knows: the number of changes that the site had seen when it was made.
    """

    name: str
    role: str
    form_token: str
    told: Message | None = None
    waits: int | None = None
    version: int = 0


NOBODY_KNOWN = Plant("plant", "Review site", "UTC")


class EveryPage:
    """Stands for the addresses of all pages, where a link is followed only if there is a page."""

    def __contains__(self, where: object) -> bool:
        return True


def asset_href(name: str) -> str:
    """Address of a style sheet or script, from anywhere on the site."""
    return f"/assets/{name}?v={asset_mark(name)}"


def desk_page(
    template: str,
    plant: Plant = NOBODY_KNOWN,
    signed: SignedIn | None = None,
    pages: Container[str] = frozenset(),
    stamp: Stamp | None = None,
    **more: Any,
) -> str:
    """A page of the review site.

    Args:
        template: file of the template.
        plant: the plant; nothing of it is shown to who is not signed in.
        signed: who looks at it; None for nobody who is known.
        pages: addresses of the pages there are, to which it may link.
        stamp: what heads the page; nothing where it is left out.
        **more: what the template needs besides.
    """
    return (
        environment()
        .get_template(template)
        .render(
            record=None,
            plant=plant,
            stamp=stamp or Stamp(),
            kind="desk",
            **_links(pages),
            signed=signed,
            plot_script="",
            plot_late=False,
            digest="",
            served=True,
            **more,
        )
    )


def _links(pages: Container[str]) -> dict[str, Any]:
    @cache
    def href(kind: PageKind, record_id: str = "", fragment: str = "") -> str:
        where = address(kind, record_id)
        return f"/{where}{'#' + fragment if fragment else ''}" if where in pages else ""

    return {
        "href": href,
        "linked": LinkedCells(href),
        "asset": asset_href,
        "site_links": [(label, href(kind)) for label, kind in SITE_LINKS],
        "to_root": lambda target: f"/{target}",
    }


def for_person(page: str, signed: SignedIn, acts: str = "") -> str:
    """A page of the static site's kind with who is signed in, and what they may do about what it shows.

    Args:
        page: the page as it was written for the review site.
        signed: who looks at it.
        acts: the part with their acts, as markup; "" for none.
    """
    parts = environment().get_template("desk_parts.html.j2").module
    told = str(parts.told_once(signed))  # type: ignore[attr-defined]
    page = page.replace(DESK_MARKS["who"], str(parts.who(signed)), 1)  # type: ignore[attr-defined]
    return page.replace(DESK_MARKS["acts"], told + acts, 1)


def list_file(
    ending: str, title: str, heads: Sequence[str], rows: Iterable[Sequence[Cell | tuple[Message, ...]]]
) -> bytes:
    """A list as a file.

    Args:
        ending: `csv`, `xlsx` or `parquet`.
        title: what it lists.
        heads: column names.
        rows: cells in their order; messages become words.
    """
    told = (
        [" ".join(plain(said) for said in one) if isinstance(one, tuple) else one for one in row]
        for row in rows
    )
    if ending == "xlsx":
        return workbook(title, heads, told)
    return comma_table(heads, told) if ending == "csv" else parquet_table(heads, told)


def acts_part(
    offer: Any,
    signed: SignedIn,
    back: str,
    typed: Mapping[str, str],
    sampled: Mapping[str, Any],
    plant: Plant,
    follow: Any,
) -> str:
    """The part of a page with what its reader may do, as markup.

    Args:
        offer: what they are offered.
        signed: who they are.
        back: where each act leads back to.
        typed: what they typed in a form that was refused.
        sampled: what a laboratory measures, by its name.
        plant: the plant.
        follow: what persons added, and who may add.
    """
    template = environment().get_template("desk_acts.html.j2")
    return template.render(
        offer=offer,
        signed=signed,
        back=back,
        typed=typed,
        sampled=sampled.values(),
        plant=plant,
        follow=follow,
        served=True,
    )
