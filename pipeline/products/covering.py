"""Whether the covering a run sheet states can be on the product it names."""

from __future__ import annotations

from pipeline.errors import Complaint
from pipeline.products.product import Product


def covering_complaints(product: Product, mean_mm: float, where: str) -> tuple[Complaint, ...]:
    """What is wrong with a stated covering: none on this construction, or thicker than the wall it covers.

    Args:
        product: the wire.
        mean_mm: mean wall of the covering as the run sheet states it [mm].
        where: the place to name in a complaint.

    A covering below its minimum is a finding about the wire, not a fault of the sheet.
    """
    if product.covering_wall is None:
        return (
            Complaint(
                where,
                f"a covering of {mean_mm:g} mm is stated, but {product.construction} has none",
                "Take the covering out, or name the construction that was made",
            ),
        )
    if not 0.0 < mean_mm < product.average_wall_mm:
        least = product.covering_wall
        return (
            Complaint(
                where,
                f"a covering of {mean_mm:g} mm is not thinner than the insulation's minimum average wall of "
                f"{product.average_wall_mm:.4g} mm",
                f"Check the figure and its unit; the least covering of {product.construction} "
                f"{product.size.name} is {least.value:.4g} mm ({least.record})",
            ),
        )
    return ()
