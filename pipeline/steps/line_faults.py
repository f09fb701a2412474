"""Do spark faults differ between shifts or lots, scatter more than chance, or change from some reel on?

Counts of reels over their tested length. What is compared is what the run sheets name; the test is fixed
beforehand (mid-p), and the ratio's interval is always shown beside it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np

from pipeline.assumed import Assumed
from pipeline.errors import ReelproofError
from pipeline.messages import Measure, message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Asked, Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Refused, Result, refused_by
from pipeline.statistics.event_clustering import dispersion_of_counts
from pipeline.statistics.rate_changes import RateChange, rate_change
from pipeline.statistics.rate_regression import RateRegression, rate_regression
from pipeline.steps.line_reels import LineReel
from pipeline.steps.rates_of_reels import ratio_of_reels

Answer = tuple[str, Result | Refused]
TOPIC = "fault rates"
# Pairs of shifts or lots that are compared one by one; beyond them the regression has all at once (chosen here).
MOST_PAIRS = 6


def fault_answers(reels: Sequence[LineReel]) -> list[Answer]:
    """Everything the fault counts of a line's reels say together.

    Args:
        reels: the reels in the order they were made.
    """
    tested = [reel for reel in reels if reel.tested_m > 0.0]
    if not tested:
        reason = message(Reason.NO_REEL_TESTED)
        return [(TOPIC, Refused(asks(Quantity.FAULT_RATE), message(Method.POISSON_RATES), reason, 0))]
    faults = [reel.faults for reel in tested]
    length = [reel.tested_m for reel in tested]
    found: list[Result | Refused] = [_tried(asks(Quantity.FAULT_DISPERSION),
                                            lambda: dispersion_of_counts(faults, length))]  # fmt: skip
    found.append(_tried(asks(Quantity.FAULT_RATE_CHANGE), lambda: _changed(tested)))
    for kind in dict.fromkeys(kind for reel in tested for kind in reel.circumstances):
        found += _pairs(kind, tested)
    found += _regressed(tested)
    return [(TOPIC, one) for one in found]


def _tried(question: Asked, made: Callable[[], Result | Refused]) -> Result | Refused:
    try:
        return _asked(made(), question)
    except ReelproofError as fault:
        return refused_by(question, message(Method.POISSON_RATES), fault, 0)


def _pairs(kind: str, reels: Sequence[LineReel]) -> list[Result | Refused]:
    """The rate of each class of a circumstance against each other class."""
    classes = sorted({reel.circumstances[kind] for reel in reels if kind in reel.circumstances})
    found: list[Result | Refused] = []
    for one, other in list(combinations(classes, 2))[:MOST_PAIRS]:
        question = asks(
            Quantity.FAULT_RATE_RATIO,
            f"{kind} {one} : {kind} {other}",
            one=f"{kind} {one}",
            other=f"{kind} {other}",
        )
        sides = [
            [(reel.faults, reel.tested_m) for reel in reels if reel.circumstances.get(kind) == name]
            for name in (one, other)
        ]
        found.append(_tried(question, lambda s=sides: ratio_of_reels(*s)))  # type: ignore[misc]
    return found


def _asked(found: Result | Refused, question: Asked) -> Result | Refused:
    return replace(found, question=question)


def _regressed(reels: Sequence[LineReel]) -> list[Result | Refused]:
    """Every circumstance that every reel has and that takes more than one value, the others held equal."""
    kinds = [
        kind
        for kind in dict.fromkeys(kind for reel in reels for kind in reel.circumstances)
        if all(kind in reel.circumstances for reel in reels)
        and len({reel.circumstances[kind] for reel in reels}) > 1
    ]
    question = asks(Quantity.FAULT_RATE_RATIO_ADJUSTED)
    if not kinds:
        reason = message(Reason.CIRCUMSTANCES_ALIKE)
        return [
            Refused(question, message(Method.POISSON_REGRESSION), reason, sum(one.faults for one in reels))
        ]
    try:
        found = rate_regression(
            [reel.faults for reel in reels],
            [reel.tested_m for reel in reels],
            {kind: [reel.circumstances[kind] for reel in reels] for kind in kinds},
        )
    except ReelproofError as fault:
        return [refused_by(question, message(Method.POISSON_REGRESSION), fault, 0)]
    if isinstance(found, RateRegression):
        return [replace(one, warnings=(*one.warnings, *found.warnings)) for one in found.ratios]
    return [_asked(found, question)]


def _changed(reels: Sequence[LineReel]) -> Result | Refused:
    """The reel from which on the rate was another, as a result whose interval is of the reel's number."""
    question = asks(Quantity.FAULT_RATE_CHANGE)
    method = message(Method.CHANGE_OF_A_RATE)
    found = rate_change([reel.faults for reel in reels], [reel.tested_m for reel in reels])
    if not isinstance(found, RateChange):
        return _asked(found, question)
    if found.p_value > 0.05:
        reason = message(Reason.NO_CHANGE_OF_RATE, p_value=found.p_value)
        return Refused(question, method, reason, found.n)
    named = reels[found.item].reel_id
    return Result(
        question=question,
        estimate=float(found.item + 1),
        low=float(found.low + 1),
        high=float(found.high + 1),
        confidence=0.95,
        unit="",
        method=method,
        n=found.n,
        effective_n=None,
        known_m=float(np.sum([reel.tested_m for reel in reels])),
        unit_of_inference="reel",
        assumptions=(
            Assumption(message(Assumed.FAULTS_BY_CHANCE), None, message(Note.SEE_SCATTER)),
            Assumption(message(Assumed.ONE_CHANGE), None, message(Note.NOT_CHECKED)),
        ),
        warnings=(
            (
                message(
                    Note.RATE_CHANGED_AT,
                    reel=named,
                    first=reels[found.low].reel_id,
                    last=reels[min(found.high, len(reels) - 1)].reel_id,
                    before=Measure(found.before_per_km, "1/km"),
                    after=Measure(found.after_per_km, "1/km"),
                )
            ),
        ),
        details={
            "p_value": found.p_value,
            "before_per_km": found.before_per_km,
            "after_per_km": found.after_per_km,
        },
    )
