"""How many reels it takes to claim an index, and what the reels at hand must show to claim it.

Reels are taken as independent and normal; where several share a set-up, count set-ups, not reels. Source:
Chou, Owen and Borrego, J. Quality Technology 22 (1990), 223-229 (from memory); the tables are computed, not
quoted.

What a count of bad reels shows, with no model at all: the exact interval of their share.

None bad of 30 does not mean none bad: up to 9.5 % may be. Source: Clopper and Pearson, Biometrika 26 (1934),
404-413 (from memory).
"""

from __future__ import annotations

import math

from scipy import stats

from pipeline.arguments import checked
from pipeline.assumed import Assumed
from pipeline.errors import Complaint, MethodRefusal
from pipeline.messages import message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Refused, Result

CHANCE = 0.8  # probability that a proof comes off (common practice, no source)


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


_MOST = 100_000


@checked
def index_that_proves(claimed: float, reels: int, confidence: float = 0.95) -> float:
    """Smallest observed one-sided index whose lower confidence bound reaches the claimed one.

    C_obs = t'_{n-1, 3 sqrt(n) C0}(confidence) / (3 sqrt(n)), t' the noncentral t quantile.

    Args:
        claimed: index to be claimed C0 [1], for example 1.33.
        reels: independent reel values n, 2 or more.
        confidence: one-sided confidence.

    Raises:
        MethodRefusal: fewer than two reels, or a confidence outside 0 to 1.
    """
    _check(reels, confidence)
    scale = 3.0 * math.sqrt(reels)
    return float(stats.nct.ppf(confidence, reels - 1, scale * claimed)) / scale


@checked
def chance_to_prove(claimed: float, true: float, reels: int, confidence: float = 0.95) -> float:
    """Probability that `reels` independent reels of true index `true` prove the claimed index.

    Args:
        claimed: index to be claimed [1].
        true: index the process really has [1].
        reels: independent reel values.
        confidence: one-sided confidence of the claim.
    """
    edge = index_that_proves(claimed, reels, confidence)
    scale = 3.0 * math.sqrt(reels)
    return float(stats.nct.sf(scale * edge, reels - 1, scale * true))


@checked
def reels_needed(claimed: float, true: float, confidence: float = 0.95) -> int:
    """Fewest independent reels with the wanted chance to prove the claimed index.

    Args:
        claimed: index to be claimed [1], for example 1.33 or 1.67.
        true: index the process really has [1], above the claim.
        confidence: one-sided confidence of the claim.

    Raises:
        MethodRefusal: the true index does not exceed the claim, or more than 100,000 reels would be needed.
    """
    if not true > claimed:
        raise MethodRefusal(
            Complaint(
                "reels_needed: true",
                f"a process of true index {true:g} cannot prove {claimed:g}",
                "Assume a true index above the claim",
            )
        )
    low, high = 2, 4
    while chance_to_prove(claimed, true, high, confidence) < CHANCE:
        low, high = high, high * 2
        if high > _MOST:
            raise MethodRefusal(
                Complaint(
                    "reels_needed: true",
                    f"more than {_MOST} reels would be needed to tell {true:g} from {claimed:g}",
                    "Assume a true index further above the claim, or claim less",
                )
            )
    while high - low > 1:
        middle = (low + high) // 2
        if chance_to_prove(claimed, true, middle, confidence) >= CHANCE:
            high = middle
        else:
            low = middle
    return high


def _check(reels: int, confidence: float) -> None:
    if reels < 2:
        raise MethodRefusal(
            Complaint("reels_needed: reels", f"{reels} reels show no spread", "Give two reels or more")
        )
    if not 0.0 < confidence < 1.0:
        raise MethodRefusal(
            Complaint(
                "reels_needed: confidence",
                f"{confidence:g} is no confidence",
                "Give a figure between 0 and 1",
            )
        )
