"""The trade's and the statistics' words as these pages use them."""

from __future__ import annotations

from pipeline.nonconformance.disposition import MEANING

TERMS: tuple[tuple[str, str], ...] = (
    (
        "Assessment",
        "One judging of a run by one program version and one revision of the limits. Earlier ones stay on file.",
    ),
    (
        "Average wall",
        (
            "Mean thickness of the insulation around one cross-section. A standard may take it from one slice: mean of "
            "the thickest and the thinnest reading; the page says which was used."
        ),
    ),
    (
        "Capability, performance",
        (
            "How far a process stays from a limit in units of three standard deviations. Capability asks for a stable "
            "process; without that the figure is called performance."
        ),
    ),
    (
        "Concentricity",
        (
            "Here 100 x thinnest wall / thickest wall of one cross-section. Other definitions are in use; the formula "
            "stands beside the figure."
        ),
    ),
    ("Conforms", "The reading is on the right side of the limit by more than the decision rule asks for."),
    ("Covering", "The outer layer over the insulation, nylon or equivalent on THHN/THWN-2."),
    (
        "Decision rule",
        "How measurement uncertainty is treated when a reading is held against a limit; each record names its rule.",
    ),
    (
        "Disposition",
        "What a person decided. " + " ".join(f"{one.capitalize()}: {told}." for one, told in MEANING.items()),
    ),
    (
        "Eccentricity",
        "Offset of the conductor from the centre of the insulation, as a size and a direction.",
    ),
    (
        "Effective n",
        (
            "What a number of readings is worth once their likeness to their neighbours is taken into account. Ten "
            "readings a second of a slow process are worth far fewer."
        ),
    ),
    (
        "Either reel",
        "Wire near a take-up change that could be on either of two reels; it counts against both.",
    ),
    (
        "Finding",
        "A stretch of wire, or a fault, that a rule speaks against. It keeps its number when a run is judged again.",
    ),
    ("Held", "Something on file speaks against the reel; a person decides what becomes of it."),
    ("Indeterminate", "Within the uncertainty of the limit: neither shown to conform nor shown not to."),
    (
        "Interval",
        (
            "A range for the true figure, right as often as its confidence says if the assumptions hold. "
            "A rate of zero has one too."
        ),
    ),
    ("Known length", "Wire for which a trustworthy reading exists. Every share and rate divides by it."),
    (
        "Minimum at any point",
        (
            "The smallest wall allowed anywhere around and along the wire. It is about the worst point of a reel, not "
            "about the mean."
        ),
    ),
    ("No conclusion", "The data cannot carry a judgement. It never means that the wire passed."),
    ("Not judged", "No limit is on file for that requirement, so nothing was held against it."),
    ("Overwall", "Insulation above what every requirement needs at the risk the plant accepts."),
    ("Releasable", "The evidence on file speaks for release. A qualified person releases."),
    ("Set aside", "A log line that could not be read, kept as it stands with the reason."),
    (
        "Spark fault",
        "A breakdown the spark tester saw. A count is a lower bound: faults close together may be one count.",
    ),
    (
        "Steady",
        "Made at constant speed, settled at the die. Capability uses steady wire; conformity uses all wire on reels.",
    ),
    ("Unmonitored", "Wire for which no trustworthy reading exists for a requirement."),
    ("Untested", "Wire that did not get the full number of spark-test cycles."),
)
