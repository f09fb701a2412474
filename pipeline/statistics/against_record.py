"""Does the record contradict a predicted share of bad reels? The reels observed bad stand beside every prediction.

If each reel were bad with the predicted chance p, the number bad of m reels would be binomial. The record contradicts
the prediction where as many as were observed, or more, would come with a chance under 1 % even at the upper end of the
prediction's interval (exact one-sided binomial test; Hald, Statistical Theory with Engineering Applications, 1952, from
memory; the level is chosen here).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from pipeline.arguments import checked
from pipeline.messages import Message, message
from pipeline.notes import Note
from pipeline.results import Refused, Result

LEVEL = 0.01


@dataclass(frozen=True, slots=True)
class Observed:
    """Reels on file that were found bad by one requirement, of those judged by it, and which reels these are."""

    bad: int
    reels: int
    of: Note = Note.OBSERVED_BAD

    @property
    def told(self) -> Message:
        """What is said of the record."""
        return message(self.of, bad=self.bad, reels=self.reels)


@checked
def chance_of_as_many(observed: Observed, share: float) -> float:
    """Chance of as many bad reels as observed, or more, if each is bad with the chance `share`: P(X >= k), binomial."""
    if observed.bad == 0:
        return 1.0
    from scipy import special  # here, so that pages start without it

    return float(special.bdtrc(observed.bad - 1, observed.reels, min(max(share, 0.0), 1.0)))


@checked
def contradiction(observed: Observed, share: float) -> Message | None:
    """Why a prediction is contradicted by the record; None where it is not.

    Args:
        observed: the record.
        share: predicted share of bad reels, the upper end of its interval where it has one.
    """
    if observed.reels == 0 or not share < 1.0:
        return None
    chance = chance_of_as_many(observed, share)
    if chance >= LEVEL:
        return None
    return message(Note.RECORD_CONTRADICTS, observed=observed.told, chance=chance, level=LEVEL)


@checked
def against_record(answer: Result | Refused, observed: Observed) -> Result | Refused:
    """A predicted chance that a reel is bad, with the record beside it; refused where the record contradicts it.

    Args:
        answer: the prediction, 0 to 1, with its interval.
        observed: the record of the same requirement.
    """
    if isinstance(answer, Refused) or observed.reels == 0:
        return answer
    why = contradiction(observed, answer.high if answer.high == answer.high else answer.estimate)
    if why is not None:
        return Refused(answer.question, answer.method, why, answer.n)
    return replace(
        answer,
        warnings=(observed.told, *answer.warnings),
        details={
            **answer.details,
            "observed_bad": float(observed.bad),
            "observed_reels": float(observed.reels),
        },
    )
