"""What was found on the wire, its likely cause and what to do about it first; advice is common practice, no source."""

from __future__ import annotations

from collections.abc import Mapping

from pipeline.found import Because, Doubt, Found, advice_of, found_by, name_of, verdict_code

_AGAINST = " at {at}. Limit: {sense} {limit}. Over {length:place} from {span}: {verdict:code}."
_HIGH_VOLTAGE = "; spark testers are high voltage."
# Rule -> its name, what it finds, what to do first.
_RULES: Mapping[str, tuple[str, tuple[str, ...], str]] = {
    "wall-point": (
        "minimum wall at any point",
        ("Thinnest wall {worst:wall<limit}" + _AGAINST, "Thinnest wall {bound}" + _AGAINST),
        "Cut a full slice at the worst place, with the thin angle marked, and measure it by the standard's method.",
    ),
    "spark-fault": (
        "spark fault",
        (
            "{count:#spark fault|spark faults} within {length:place} from {span} at {voltage:.4}.",
            (
                "{unlisted:#spark fault|spark faults} within {length:place} from {span}, counted by the spark tester "
                "and missing from its list."
            ),
            "{count:#spark fault|spark faults} within {length:place} from {span}; the voltage was not logged.",
            (
                "{possible:#spark fault|spark faults} may lie within {length:place} from {span}: the log's clock was "
                "set or the log has a gap, so the place is not known better."
            ),
        ),
        "Cut out the fault with clearance on both sides and test again" + _HIGH_VOLTAGE,
    ),
    "wall-average": (
        "minimum average wall",
        ("Average wall {worst:wall<limit}" + _AGAINST, "Average wall {bound}" + _AGAINST),
        "Measure a cut sample by the standard's method before deciding on the length.",
    ),
    "covering": (
        "covering at any point",
        ("Covering {worst:wall<limit}" + _AGAINST, "Covering {bound}" + _AGAINST),
        "Measure the covering on a cut sample; a wall gauge that sees both layers only bounds it.",
    ),
    "spark-voltage": (
        "spark test voltage",
        ("Spark voltage {worst:voltage<limit}" + _AGAINST, "Spark voltage {bound}" + _AGAINST),
        "Spark-test the length again at the voltage of record" + _HIGH_VOLTAGE,
    ),
    "diameter": (
        "overall diameter",
        ("Overall diameter {worst:diameter<limit}" + _AGAINST, "Overall diameter {bound}" + _AGAINST),
        "Measure the diameter on two axes and look for a lump, a neck or a change of conductor.",
    ),
    "conductor": (
        "conductor diameter",
        ("Conductor diameter {worst:diameter<limit}" + _AGAINST, "Conductor diameter {bound}" + _AGAINST),
        "Measure the conductor on a stripped sample, and look at the wire that was drawn or stranded for it.",
    ),
    "concentricity": (
        "concentricity",
        (
            "Concentricity (100 \u00d7 thinnest / thickest wall) {worst:percent<limit}" + _AGAINST,
            "Concentricity (100 \u00d7 thinnest / thickest wall) {bound}" + _AGAINST,
        ),
        "Check the centering of the die on a cut slice.",
    ),
    "surface-flaw": (
        "surface flaw",
        (
            "{count:#surface flaw|surface flaws} within {length:place} from {span}, the largest {size:diameter}.",
            "{count:#surface flaw|surface flaws} within {length:place} from {span}; no size was logged.",
            (
                "{possible:#surface flaw|surface flaws} may lie within {length:place} from {span}: the log's clock was "
                "set or the log has a gap, so the place is not known better."
            ),
        ),
        "Look at the wire there; a flaw in the covering may hide one in the insulation.",
    ),
    "splice": (
        "splice",
        (
            "A lump {size:diameter} high within {length:place} from {span}, seen by {seen_by}: taken for a splice.",
        ),
        "Look at the wire there and cut the splice out of what is sold, with clearance on both sides.",
    ),
    "between-marks": (
        "between marks",
        (
            (
                "The marks of {subject} come back over {length:place} from {span} ({marks:#finding|findings} of the "
                "run on other reels); this reel was made on the same roll and shows none."
            ),
        ),
        "Look at the wire and test it again before it is let go; see to the roll first.",
    ),
    "unmonitored": (
        "unmonitored",
        ("No usable reading of {subject} on {lacking_m:place} of the wire from {span}: {detail}.",),
        "Inspect the length by other means, or do not release it on in-line evidence.",
    ),
    "calibration": (
        "calibration",
        ("No calibration in date behind {subject} over {length:place} from {span}: {detail}.",),
        "Calibrate the instrument, and judge the wire again if its readings have moved.",
    ),
    "instruments-disagree": (
        "instruments disagree",
        (
            "Instruments disagree over {length:place} from {span}. {agreement}",
            "Instruments disagree over {length:place} from {span}: {detail}. No conclusion about the wire there.",
        ),
        "Measure a cut sample to find which instrument is wrong.",
    ),
    "unstable-process": (
        "unstable process",
        ("The process was not stable in {subject} over {length:place} from {span}: {detail}.",),
        "Do not read a capability index of this length as a forecast.",
    ),
}
_PARTS: Mapping[str, tuple[str, ...]] = {
    Found.SEVERAL: ("{told:sentences}",),
    Found.BOUNDED: ("{value} (worse bound)",),
    Found.CITED: (
        "{value:.4} [{document}, {table}; revision {revision}]",
        "{value:.4} [{document}; revision {revision}]",
        "{value:.4} [{table}; revision {revision}]",
        "{value:.4} [revision {revision}]",
    ),
    Found.ALSO_SEEN: ("Seen there as well: {rules:code}.",),
    Found.UNCONFIRMED: (
        "One instrument alone saw it, over less than the plant's shortest length: unconfirmed.",
    ),
    Found.EITHER_REEL: (
        "The ends of the reels are known to {unsure:place} only: this wire may lie on reel {reel}.",
    ),
    Found.MORE_REASONS: ("And {n:#more reason|more reasons}.",),
    Found.REELS_ALIKE: ("For this alone {n} reels are held: {named}.",),
    Found.REELS_ALIKE_AND_MORE: ("For this alone {n} reels are held: {named} and {more} more.",),
    Found.CHANGED_AT: (
        "it changed by {size} at {what} {named}, and the plant counts a change of {least}",
        "it changed by {size} at {what}, and the plant counts a change of {least}",
    ),
    Found.LEVEL_CHANGED: (
        "its level went from {before} to {after}, and the plant counts a change of {least}",
    ),
    Found.ENTRY: ("{kind} of {subject}.",),
    Found.HOLD_LIFTED: ("Lifted by {by}: {reason}. It was: {hold}",),
    Found.HOLD_PUT: (
        "Hold on {about} {subject}, {span}, put by {by} on {on}: {reason}.",
        "Hold on {about} {subject}, put by {by} on {on}: {reason}.",
    ),
    Found.HOLD: (
        "Hold {number} on {about} {subject}, {span}, put by {by} on {on}: {reason}.",
        "Hold {number} on {about} {subject}, put by {by} on {on}: {reason}.",
    ),
    Found.LACKING: (
        "{total:place} of reel {reel} ({share:.1f}\u00a0%) has none, the longest piece {longest:place}; {allowed}",
    ),
    Found.NONE_ALLOWED: ("the plant's sheet allows none in writing",),
    Found.ALLOWED: ("the plant allows {stretch:.4} at a stretch and {total:.4} in all",),
}
_CAUSES: Mapping[str, tuple[str, ...]] = {
    Because.NOT_KNOWN: ("Nothing in the record points to a cause.",),
    Because.CONTRADICTED: (
        "The instruments contradict each other there. {agreement}",
        "The instruments contradict each other there: {how}.",
    ),
    Because.REPEATS: (
        (
            "One of {n} spark faults that repeat every {period:turn}, the turn of {element} "
            "(probability {probability:.2f})."
        ),
        "One of {n} events that repeat every {period:turn}, the circumference of {element}.",
    ),
    Because.LONE_READING: (
        "A single reading of {instrument} far from its neighbors; no other instrument saw it.",
    ),
    Because.UNSTEADY: ("The wire was made while the line was not steady: {phase}.",),
    Because.MATERIAL_CHANGED: ("The wire was made while the material changed: {change}.",),
    Because.DRIFT: ("The mean moved steadily toward the limit: {moved:+.4} over the {back:place} before.",),
}
_VERDICTS: Mapping[str, tuple[str, ...]] = {
    verdict_code("conforms"): ("conforms",),
    verdict_code("does not conform"): ("does not conform",),
    verdict_code("cannot be told"): ("too near the limit to decide",),
    Doubt.CONTRADICTED: ("no conclusion, because the instruments contradict each other there",),
}
FINDINGS: Mapping[str, tuple[str, ...]] = {
    **{name_of(rule): (name,) for rule, (name, _, _) in _RULES.items()},
    **{found_by(rule): found for rule, (_, found, _) in _RULES.items()},
    **{advice_of(rule): (advice,) for rule, (_, _, advice) in _RULES.items()},
    **_PARTS,
    **_CAUSES,
    **_VERDICTS,
}
