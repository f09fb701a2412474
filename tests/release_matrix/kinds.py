"""Which cases the release matrix runs, in parts that two processes may share, and how many of each."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from zlib import crc32

import numpy as np

from tests.release_matrix import (
    data_cases,
    drawn_cases,
    instrument_cases,
    mutated_cases,
    sheet_cases,
    wire_cases,
)
from tests.release_matrix.cases import Case
from tests.release_matrix.reporting import SEED
from tests.release_matrix.store_cases import AGAIN, GROUPS

# A whole number: so many times as many rounds. Each round has seeds of its own.
TIMES = max(1, int(os.environ.get("REELPROOF_MATRIX", "1") or "1"))
ROUNDS_OF_WIRE = 6
RELOADED = 2

Generator = Callable[[int], Iterator[Case]]
WIRE: tuple[Generator, ...] = (
    wire_cases.sound,
    wire_cases.sound_with_stops_or_steps,
    wire_cases.thin,
    wire_cases.off_centre,
    wire_cases.oval,
    wire_cases.thick,
    wire_cases.faults,
    wire_cases.flaws,
    wire_cases.too_fast,
    wire_cases.low_voltage,
)


@dataclass(frozen=True)
class Part:
    """Some cases of one generator, run as one test.

    Args:
        name: name of the test.
        make: the generator.
        rounds: how many rounds of it.
        share: which of `shares` equal shares.
        shares: in how many it is cut.
        seed: first seed of its runs; None where the generator gives its own.
    """

    name: str
    make: Generator
    rounds: int
    share: int
    shares: int
    seed: int | None

    def cases(self) -> Iterator[Case]:
        """The part's cases one by one, so that those of one run find it made."""
        name = self.make.__name__
        chosen = np.random.default_rng(crc32(name.encode()))
        for number, case in enumerate(self.make(self.rounds)):
            kept = chosen.random() < (CHOSEN.get(name, 1.0) if TIMES == 1 else 1.0)
            if kept and number // TOGETHER % self.shares == self.share:
                seed = case.plan.seed if self.seed is None else SEED + self.seed + number
                yield replace(case, plan=replace(case.plan, seed=seed))


# Cases of one run mostly stand together: a share takes so many in turn.
TOGETHER = 14
# Shares of the longer generators, so that no test takes more than some ten seconds of one processor.
SHARES = {"plants": 2, "drawn": 2}
# What part of a generator's cases, chosen once by chance, is run where the matrix is run once; a longer run has all.
# Each is a folder read and measured; of plants' sheets one folder has many.
CHOSEN = {
    **dict.fromkeys((one.__name__ for one in WIRE), 0.65),
    **dict.fromkeys(data_cases.DATA, 0.45),
    **dict.fromkeys(("plants", "lines", "runs", "mutated_lines", "mutated_runs"), 0.5),
    **dict.fromkeys(drawn_cases.DRAWN, 0.5),
}


def store_groups() -> list[int]:
    """Numbers of the runs in a store of their own; each scenario once on good and once on bad wire where run once."""
    return [number for number in range(GROUPS * TIMES) if TIMES > 1 or number not in AGAIN]


def parts() -> list[Part]:
    """Every part of the matrix but the store's."""
    found = []
    for number, make in enumerate(WIRE):
        found += _cut(make, ROUNDS_OF_WIRE * TIMES, TIMES, 10_000 * number)
    named = {
        **data_cases.DATA,
        **sheet_cases.SHEETS,
        **mutated_cases.MUTATED,
        **drawn_cases.DRAWN,
        **instrument_cases.INSTRUMENTS,
    }
    for made in named.values():
        found += _cut(made, TIMES, SHARES.get(made.__name__, 1) * TIMES, None)
    return found


def _cut(make: Generator, rounds: int, shares: int, seed: int | None) -> list[Part]:
    return [
        Part(f"{make.__name__}-{share + 1}", make, rounds, share, shares, seed) for share in range(shares)
    ]
