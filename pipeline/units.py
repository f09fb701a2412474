"""Which unit a figure is in, and exact conversion at the door and on the page.

The store is metric (mm, m, s, deg C, bar, kV). Logs are converted when read through the pint units library;
the constants here are the exact definitions used on pages: 1 in = 25.4 mm and 1 ft = 0.3048 m
(international yard and pound agreement, 1959; NIST SP 811, appendix B.8).
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

from pipeline.errors import Complaint, ReelproofError

if TYPE_CHECKING:
    import pint

MM_PER_INCH = 25.4
MM_PER_MIL = 0.0254
M_PER_FOOT = 0.3048

_SPELLINGS = {
    "mil": "thou",
    "mils": "thou",
    '"': "inch",
    "um": "micrometer",
    "µm": "micrometer",
    "°C": "degC",
    "C": "degC",
    "degc": "degC",
    "°F": "degF",
    "F": "degF",
    "degf": "degF",
    "fpm": "foot / minute",
    "mpm": "meter / minute",
    "rpm": "revolution / minute",
    "RPM": "revolution / minute",
    "1": "dimensionless",
    "": "dimensionless",
}
# A count a minute of a screw is its turns a minute; the units library takes a bare count for radians.
_TURNS = {
    "1/min": "revolution / minute",
    "min-1": "revolution / minute",
    "min^-1": "revolution / minute",
    "rev/min": "revolution / minute",
    "r/min": "revolution / minute",
    "1/s": "revolution / second",
    "rev/s": "revolution / second",
    "Hz": "revolution / second",
}
# What plants log in, as the units library converts it (tests hold the two together): loading it costs a second,
# which most commands need not spend. Any other unit is still asked of it.
_USUAL = {
    ("mm", "mm"): (1.0, 0.0),
    ("thou", "mm"): (0.0254, 0.0),
    ("in", "mm"): (25.4, 0.0),
    ("inch", "mm"): (25.4, 0.0),
    ("micrometer", "mm"): (0.001, 0.0),
    ("cm", "mm"): (10.0, 0.0),
    ("m", "m"): (1.0, 0.0),
    ("ft", "m"): (0.30479999999999996, 0.0),
    ("foot", "m"): (0.30479999999999996, 0.0),
    ("km", "m"): (1000.0, 0.0),
    ("mm", "m"): (0.001, 0.0),
    ("m/s", "m/s"): (1.0, 0.0),
    ("m/min", "m/s"): (0.016666666666666666, 0.0),
    ("meter / minute", "m/s"): (0.016666666666666666, 0.0),
    ("ft/min", "m/s"): (0.0050799999999999994, 0.0),
    ("foot / minute", "m/s"): (0.0050799999999999994, 0.0),
    ("degC", "degC"): (1.0, 0.0),
    ("degF", "degC"): (0.5555555555555556, -17.777777777777743),
    ("bar", "bar"): (1.0, 0.0),
    ("psi", "bar"): (0.06894757293168365, 0.0),
    ("MPa", "bar"): (10.0, 0.0),
    ("kPa", "bar"): (0.01, 0.0),
    ("kV", "kV"): (1.0, 0.0),
    ("V", "kV"): (0.001, 0.0),
    ("revolution / minute", "revolution / minute"): (1.0, 0.0),
    ("revolution / second", "revolution / minute"): (60.0, 0.0),
    ("dimensionless", "dimensionless"): (1.0, 0.0),
}


def mm_from_mil(mil: float) -> float:
    """Thickness in millimetres [mm] from thickness `mil` [mil]; exact."""
    return mil * MM_PER_MIL


def foot_from_m(m: float) -> float:
    """Length in feet [ft] from length `m` [m]; exact."""
    return m / M_PER_FOOT


def m_from_foot(foot: float) -> float:
    """Length in metres [m] from length `foot` [ft]; exact."""
    return foot * M_PER_FOOT


@lru_cache(maxsize=1)
def _registry() -> pint.UnitRegistry[float]:
    import pint

    return pint.UnitRegistry(cache_folder=None)


def scale_and_offset(unit: str, store_unit: str, where: str) -> tuple[float, float]:
    """Factor and offset that turn a figure in `unit` into `store_unit`: stored = figure * factor + offset.

    Args:
        unit: the unit as written in a mapping, for example ``mil`` or ``ft/min``.
        store_unit: the unit of the data dictionary.
        where: the place to name in a complaint.

    Returns:
        ``(factor, offset)``, both exact to floating point.

    Raises:
        ReelproofError: the unit is unknown or measures another kind of quantity.
    """
    text = _SPELLINGS.get(unit.strip(), unit.strip())
    target = _SPELLINGS.get(store_unit, store_unit)
    if store_unit == "rpm":
        text = _TURNS.get(text, text)
    usual = _USUAL.get((text, target))
    return _by_library(text, target, unit, store_unit, where) if usual is None else usual


def _by_library(text: str, target: str, unit: str, store_unit: str, where: str) -> tuple[float, float]:
    """Factor and offset from the units library, for units in its spelling."""
    import pint

    registry = _registry()
    try:
        at_zero = registry.Quantity(0.0, text).to(target).magnitude
        at_thousand = registry.Quantity(1000.0, text).to(target).magnitude
    except pint.DimensionalityError:
        raise ReelproofError(
            Complaint(
                where,
                f"unit '{unit}' measures another kind of quantity than {store_unit}",
                f"Give a unit that converts to {store_unit}",
            )
        ) from None
    except Exception:
        raise ReelproofError(
            Complaint(
                where,
                f"'{unit}' is not a unit this program knows",
                "Write it like mm, mil, in, m, ft, m/s, ft/min, degC, degF, bar, psi, kV, V or rpm",
            )
        ) from None
    return (float(at_thousand) - float(at_zero)) / 1000.0, float(at_zero)
