"""What numbers a method may be handed: finite, positive, in range, or a complaint that says what is wrong."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from pipeline.errors import Complaint, MethodRefusal

# NumPy is loaded by checks of arrays only: commands that read a few figures start without it.
if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike, NDArray


def readings(values: ArrayLike, where: str) -> NDArray[np.float64]:
    """The values as one row of numbers, not-a-number kept as "no reading".

    Args:
        values: the numbers.
        where: the argument's name, for the complaint.

    Raises:
        MethodRefusal: a value is infinite, no number, or the values are not one row.
    """
    import numpy as np

    try:
        row = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError):
        raise MethodRefusal(
            Complaint(where, "holds something that is no number", "Give numbers only")
        ) from None
    if row.ndim != 1:
        raise MethodRefusal(
            Complaint(where, f"has {row.ndim} dimensions", "Give one row of numbers, one for each item")
        )
    infinite = int(np.isinf(row).sum())
    if infinite:
        raise MethodRefusal(
            Complaint(
                where,
                f"{infinite} of {row.size} values are infinite",
                "Give finite numbers; leave a value that is not known as not-a-number",
            )
        )
    return row


def whole_readings(values: ArrayLike, where: str) -> NDArray[np.float64]:
    """The values as one row of numbers, none of them missing.

    Raises:
        MethodRefusal: as `readings`, or a value is not-a-number.
    """
    import numpy as np

    row = readings(values, where)
    missing = int(np.isnan(row).sum())
    if missing:
        raise MethodRefusal(
            Complaint(
                where,
                f"{missing} of {row.size} values are not-a-number",
                "Leave out items without a value before this method and say how many were left out",
            )
        )
    return row


def counts(values: ArrayLike, where: str) -> NDArray[np.float64]:
    """The values as whole numbers from 0.

    Raises:
        MethodRefusal: as `whole_readings`, or a value is negative or not whole.
    """
    import numpy as np

    row = whole_readings(values, where)
    wrong = row[(row < 0) | (row != np.floor(row))]
    if wrong.size:
        raise MethodRefusal(
            Complaint(where, f"{wrong[0]:g} is no count", "A count is a whole number from 0 upwards")
        )
    return row


def positive_readings(values: ArrayLike, where: str, unit: str) -> NDArray[np.float64]:
    """The values as numbers above 0.

    Raises:
        MethodRefusal: as `whole_readings`, or a value is 0 or less.
    """
    row = whole_readings(values, where)
    wrong = row[row <= 0]
    if wrong.size:
        raise MethodRefusal(
            Complaint(where, f"{wrong[0]:g} {unit} is not above 0".replace("  ", " "), "Give values above 0")
        )
    return row


def positive(value: float, where: str, unit: str = "") -> float:
    """The value, if it is a finite number above 0.

    Raises:
        MethodRefusal: it is not.
    """
    if not (math.isfinite(value) and value > 0):
        raise MethodRefusal(
            Complaint(where, f"{value:g} {unit}".strip() + " was given", "Give a finite number above 0")
        )
    return float(value)


def not_negative(value: float, where: str, unit: str = "") -> float:
    """The value, if it is a finite number from 0 upwards.

    Raises:
        MethodRefusal: it is not.
    """
    if not (math.isfinite(value) and value >= 0):
        raise MethodRefusal(
            Complaint(
                where, f"{value:g} {unit}".strip() + " was given", "Give a finite number from 0 upwards"
            )
        )
    return float(value)


def share(value: float, where: str) -> float:
    """The value, if it lies between 0 and 1, both left out (a confidence, a probability).

    Raises:
        MethodRefusal: it does not.
    """
    if not 0.0 < value < 1.0:
        raise MethodRefusal(
            Complaint(where, f"{value:g} was given", "Give a share between 0 and 1, such as 0.95 for 95 %")
        )
    return float(value)
