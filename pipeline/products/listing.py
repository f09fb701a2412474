"""Which option of a plant's listing covers a wire: it belongs to the listing, not to the wire type."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ListingOption:
    """An option of the plant's listing that covers this wire's size.

    Args:
        option: what is listed.
        size_from: smallest size.
        size_to: largest size.
        conditions: conditions such as a colour, "" for none.
        source: where the plant's listing says so.
    """

    option: str
    size_from: str
    size_to: str
    conditions: str
    source: str
