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


def mil_from_mm(mm: float) -> float:
    """Thickness in mil (0.001 in) [mil] from thickness `mm` [mm]; exact."""
    return mm / MM_PER_MIL


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
    import pint

    registry = _registry()
    text = _SPELLINGS.get(unit.strip(), unit.strip())
    target = _SPELLINGS.get(store_unit, store_unit)
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
