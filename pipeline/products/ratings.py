"""What a wire is rated for at its size: temperatures, voltage, and uses the wire code ties to a size.

Listing options (sunlight, oil, flame, other markets) belong to a plant's listing, not to the type: they come
from the plant sheet.
"""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.products.product import Product
from pipeline.products.sizes import size_named
from pipeline.products.source_standing import BLANK, SourceStanding
from pipeline.products.table_rows import document_of, sources_of, table_rows, where_seen
from pipeline.products.type_letters import WireType


@dataclass(frozen=True, slots=True)
class Rating:
    """One rating at the wire's size.

    Args:
        name: what is rated.
        value: the rating in `unit`; None for one in words, or not seen.
        unit: degC or V, "" for one in words.
        text: the rating in words, "" for a figure.
        document: where it was seen.
        sources: short names of the sources.
        standing: how sure it is.
        note: what a reader must know beside it.
        where: the kind of copy it was seen in, "" for one that was not seen.
    """

    name: str
    value: float | None
    unit: str
    text: str
    document: str
    sources: tuple[str, ...]
    standing: SourceStanding
    note: str
    where: str = ""


def ratings_of(product: Product) -> tuple[Rating, ...]:
    """The ratings of a product at its size, each type's own first."""
    found: list[Rating] = []
    for one in product.types:
        found.append(_temperature(one, f"temperature, dry and damp locations, as {one.name}", one.dry_c))
        wet = f"temperature, wet locations, as {one.name}"
        if one.wet_use == "no":
            found.append(_of_type(one, wet, None, "", "not for wet locations"))
        else:
            found.append(_temperature(one, wet, one.wet_c))
        found.append(_of_type(one, f"voltage, as {one.name}", one.volts, "V", ""))
    for row in table_rows("ratings"):
        if row["family"] not in ("*", product.family):
            continue
        if not size_named(row["size_from"]).order <= product.size.order <= size_named(row["size_to"]).order:
            continue
        seen = row["standing"] != SourceStanding.NOT_SEEN
        found.append(
            Rating(
                name=row["rating"],
                value=float(row["value"]) if row["value"] else None,
                unit=row["unit"],
                text=row["text"] if seen else BLANK,
                document=document_of(row),
                sources=sources_of(row),
                standing=SourceStanding(row["standing"]),
                note=row["note"],
                where=where_seen(sources_of(row)),
            )
        )
    return tuple(found)


def _temperature(one: WireType, name: str, value_c: float | None) -> Rating:
    if value_c is None:
        return Rating(name, None, "degC", BLANK, "", (), SourceStanding.NOT_SEEN, "")
    return _of_type(one, name, value_c, "degC", "")


def _of_type(one: WireType, name: str, value: float | None, unit: str, text: str) -> Rating:
    stands_on = (one.document, one.sources, one.standing, one.note)
    return Rating(name, value, unit, text, *stands_on, where_seen(one.sources))


def rated_volts(product: Product) -> float:
    """The highest voltage any of the product's types is rated for [V]."""
    return max(one.volts for one in product.types)
