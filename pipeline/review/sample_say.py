"""What do laboratory samples on file say of each reel of a run?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pipeline.store.database import Store


@dataclass(frozen=True, slots=True)
class SampleSay:
    """What samples say of one reel; each reason is a sentence.

    Args:
        fails: why the reel is held: a sample cut from it is below a limit.
        doubts: why it is in doubt until someone decides: a sample of another reel of its run or lot is below a limit.
        shown: requirement and requirement set that samples on file show as met.
        missing: samples that the plant's sheet asks for and that are not on file.
        contradicts: where the laboratory contradicts the line by more than the uncertainties of both.
        last_entry: journal entry of the newest sample behind `fails`, `doubts` or `contradicts`; 0 for none. A decision
            made after it settles a doubt, one made before it does not.
    """

    fails: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    shown: frozenset[tuple[str, str]] = frozenset()
    missing: tuple[str, ...] = ()
    contradicts: tuple[str, ...] = ()
    last_entry: int = 0

    @property
    def against(self) -> tuple[str, ...]:
        """Everything that samples say against releasing the reel."""
        return (*self.fails, *self.contradicts, *self.doubts, *self.missing)


NOTHING = SampleSay()


def samples_on_run(_store: Store, _run_id: str) -> Mapping[str, SampleSay]:
    """What samples say of the run's reels; a reel that is not named has nothing said of it.

    No sample is kept as judging anything yet, so nothing is said of any reel.
    """
    return {}
