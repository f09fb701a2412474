"""Values along the wire on an even grid, made piece by piece, and their mean over the window of a reading."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_POINT_M = 1e-4  # below this a window is a point: a mean over it would only lose digits


class Ribbon:
    """Named fields at s = (first + k) x step; old metres are let go when no instrument can see them again.

    Args:
        names: names of the fields, in the order of the rows given to `extend`.
        first: number of the first node, so that nodes are the same however the wire is cut into pieces.
        step_m: spacing of the nodes [m].
    """

    def __init__(self, names: tuple[str, ...], first: int, step_m: float) -> None:
        self.names = names
        self.step_m = step_m
        self._first = first
        self._values: NDArray[np.float64] = np.empty((len(names), 0))
        self._sums: NDArray[np.float64] = np.empty((len(names), 0))

    @property
    def next_node(self) -> int:
        """Number of the first node not made yet."""
        return self._first + int(self._values.shape[1])

    def nodes_to(self, to_m: float) -> NDArray[np.float64]:
        """Positions [m] of the nodes still to be made up to `to_m` [m]."""
        last = int(np.floor(to_m / self.step_m))
        nodes: NDArray[np.float64] = np.arange(self.next_node, last + 1, dtype=np.float64)
        return nodes * self.step_m

    def extend(self, values: NDArray[np.float64]) -> None:
        """Add `values` (fields x nodes) after the last node."""
        self._values = np.concatenate([self._values, values], axis=1)
        middles = 0.5 * (self._values[:, 1:] + self._values[:, :-1]) * self.step_m
        self._sums = np.zeros_like(self._values)
        np.cumsum(middles, axis=1, out=self._sums[:, 1:])

    def let_go(self, before_m: float) -> None:
        """Forget the nodes before `before_m` [m]."""
        count = int(np.floor(before_m / self.step_m)) - self._first
        if count > 0:
            self._values = self._values[:, count:]
            self._sums = self._sums[:, count:]
            self._first += count

    def _at(self, table: NDArray[np.float64], s_m: NDArray[np.float64]) -> NDArray[np.float64]:
        place = np.clip(s_m / self.step_m - self._first, 0.0, table.shape[1] - 1.000001)
        left = place.astype(np.int64)
        part = place - left
        lower: NDArray[np.float64] = table[:, left]
        return lower + part * (table[:, left + 1] - lower)

    def seen(self, from_m: NDArray[np.float64], to_m: NDArray[np.float64]) -> dict[str, NDArray[np.float64]]:
        """Mean of each field over the windows `from_m` to `to_m` [m]; the value itself at a point."""
        width = to_m - from_m
        wide = width > _POINT_M
        mean = self._at(self._values, 0.5 * (from_m + to_m))
        if wide.any():
            area = self._at(self._sums, to_m[wide]) - self._at(self._sums, from_m[wide])
            mean[:, wide] = area / width[wide]
        return dict(zip(self.names, mean, strict=True))
