"""Counts in words, as sentences and pages tell them."""

from __future__ import annotations

from collections.abc import Sized


def material_name(key: str) -> str:
    """What people call a material of the run sheet, whose schema keeps its key."""
    return {"colour": "color"}.get(key, key)


def counted(things: Sized | float, name: str, several: str = "") -> str:
    """How many there are, in words: ``1 reel``, ``12 reels``.

    Args:
        things: the things, or how many.
        name: what one of them is called.
        several: what several are called; without it, the name with an s.
    """
    n = len(things) if isinstance(things, Sized) else things
    return f"{n:,.10g} {name if n == 1 else several or f'{name}s'}"
