"""What a count of bad reels shows, with no model at all: the exact interval of their share.

None bad of 30 does not mean none bad: up to 9.5 % may be. Source: Clopper and Pearson, Biometrika 26 (1934),
404-413 (from memory).
"""

from __future__ import annotations

from scipy import stats

from pipeline.arguments import checked
from pipeline.assumed import Assumed
from pipeline.messages import message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Refused, Result


@checked
def share_of_bad_reels(
    bad: int, reels: int, *, confidence: float = 0.95, two_sided: bool = False, known_m: float | None = None
) -> Result | Refused:
    """Share of reels with a point under the limit, from counted reels.

    Upper bound: the share p at which bad or fewer turn up with chance 1 - g; for none bad 1 - (1 - g)^(1/m).

    Args:
        bad: reels with a point under the limit, confirmed.
        reels: reels looked at along their whole length, m.
        confidence: g, of the upper bound, or of the interval if two-sided.
        two_sided: True for an interval instead of an upper bound.
        known_m: known length behind the count [m].

    Returns:
        A `Result` about one reel, or a `Refused`. Reels of one set-up are not independent: count set-ups.
    """
    question, method = (
        asks(Quantity.SHARE_OF_BAD_REELS),
        message(Method.CLOPPER_PEARSON),
    )
    if not (reels > 0 and 0 <= bad <= reels):
        reason = message(Reason.NO_COUNT_OF_REELS, bad=bad, reels=reels)
        return Refused(question, method, reason, max(reels, 0))
    tail = (1.0 - confidence) / 2.0 if two_sided else 1.0 - confidence
    low = 0.0 if bad == 0 or not two_sided else float(stats.beta.ppf(tail, bad, reels - bad + 1))
    high = 1.0 if bad == reels else float(stats.beta.isf(tail, bad + 1, reels - bad))
    told = message(Note.NONE_BAD_STILL_ALLOWS, reels=reels, high=100.0 * high) if bad == 0 else None
    return Result(
        question=question,
        estimate=bad / reels,
        low=low,
        high=high,
        confidence=confidence,
        unit="",
        method=method,
        n=reels,
        effective_n=None,
        known_m=known_m,
        unit_of_inference="reel",
        assumptions=(Assumption(message(Assumed.REELS_INDEPENDENT), None, message(Note.TAKEN_AS_GIVEN)),),
        warnings=() if told is None else (told,),
    )
