"""Are two marks of persons one, however each is typed or stored?"""

from __future__ import annotations

import unicodedata

# Signs of the class of accents that are never seen: grapheme joiner and variation selectors (Unicode 15, 23.4 and
# DerivedCoreProperties, from memory).
_UNSEEN = frozenset(
    map(chr, (0x034F, *range(0x180B, 0x1810), *range(0xFE00, 0xFE10), *range(0xE0100, 0xE01F0)))
)


def mark_of(name: str) -> str:
    """A person's mark as it is compared, however it is typed or stored.

    Only letters, accents and digits count, in one form (Unicode NFKC) and without case: spaces, hyphens and signs that
    nobody sees make no second person. "" where nothing of it counts.
    """
    folded = unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", name).casefold())
    return "".join(one for one in folded if unicodedata.category(one)[0] in "LMN" and one not in _UNSEEN)
