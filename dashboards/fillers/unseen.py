"""What the foot of a run's or reel's page says the evidence does not reach."""

from __future__ import annotations

from dashboards.fillers.run_book import Row, RunBook
from dashboards.page_notes import PageNote
from pipeline.length.steady_state import PHASE_NAMES, STEADY, STOP
from pipeline.messages import Measure, Message, message

# What the wire's dimensions are read as: of these one reading takes in so much wire.
READ_AS = ("mean_wall_mm", "diameter_mm")
LEAST_M = 0.05  # less wire than this is not told (a tenth of a metre is the last digit shown)

# Phases of wire made while the line was not at its steady speed, as a reader calls them.
UNSTEADY = {
    "THREAD": "crawling",
    "RAMP-UP": "speeding up",
    "SETTLE": "settling",
    "SPEED-CHANGE": "changing speed",
    "RAMP-DOWN": "slowing down",
}


def unseen_of_run(book: RunBook) -> tuple[Message, ...]:
    """What is said of the wire of a run's reels that was not seen, and of what the run made unsteadily."""
    if not book.is_judged or not book.reels:
        return ()
    first = min((row["from_m"] for row in book.phases), default=0.0)
    last = max((row["to_m"] for row in book.phases), default=0.0)
    every = {row["reel_id"] for row in book.reels}
    return (_unseen("on reels", book.reels), *_within_a_reading(book, every), *_unsteady(book, first, last))


def unseen_of_reel(book: RunBook, reel: Row) -> tuple[Message, ...]:
    """What is said of the wire of one reel that was not seen, and of what of it was made unsteadily."""
    return (
        _unseen("on this reel", [reel]),
        *_within_a_reading(book, {reel["reel_id"]}),
        *_unsteady(book, reel["from_m"], reel["to_m"]),
    )


def _within_a_reading(book: RunBook, reels: set[str]) -> tuple[Message, ...]:
    """How much wire one reading takes in: what is shorter may be bad and not show."""
    found = [
        row["known_m"] / row["readings"]
        for row in book.reel_summaries
        if row["reel_id"] in reels and row["quantity"] in READ_AS and row["readings"]
    ]
    return (message(PageNote.WITHIN_A_READING, reading=Measure(max(found), "m")),) if found else ()


def _unseen(where: str, reels: list[Row]) -> Message:
    names = ("length_m", "wall_unmonitored_m", "diameter_unmonitored_m", "spark_untested_m")
    length, wall, diameter, spark = (sum(row[name] for row in reels) for name in names)
    whole = {"length": Measure(length, "m"), "where": where}
    if max(wall, diameter, spark) < LEAST_M:
        return message(PageNote.ALL_SEEN, **whole)
    lacks = {"wall": Measure(wall, "m"), "diameter": Measure(diameter, "m"), "spark": Measure(spark, "m")}
    return message(PageNote.NOT_ALL_SEEN, **whole, **lacks)


def _unsteady(book: RunBook, from_m: float, to_m: float) -> tuple[Message, ...]:
    made: dict[str, float] = {}
    stops = 0
    for row in book.phases:
        here = min(row["to_m"], to_m) - max(row["from_m"], from_m)
        if row["phase"] == PHASE_NAMES[STOP]:
            stops += from_m <= row["from_m"] <= to_m
        elif row["phase"] != PHASE_NAMES[STEADY] and here > 0:
            made[row["phase"]] = made.get(row["phase"], 0.0) + here
    if not made and not stops:
        return (message(PageNote.ALL_STEADY),)
    phases = [
        message(PageNote.IN_PHASE, length=Measure(made[name], "m"), phase=words)
        for name, words in UNSTEADY.items()
        if name in made
    ]
    stood = {"stops": stops} if stops else {}
    return (message(PageNote.UNSTEADY, **stood, phases=phases or [message(PageNote.NO_WIRE)]),)
