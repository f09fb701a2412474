"""Does one laboratory result contradict the line's own?"""

from __future__ import annotations

import math


def normalized_difference(
    laboratory: float, laboratory_sd: float, line: float, line_sd: float, coverage_factor: float = 2.0
) -> float:
    """E_n = (x - X) / sqrt(U_x^2 + U_X^2) of a laboratory result and the line's own; above 1 in size they contradict.

    Args:
        laboratory: the laboratory's result x [any unit].
        laboratory_sd: its standard uncertainty [same unit].
        line: the line's result X for the same wire [same unit].
        line_sd: its standard uncertainty [same unit].
        coverage_factor: k of the expanded uncertainties U = k u.

    Returns:
        E_n; infinite where neither has an uncertainty and they differ.

    Source:
        ISO 13528, E_n score with k = 2 (clause from memory).
    """
    apart = laboratory - line
    expanded = coverage_factor * math.hypot(laboratory_sd, line_sd)
    if expanded == 0.0:
        return 0.0 if apart == 0.0 else math.copysign(math.inf, apart)
    return apart / expanded
