"""Laboratory samples against the in-line reading of the same wire: bias, limits of agreement, and what is kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.nonconformance.disposition import Person, check_open_power
from pipeline.record.entry_kinds import SAMPLES_COMPARED
from pipeline.record.gauge_tables import Sample
from pipeline.record.journal_on_file import note_once
from pipeline.record.plant_sheet_on_file import plant_sheet_of
from pipeline.record.samples_compared import Compared, reels_sampled
from pipeline.record.samples_on_file import keep_samples
from pipeline.results import Refused, Result
from pipeline.wording.say import plain

if TYPE_CHECKING:
    from pipeline.store.database import Store


@dataclass(frozen=True, slots=True)
class HandedIn:
    """What came of handing in a table of samples.

    Args:
        kept: numbers of the samples put on file.
        known: how many of the table were on file already.
        entries: journal entries that keep them and what they say of instruments.
    """

    kept: tuple[str, ...]
    known: int
    entries: tuple[int, ...]


def hand_in(
    store: Store, samples: Sequence[Sample], compared: Sequence[Compared], role: str, person: str = ""
) -> HandedIn:
    """Put samples on file, and what they say of each instrument in the journal.

    Args:
        store: the store, open to write.
        samples: the samples.
        compared: what was found of them.
        role: role of the person who hands the samples in.
        person: the plant's own mark of them, "" where it keeps roles only.

    Raises:
        DispositionRefused: the plant's sheet lists roles that may hand samples in, and this is none of them.
        ReelproofError: a sample cannot be of its reel; nothing is then on file.
    """
    with store.transaction():
        reels = {name: one.sampled for name, one in reels_sampled(store, samples).items()}
        for run_id in dict.fromkeys(one.run_id for one in reels.values()):
            plant, _ = plant_sheet_of(store, run_id)
            allowed = plant.may_decide.get("hand in sample", ())
            check_open_power(run_id, "hand in sample", Person(role, person), allowed, "hand in a sample")
        kept = keep_samples(store, samples, reels, role, person)
        entries = [*kept.values(), *(_note_compared(store, one, role) for one in compared)]
    return HandedIn(tuple(kept), len(samples) - len(kept), tuple(dict.fromkeys(entries)))


def _note_compared(store: Store, one: Compared, role: str) -> int:
    bias = one.bias
    record = {
        "line": one.line,
        "instrument": one.instrument.id,
        "quantity": one.quantity,
        "role": role,
        "method": plain(bias.method),
        "n": bias.n,
        "refused": plain(bias.reason) if isinstance(bias, Refused) else "",
        "warnings": [] if isinstance(bias, Refused) else [plain(told) for told in bias.warnings],
        "figures_mm": _figures(bias),
        "samples": [
            {
                "reel": pair.sample.reel,
                "from_outer_m": f"{pair.sample.from_outer_m:.2f}",
                "laboratory_mm": f"{pair.sample.value:.6f}",
                "line_mm": "" if pair.readings == 0 else f"{pair.line_mm:.6f}",
            }
            for pair in one.pairs
        ],
    }
    return note_once(store, SAMPLES_COMPARED, one.instrument.id, record)


def _figures(bias: Result | Refused) -> dict[str, str]:
    if isinstance(bias, Refused):
        return {}
    named = {"bias": bias.estimate, "low": bias.low, "high": bias.high, **bias.details}
    return {name: f"{value:.6f}" for name, value in named.items()}
