"""Which values may stand in a sheet at all, whatever they mean: finite, of a size and depth that a person writes."""

from __future__ import annotations

import math
from typing import Any

DEEPEST = 16
MOST_VALUES = 100_000
LONGEST_TEXT = 20_000
# Beyond it a whole number is no longer exact as a float, and no length, time or count of a plant is so large.
GREATEST = 2.0**53


def out_of_bounds(content: dict[str, Any]) -> list[tuple[str, str]]:
    """Values of a sheet that nobody writes on purpose: the key of each, and what is wrong with it.

    Args:
        content: the sheet as it was read.
    """
    told: list[tuple[str, str]] = []
    waiting: list[tuple[str, Any, int]] = [("", content, 0)]
    seen = 0
    while waiting:
        key, value, depth = waiting.pop()
        seen += 1
        if seen > MOST_VALUES:
            return [("", f"it has more than {MOST_VALUES:,} values")]
        if depth > DEEPEST:
            return [(key[:60], f"tables or lists stand in each other more than {DEEPEST} deep")]
        if isinstance(value, dict):
            waiting += [
                (f"{key}.{name}" if key else str(name), one, depth + 1) for name, one in value.items()
            ]
        elif isinstance(value, list):
            waiting += [(f"{key}[{number}]", one, depth + 1) for number, one in enumerate(value, 1)]
        elif isinstance(value, str):
            if len(value) > LONGEST_TEXT:
                told.append((key, f"this text has {len(value):,} characters"))
        elif isinstance(value, (int, float)) and not isinstance(value, bool):
            if isinstance(value, float) and not math.isfinite(value):
                told.append((key, f"{value} is no number to calculate with"))
            elif not -GREATEST <= value <= GREATEST:
                told.append((key, "this number is far too large"))
    return sorted(told)
