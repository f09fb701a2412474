"""How sure a figure is: seen in the standard, seen elsewhere, worked out, remembered, or not seen at all."""

from __future__ import annotations

from enum import StrEnum


class SourceStanding(StrEnum):
    """How sure a figure is; it stands beside the figure wherever that is shown or exported.

    ``IN_STANDARD`` is a public excerpt or copy of the document that makes the requirement, ``ELSEWHERE`` any other
    document or a transcription, ``PLANT`` what a plant entered from its own copy. ``NOT_SEEN`` leaves the figure blank.
    """

    IN_STANDARD = "seen in the standard"
    ELSEWHERE = "seen elsewhere"
    COMPUTED = "computed"
    MEMORY = "from memory"
    NOT_SEEN = "not seen"
    PLANT = "entered by the plant"


# Words of stores written before figures had a standing of this list.
_EARLIER = {
    "sourced": SourceStanding.ELSEWHERE,
    "plant-entered": SourceStanding.PLANT,
    "common practice, no source": SourceStanding.NOT_SEEN,
}


def standing_on_file(words: str) -> SourceStanding:
    """The standing that a store's words name, those of earlier versions included; not seen where it is none."""
    if words in _EARLIER:
        return _EARLIER[words]
    return next((one for one in SourceStanding if one.value == words), SourceStanding.NOT_SEEN)


BLANK = "not seen in a public source; enter it"
