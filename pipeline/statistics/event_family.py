"""Which faults belong to a repeat that was found? Each by its phase among the other faults of its reel.

On each reel the marks lie about one phase, which is not known, with a scatter; other faults lie anywhere on the turn.
A fault's probability takes the phase from the other faults of the reel alone, so that none speaks for itself. A reel's
only fault has no phase to agree with.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from pipeline.arguments import checked

Floats = NDArray[np.float64]

MEMBER_P = 0.8
"""Probability from which a fault is told as a member (chosen here); its phase must speak for it too."""
_PHASES = 180
_WIDEST = 0.8
_SHARES = np.linspace(0.05, 0.95, 13)


@checked
def family_probabilities(
    reels: Sequence[ArrayLike], period_m: float, least_sd_m: float
) -> tuple[list[Floats], list[Floats]]:
    """Probability of each fault to be a mark of the repeat, and how much likelier its phase is for one.

    f(phase) = w g(phase - mu_r) + (1 - w): g a wrapped normal (as von Mises) of one scatter s for all reels, mu_r the
    phase of reel r. P_i = w g_i / (w g_i + 1 - w), mu_r weighed by the other faults of the reel, s and w by all
    reels; before, each phase, share w and log s is as likely as another.

    Args:
        reels: for each reel the places of its faults [m].
        period_m: the period [m].
        least_sd_m: scatter that electrode and place alone give [m].

    Returns:
        For each reel the probabilities, and the likelihood ratios g_i; of a lone fault the share of marks, and 1.

    Derived (Bayes' rule, a mixture of a wrapped normal and the uniform distribution).
    """
    phases = [2.0 * np.pi * np.asarray(one, dtype=np.float64) / period_m for one in reels]
    least = min(max(2.0 * np.pi * least_sd_m / period_m, 0.02), 0.9 * _WIDEST)
    scatters = np.geomspace(least, _WIDEST, 10)
    log = np.zeros((scatters.size, _SHARES.size))
    told = [np.zeros((scatters.size, _SHARES.size, 2, one.size)) for one in phases]
    for k, phase in enumerate(phases):
        for s, scatter in enumerate(scatters.tolist()):
            for w, share in enumerate(_SHARES.tolist()):
                log[s, w] += _reel(phase, scatter, share, told[k][s, w])
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    both = [np.tensordot(weight, one, axes=2) for one in told]
    return [one[0] for one in both], [one[1] for one in both]


def _reel(phase: Floats, scatter: float, share: float, out: Floats) -> float:
    """Log likelihood of one reel's phases; `out` takes the faults' probabilities and ratios."""
    if phase.size == 0:
        return 0.0
    kappa = 1.0 / (2.0 * (1.0 - np.exp(-scatter * scatter / 2.0)))
    middle = np.linspace(0.0, 2.0 * np.pi, _PHASES, endpoint=False)
    likely = np.exp(kappa * (np.cos(phase[:, None] - middle) - 1.0)) / special.i0e(kappa)
    log = np.log(share * likely + 1.0 - share)
    total = log.sum(axis=0)
    others = total - log
    others = np.exp(others - others.max(axis=1, keepdims=True))
    out[1] = (others * likely).sum(axis=1) / others.sum(axis=1) if phase.size > 1 else 1.0
    out[0] = share * out[1] / (share * out[1] + 1.0 - share)
    top = float(total.max())
    return top + float(np.log(np.exp(total - top).mean()))
