"""What does a line know that measures diameter only?

Its mean wall, with the conductor's diameter. Not where the wall is thin: a diameter does not change when the
conductor sits off centre. A minimum wall from such a line is refused, except that a mean wall at or under the
limit is a certain failure.
"""

from __future__ import annotations

from typing import Literal

from pipeline.messages import message
from pipeline.methods import Method
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Refused


def minimum_wall_verdict(
    mean_wall_mm: float, mean_sd_mm: float, limit_mm: float
) -> Literal["fails"] | Refused:
    """The verdict on a minimum wall at any point that a diameter allows: a certain failure, or none.

    Args:
        mean_wall_mm: mean wall from the diameter [mm].
        mean_sd_mm: its standard uncertainty [mm].
        limit_mm: minimum wall at any point [mm].

    Returns:
        'fails' where the mean wall itself is at or under the limit by more than its uncertainty (one-sided
        95 %); otherwise the refusal. It never passes.
    """
    if mean_wall_mm + 1.645 * mean_sd_mm <= limit_mm:
        return "fails"
    return Refused(
        asks(Quantity.WALL_MINIMUM),
        message(Method.DIAMETER_ONLY),
        message(Reason.DIAMETER_ONLY),
        0,
    )
