"""How often may somebody try the door? So many times in a while from one address, whatever the names."""

from __future__ import annotations

import time
from collections import OrderedDict, deque
from collections.abc import Callable
from threading import Lock

# Common practice, no source: a plant's people behind one proxy sign in within this.
MOST = 30
WITHIN_S = 300.0
_MOST_ADDRESSES = 10_000


class Tries:
    """Tries by address, kept in memory.

    Args:
        clock: a clock that is never set back [s].
        most: so many tries,
        within_s: in so long a time [s].
    """

    def __init__(
        self, clock: Callable[[], float] = time.monotonic, most: int = MOST, within_s: float = WITHIN_S
    ) -> None:
        self._clock = clock
        self._most = most
        self._within_s = within_s
        self._tried: OrderedDict[str, deque[float]] = OrderedDict()
        self._turn = Lock()

    def may_try(self, address: str) -> bool:
        """Whether an address may try once more; the try is counted."""
        with self._turn:
            now = self._clock()
            tried = self._tried.setdefault(address, deque())
            self._tried.move_to_end(address)
            while len(self._tried) > _MOST_ADDRESSES:
                self._tried.popitem(last=False)
            while tried and tried[0] <= now - self._within_s:
                tried.popleft()
            if len(tried) >= self._most:
                return False
            tried.append(now)
            return True
