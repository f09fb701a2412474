"""How likely does the wire conform at its worst reading? From what is on file of a requirement, in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pipeline.nonconformance.decision import conformance_probability


def chance_it_conforms(
    worst: float | None, limit: float | None, uncertainty: float | None, sense: str
) -> float | None:
    """Probability that the true value conforms (JCGM 106:2012, 7.3, flat prior, normal errors).

    Args:
        worst: the worst reading.
        limit: the limit [same unit].
        uncertainty: standard uncertainty of a reading [same unit].
        sense: ``at least`` or ``at most``.

    Returns:
        None where one of them is not on file. The worst of many readings was picked, so it is a lower bound.
    """
    if worst is None or limit is None or not uncertainty:
        return None
    if sense == "at least":
        return conformance_probability(worst, uncertainty, lower=limit)
    return conformance_probability(worst, uncertainty, upper=limit)


def chance_shown(chance: float) -> str:
    """A probability as pages and commands print it."""
    return "under 0.001" if chance < 0.001 else "over 0.999" if chance > 0.999 else f"{chance:.3f}"


def risk_told(row: Mapping[str, Any]) -> str:
    """The risk of what is said of a requirement on a reel, "" where it cannot be told.

    Where nothing is concluded the worst reading is of part of the wire, and no chance of the reel's can be told by it.

    Args:
        row: a row of ``judged.requirement``.
    """
    if row["verdict"] == "no conclusion":
        return ""
    chance = chance_it_conforms(row["worst"], row["limit_value"], row["uncertainty"], row["sense"])
    if chance is None:
        return ""
    return f"{chance_shown(chance)} that it conforms at its worst reading"
