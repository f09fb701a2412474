"""Which readings stand alone far from their neighbours: Hampel's rule.

A reading is a spike if |x - m| > k 1.4826 max(MAD, floor), m the median of the 21 readings around it and MAD the
median of their distances from m. Source: F. R. Hampel, The influence curve and its role in robust estimation,
J. Amer. Statist. Assoc. 69 (1974) 383-393, for the median and MAD as a rule for outliers; window 21 and k = 5
because they flag 0.07 % of clean Gaussian noise, where the usual 7 and 3 flag 4.7 % (simulation).
Where it stops being true: a real thin spot shorter than ten readings looks the same, so a spike is not used in
statistics but stays in the judgement of the wire.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.logs.row_checks.grid import Numbers

Mask = NDArray[np.bool_]

WINDOW = 21
K = 5.0
# MAD times this is the standard deviation of Gaussian readings: 1 / Phi^-1(3/4).
MAD_TO_SD = 1.4826
_HALF = WINDOW // 2
_PART = 7
_BLOCK = 1 << 15

# A sorting network of 16 comparators for 7 values (D. E. Knuth, The Art of Computer Programming 3, section 5.3.4,
# gives 16 as the least number; a test proves it by the 0-1 principle).
NETWORK = (
    *((0, 6), (2, 3), (4, 5), (0, 2), (1, 4), (3, 6), (0, 1), (2, 5)),
    *((3, 4), (1, 2), (4, 6), (2, 3), (4, 5), (1, 2), (3, 4), (5, 6)),
)


def spikes(values: Numbers, floor: float) -> Mask:
    """True for every spike of `values`.

    Args:
        values: readings of one instrument in the order of the wire, without gaps, in any unit.
        floor: least MAD, the instrument's resolution, in the unit of `values`.
    """
    found = np.zeros(values.size, np.bool_)
    edge = min(values.size, _HALF)
    for place in {*range(edge), *range(values.size - edge, values.size)}:
        found[place] = _is_spike(values, place, floor)
    inner = values.size - 2 * _HALF
    for start in range(0, inner, _BLOCK):
        stop = min(inner, start + _BLOCK)
        found[start + _HALF : stop + _HALF] = _spikes_of_block(values[start : stop + 2 * _HALF], floor)
    return found


def _is_spike(values: Numbers, place: int, floor: float) -> bool:
    """Hampel's rule with the window cut at the ends of the readings."""
    window = values[max(0, place - _HALF) : place + _HALF + 1]
    middle = np.median(window)
    spread = max(float(np.median(np.abs(window - middle))), floor)
    return bool(abs(values[place] - middle) > K * MAD_TO_SD * spread)


def _spikes_of_block(values: Numbers, floor: float) -> Mask:
    """Hampel's rule for every reading with a whole window around it, without working out MAD.

    MAD is the 11th of 21 distances in order of size, so c MAD < d if and only if 11 of them are under d / c.
    """
    middle = rolling_median(values)
    own = np.abs(values[_HALF : values.size - _HALF] - middle)
    far: Mask = own > K * MAD_TO_SD * floor
    if values.dtype == np.int16:
        # Of whole numbers, c d < own means d is at most the last whole number under own / c.
        reach = (np.ceil(own / (K * MAD_TO_SD)) - 1.0).astype(np.int16)
        under = np.zeros(own.size, np.int8)
        distance = np.empty_like(own)
        for shift in range(WINDOW):
            np.subtract(values[shift : shift + own.size], middle, out=distance)
            under += np.abs(distance, out=distance) <= reach
        far &= under > _HALF
        return far
    # Fractions are slower to compare, so only readings that come this far are looked at.
    places = np.flatnonzero(far)
    at, own = middle[places], own[places]
    under = np.zeros(places.size, np.int8)
    for shift in range(WINDOW):
        under += K * MAD_TO_SD * np.abs(values[places + shift] - at) < own
    far[places] = under > _HALF
    return far


def rolling_median(values: Numbers) -> Numbers:
    """Exact median of every 21 successive values.

    Each window is three successive sevens. Every seven is sorted once, by a network of minima and maxima over
    whole arrays; of three sorted sevens the median needs only a few more.
    """
    sevens = [values[shift : values.size - _PART + 1 + shift] for shift in range(_PART)]
    for low, high in NETWORK:
        sevens[low], sevens[high] = (
            np.minimum(sevens[low], sevens[high]),
            np.maximum(sevens[low], sevens[high]),
        )
    count = values.size - WINDOW + 1
    ranks = [
        (seven[:count], seven[_PART : count + _PART], seven[2 * _PART : count + 2 * _PART])
        for seven in sevens
    ]
    # Lay the three sevens side by side and sort across: row a, column b has a*b values at most as large, and
    # (4-a)(8-b) at least as large. Only nine of the 21 places can hold the 11th value, in three sorted rows:
    # (lowest of the 5ths, of the 6ths, of the 7ths), (middles of the 3rds, 4ths, 5ths), (highest of the 1sts to 3rds).
    return _middle(
        _highest(_lowest(*ranks[4]), _middle(*ranks[2]), _highest(*ranks[0])),
        _middle(_lowest(*ranks[5]), _middle(*ranks[3]), _highest(*ranks[1])),
        _lowest(_lowest(*ranks[6]), _middle(*ranks[4]), _highest(*ranks[2])),
    )


def _middle(a: Numbers, b: Numbers, c: Numbers) -> Numbers:
    middle: Numbers = np.maximum(np.minimum(a, b), np.minimum(np.maximum(a, b), c))
    return middle


def _highest(a: Numbers, b: Numbers, c: Numbers) -> Numbers:
    highest: Numbers = np.maximum(np.maximum(a, b), c)
    return highest


def _lowest(a: Numbers, b: Numbers, c: Numbers) -> Numbers:
    lowest: Numbers = np.minimum(np.minimum(a, b), c)
    return lowest
