"""Whom a plant calls about a finding, and by when it is to be decided."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from pipeline.sheets.toml_file import Sheet

Told = Annotated[str, Field(min_length=1)]
Grade = Literal["critical", "major", "minor", "observation"]


class Due(Sheet):
    """Who owns open findings of a severity, and how long a decision may take.

    Args:
        owner: the role that decides, or sees that it is decided.
        hours: from the assessment that found it to the decision [h].
    """

    owner: Told
    hours: Annotated[float, Field(gt=0.0)]


class FindingResponse(Sheet):
    """Whom to call, and the time to a decision.

    Args:
        call: how to reach each role, in the order to call.
        due: owner and time by severity; a severity left out has none.
    """

    call: dict[Told, Told] = Field(default_factory=dict)
    due: dict[Grade, Due] = Field(default_factory=dict)
