"""Which conductor sizes are on file, what they are called, and how large they are.

Sizes run from 14 AWG to 1000 kcmil as in the wire code (NFPA 70-2014, Chapter 9 Table 8). The gauge follows
ASTM B258: d = 0.005 in x 92^((36 - n)/39) for number n, with 1/0 = 0, 2/0 = -1, 3/0 = -2, 4/0 = -3.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import lru_cache

from pipeline.errors import Complaint, NotFoundError
from pipeline.products.source_standing import SourceStanding
from pipeline.products.table_rows import Figure, Row, document_of, sources_of, table_rows
from pipeline.units import MM_PER_INCH

MM2_PER_KCMIL = math.pi / 4.0 * MM_PER_INCH**2 / 1000.0
_AUGHTS = {"0": "1/0", "00": "2/0", "000": "3/0", "0000": "4/0"}


@dataclass(frozen=True, slots=True)
class Size:
    """A conductor size.

    Args:
        name: as this program writes it, for example ``14 AWG``, ``1/0 AWG`` or ``500 kcmil``.
        order: its place from the smallest, 0 for 14 AWG.
        kcmil: area in thousands of circular mils, the wire code's figure.
        area_mm2: the same area [mm2].
    """

    name: str
    order: int
    kcmil: float
    area_mm2: float


@lru_cache(maxsize=1)
def all_sizes() -> tuple[Size, ...]:
    """Every size on file, from the smallest."""
    return tuple(
        Size(row["size"], order, float(row["kcmil"]), float(row["kcmil"]) * MM2_PER_KCMIL)
        for order, row in enumerate(table_rows("sizes"))
    )


def awg_diameter_in(number: int) -> float:
    """Diameter of a solid wire of gauge `number` [in]: d = 0.005 x 92^((36 - n)/39).

    Args:
        number: gauge number; 0 for 1/0, -1 for 2/0, -2 for 3/0, -3 for 4/0.

    Source: ASTM B258 (scope and formula as quoted in public copies). Exact by definition of the gauge.
    """
    return 0.005 * math.pow(92.0, (36 - number) / 39)


def _spelled(text: str) -> str:
    """A size as people write it, brought to this program's spelling where that is plain."""
    plain = re.sub(r"\s+", " ", text.strip().lower().replace("#", " ").replace("mcm", "kcmil")).strip()
    unit = "kcmil" if "kcmil" in plain else "AWG" if "awg" in plain else ""
    number = re.sub(r"(kcmil|awg|no\.?)", "", plain).strip()
    number = _AUGHTS.get(number, number)
    if not unit:
        unit = "kcmil" if number.isdigit() and int(number) >= 100 else "AWG"
    return f"{number} {unit}"


def _kcmil(name: str) -> float | None:
    """Area of any gauge or kcmil size, on file or not, for saying which size is nearest."""
    number, _, unit = name.partition(" ")
    try:
        if unit == "kcmil":
            return float(number)
        gauge = 1 - int(number[:-2]) if number.endswith("/0") else int(number)
        return 1000.0 * awg_diameter_in(gauge) ** 2
    except (ValueError, OverflowError):
        return None


def size_named(text: str, where: str = "size") -> Size:
    """The size that `text` names; ``#12``, ``12``, ``AWG 12``, ``000`` and ``500 MCM`` are understood.

    Args:
        text: the size as written.
        where: the place to name in a complaint.

    Raises:
        NotFoundError: no such size is on file; the complaint names the nearest.
    """
    name = _spelled(text)
    sizes = all_sizes()
    for size in sizes:
        if size.name == name:
            return size
    ends = f"Sizes on file run from {sizes[0].name} to {sizes[-1].name}"
    area = _kcmil(name)
    if area is None or not 0.0 < area < math.inf:
        remedy = f"{ends}; write it like 12 AWG, 1/0 AWG or 500 kcmil"
    else:
        nearest = min(sizes, key=lambda size: abs(math.log(size.kcmil / area)))
        remedy = f"The nearest is {nearest.name}. {ends}"
    raise NotFoundError(Complaint(where, f"'{text}' is not a conductor size on file", remedy))


def area_figure(size: Size) -> Figure:
    """Area of a size with its source."""
    row = _row(size)
    return Figure(
        name="conductor area",
        value=size.area_mm2,
        low=size.area_mm2,
        high=size.area_mm2,
        unit="mm2",
        record=f"{row['kcmil']} kcmil",
        document=document_of(row),
        sources=sources_of(row),
        standing=SourceStanding(row["standing"]),
        note=row["note"],
    )


def _row(size: Size) -> Row:
    return table_rows("sizes")[size.order]
