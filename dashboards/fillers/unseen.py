"""What the foot of a run's or reel's page says the evidence does not reach."""

from __future__ import annotations

from dashboards.fillers.run_book import Row, RunBook
from pipeline.length.steady_state import PHASE_NAMES, STEADY, STOP

# Phases of wire made while the line was not at its steady speed, as a reader calls them.
UNSTEADY = {
    "THREAD": "crawling",
    "RAMP-UP": "speeding up",
    "SETTLE": "settling",
    "SPEED-CHANGE": "changing speed",
    "RAMP-DOWN": "slowing down",
}


def unseen_of_run(book: RunBook) -> tuple[str, ...]:
    """Sentences on the wire of a run's reels that was not seen, and on what the run made unsteadily."""
    if not book.is_judged or not book.reels:
        return ()
    first = min((row["from_m"] for row in book.phases), default=0.0)
    last = max((row["to_m"] for row in book.phases), default=0.0)
    return (_unseen("on reels", book.reels), *_unsteady(book, first, last))


def unseen_of_reel(book: RunBook, reel: Row) -> tuple[str, ...]:
    """Sentences on the wire of one reel that was not seen, and on what of it was made unsteadily."""
    return (_unseen("on this reel", [reel]), *_unsteady(book, reel["from_m"], reel["to_m"]))


def _unseen(where: str, reels: list[Row]) -> str:
    length, wall, diameter, spark = (
        sum(row[name] for row in reels)
        for name in ("length_m", "wall_unmonitored_m", "diameter_unmonitored_m", "spark_untested_m")
    )
    if max(wall, diameter, spark) < 0.05:
        return f"All of {length:,.1f} m {where} has a wall reading, a diameter reading and a full spark test."
    return (
        f"Of {length:,.1f} m {where}, {wall:,.1f} m have no wall reading, {diameter:,.1f} m no diameter reading and "
        f"{spark:,.1f} m no full spark test."
    )


def _unsteady(book: RunBook, from_m: float, to_m: float) -> tuple[str, ...]:
    made: dict[str, float] = {}
    stops = 0
    for row in book.phases:
        here = min(row["to_m"], to_m) - max(row["from_m"], from_m)
        if row["phase"] == PHASE_NAMES[STOP]:
            stops += from_m <= row["from_m"] <= to_m
        elif row["phase"] != PHASE_NAMES[STEADY] and here > 0:
            made[row["phase"]] = made.get(row["phase"], 0.0) + here
    if not made and not stops:
        return ("All of it was made at steady speed.",)
    parts = [f"{made[name]:,.1f} m {words}" for name, words in UNSTEADY.items() if name in made]
    stood = (
        f"; the line stood still {stops} times"
        if stops > 1
        else "; the line stood still once"
        if stops
        else ""
    )
    return (f"Made while not at steady speed: {', '.join(parts) or 'no wire'}{stood}.",)
