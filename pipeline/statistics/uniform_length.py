"""What are the readings at equal steps along the wire, where speed made the steps unequal?

Linear interpolation, with gaps kept as gaps. Derived; needs no source. Interpolation weakens swings with a period
near twice the step, by the square of the sinc at most.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.arguments import checked
from pipeline.errors import Complaint, MethodRefusal
from pipeline.samples import positive, readings


@checked
def on_uniform_length(at_m: ArrayLike, values: ArrayLike, step_m: float) -> NDArray[np.float64]:
    """Values at equal steps along the wire by linear interpolation; not-a-number across gaps over 2.5 steps.

    Args:
        at_m: positions, rising [m].
        values: readings there; not-a-number where there is none.
        step_m: the step [m], not under the usual distance of readings.
    """
    at, value = readings(at_m, "at_m"), readings(values, "values")
    step = positive(step_m, "step_m", "m")
    if at.size != value.size:
        raise MethodRefusal(
            Complaint("at_m", f"{at.size} places for {value.size} values", "Give one for each")
        )
    known = ~(np.isnan(at) | np.isnan(value))
    at, value = at[known], value[known]
    if at.size and (np.diff(at) < 0).any():
        raise MethodRefusal(Complaint("at_m", "runs backwards", "Give readings in the order of the wire"))
    if at.size < 2:
        return value
    grid = np.arange(at[0], at[-1] + 1e-9 * step, step)
    smooth = np.interp(grid, at, value)
    after = np.clip(np.searchsorted(at, grid, side="left"), 1, at.size - 1)
    gap = (at[after] - at[after - 1] > 2.5 * step) & (grid > at[after - 1]) & (grid < at[after])
    return np.asarray(np.where(gap, np.nan, smooth), dtype=np.float64)
