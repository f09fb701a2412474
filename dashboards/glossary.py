"""The trade's and the statistics' terms as these pages use them, each with the standard that defines it."""

from __future__ import annotations

from pipeline.nonconformance.disposition import MEANING

# Standards by their numbers, from memory; the words are ours. "" is a term of these pages.
STAT = "ISO 3534-1, -2"
CAPABLE = "ISO 22514-1, -2"
QUALITY = "ISO 9000"
CONFORM = "JCGM 106; ISO 14253-1"
METROLOGY = "JCGM 200"
CHARTS = "ISO 7870-1, -2"
WIRE = "UL 2556; UL 83; UL 44"

TERMS: tuple[tuple[str, str, str], ...] = (
    (
        "Assessment",
        "One evaluation of a run by one program version and one revision of the limits. Earlier ones stay on file.",
        "",
    ),
    ("Autocorrelation", "Likeness of readings close together along the wire.", STAT),
    (
        "Average wall",
        (
            "Mean thickness of the insulation around one cross-section. A standard may take it from one slice, as the "
            "mean of the thickest and the thinnest reading. The page names the one used."
        ),
        WIRE,
    ),
    ("Basis", "What one value of a figure is: a reading, a section average, a reel or an event.", STAT),
    ("Bias", "Mean reading less the reference value.", METROLOGY),
    (
        "Capability: Cp, Cpk",
        "Index of a stable process against its limits. Only used where stability was shown.",
        CAPABLE,
    ),
    ("Change point", "Place where the mean level shifts.", STAT),
    (
        "Concentricity",
        "Here 100 × thinnest wall / thickest wall of one cross-section. Other definitions are in use.",
        "common practice, no standard seen",
    ),
    ("Concession", "Permission to use or release wire that does not conform.", QUALITY),
    (
        "Confidence interval, confidence bound",
        (
            "Range (or one end) that holds the true value as often as its confidence level states, if the assumptions "
            "hold. A fault rate of zero has an upper bound too."
        ),
        STAT,
    ),
    ("Conforms", "The measured value meets the limit under the decision rule.", CONFORM),
    (
        "Control limits",
        "Limits of a control chart, from the process itself. Not specification limits.",
        CHARTS,
    ),
    ("Covering", "Outer layer over the insulation: nylon or equivalent on THHN/THWN-2.", WIRE),
    (
        "Decision rule",
        "How measurement uncertainty is treated when a value is compared with a limit.",
        CONFORM,
    ),
    (
        "Disposition",
        "What a person decided. " + " ".join(f"{one.capitalize()}: {told}." for one, told in MEANING.items()),
        QUALITY,
    ),
    (
        "Eccentricity",
        "Distance between conductor center and insulation center, with its direction.",
        "common practice, no standard seen",
    ),
    (
        "Effective sample size",
        "Number of independent values that carry as much information as the correlated readings.",
        "Bayley and Hammersley 1946",
    ),
    (
        "Either reel",
        "Wire near a take-up change that could be on either of two reels. It counts against both.",
        "",
    ),
    (
        "Excess wall",
        "Mean wall above the smallest target that meets every requirement at the accepted risk.",
        "",
    ),
    ("Finding", "Length of wire, or a fault, with a nonconformity or a doubt. Its number stays.", QUALITY),
    (
        "Gauge repeatability and reproducibility",
        "Spread of a gauge's readings of one part: by one operator, and between operators.",
        METROLOGY,
    ),
    ("Hold", "A person or a rule keeps the reel in the plant until it is decided.", QUALITY),
    ("Indeterminate", "Too near the limit to decide, given the measurement uncertainty.", CONFORM),
    ("Linearity", "Change of a gauge's bias over its range.", METROLOGY),
    (
        "Minimum wall at any point",
        "Smallest wall allowed anywhere around and along the wire. It is about the worst point, not the mean.",
        WIRE,
    ),
    ("Measurement uncertainty", "Spread of the values that the measured quantity may have.", METROLOGY),
    ("Monitored length", "Wire with a valid reading for a requirement. Shares and rates divide by it.", ""),
    ("No conclusion", "The data cannot support an assessment. It is not a pass.", ""),
    ("Nonconforming", "Does not meet a requirement.", QUALITY),
    ("Not judged", "No limit is on file for that requirement.", ""),
    ("Not monitored", "Wire without a valid reading for a requirement.", ""),
    ("Not spark tested", "Wire that did not get the full number of spark-test cycles.", WIRE),
    (
        "Performance: Pp, Ppk, PpkL, PpkU",
        (
            "Index of what was made against its limits, without a claim of stability. Ppk 1.00 means that the limit is "
            "three standard deviations from the mean. PpkL is against the lower limit, PpkU against the upper."
        ),
        CAPABLE,
    ),
    ("Period", "Length after which a variation repeats along the wire.", "ISO 2041"),
    (
        "Phase I, phase II",
        "Chart with limits from its own points; chart with limits fixed beforehand.",
        CHARTS,
    ),
    (
        "Probability of conformance",
        "Probability that the true value meets the limit, given the reading and its uncertainty.",
        CONFORM,
    ),
    ("Releasable", "The evidence on file supports release. A qualified person releases.", ""),
    ("Set aside", "Log line that could not be read, kept with the reason.", ""),
    ("Signal", "Chart point beyond its limit, or a pattern by a stated rule.", CHARTS),
    (
        "Spark fault",
        "Breakdown seen by the spark tester. A count is a lower bound: close faults may count as one.",
        WIRE,
    ),
    ("Stable", "In statistical control: only common causes act.", STAT),
    (
        "Steady",
        "Made at constant speed after settling. Capability uses steady wire; conformity uses all wire.",
        "",
    ),
)
