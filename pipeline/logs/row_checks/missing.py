"""Where a channel holds no value although one was due.

A slow instrument in a fast table fills every n-th row only; the rows between are not missing readings. n is the
usual distance between its values, so a channel that fills every row is missing wherever it is empty.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Rows = NDArray[np.int64]


def missing_rows(empty: NDArray[np.bool_]) -> Rows:
    """Places without a value where one was due.

    Args:
        empty: True where the channel is empty, in the order of the log.
    """
    holes = np.flatnonzero(empty)
    filled = np.flatnonzero(~empty)
    if holes.size == 0 or filled.size < 2:
        return holes
    usual = int(np.median(np.diff(filled)))
    if usual == 1:
        return holes
    behind = np.searchsorted(filled, holes)
    previous = filled[np.maximum(behind - 1, 0)]
    following = filled[np.minimum(behind, filled.size - 1)]
    between = (behind > 0) & (behind < filled.size)
    late = ~between | (following - previous > 1.5 * usual)
    away = np.where(behind == 0, filled[0] - holes, holes - previous)
    due: Rows = holes[late & (away % usual == 0)]
    return due
