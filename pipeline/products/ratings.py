"""What a wire is rated for at its size: temperatures, voltage, and uses the wire code ties to a size.

Listing options (sunlight, oil, flame, other markets) belong to a plant's listing, not to the type: they come
from the plant sheet.
"""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.products.product import Product
from pipeline.products.sizes import size_named
from pipeline.products.table_rows import document_of, sources_of, table_rows


@dataclass(frozen=True, slots=True)
class Rating:
    """One rating at the wire's size.

    Args:
        name: what is rated.
        value: the rating in `unit`; None for one in words.
        unit: degC or V, "" for one in words.
        text: the rating in words, "" for a figure.
        document: where it was seen.
        sources: short names of the sources.
        status: how sure it is.
        note: what a reader must know beside it.
    """

    name: str
    value: float | None
    unit: str
    text: str
    document: str
    sources: tuple[str, ...]
    status: str
    note: str


def ratings_of(product: Product) -> tuple[Rating, ...]:
    """The ratings of a product at its size, each type's own first."""
    found: list[Rating] = []
    for one in product.types:
        common = (one.document, one.sources, one.status, one.note)
        dry = f"temperature, dry and damp locations, as {one.name}"
        found.append(Rating(dry, one.dry_c, "degC", "", *common))
        wet = f"temperature, wet locations, as {one.name}"
        if one.wet_c is None:
            found.append(Rating(wet, None, "", "not for wet locations", *common))
        else:
            found.append(Rating(wet, one.wet_c, "degC", "", *common))
        found.append(Rating(f"voltage, as {one.name}", one.volts, "V", "", *common))
    for row in table_rows("ratings"):
        if row["family"] not in ("*", product.family):
            continue
        if row["rating"] == "smallest aluminium conductor" and product.conductor.metal != "aluminium":
            continue
        if not size_named(row["size_from"]).order <= product.size.order <= size_named(row["size_to"]).order:
            continue
        found.append(
            Rating(
                name=row["rating"],
                value=float(row["value"]) if row["value"] else None,
                unit=row["unit"],
                text=row["text"],
                document=document_of(row),
                sources=sources_of(row),
                status=row["status"],
                note=row["note"],
            )
        )
    return tuple(found)


def rated_volts(product: Product) -> float:
    """The highest voltage any of the product's types is rated for [V]."""
    return max(one.volts for one in product.types)
