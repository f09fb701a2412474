"""Which way does a limit hold, and when does a reading stand on it?"""

from __future__ import annotations

from typing import Literal

Sense = Literal["at least", "at most"]
# Readings this close to a limit count as standing on it: what is left over from converting mil to mm.
ROUNDING = 1e-9
