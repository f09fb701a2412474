"""What a reel's printed tag leads to: the address of the plant's review site, and its GS1 company prefix."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from pipeline.sheets.toml_file import Sheet

# GS1 General Specifications (from memory): a company prefix has 4 to 12 digits.
Prefix = Annotated[str, Field(pattern=r"^[0-9]{4,12}$")]
Address = Annotated[str, Field(pattern=r"^https?://[A-Za-z0-9.:\[\]-]+$", max_length=120)]


class Tags(Sheet):
    """What stands in the code of a reel's tag.

    Args:
        address: address of the review site, as ``https://review.example``; without one no tag is printed.
        gs1_prefix: the plant's GS1 company prefix, where it has one; then the code is a GS1 Digital Link.
    """

    address: Address | None = None
    gs1_prefix: Prefix | None = None
