"""What the other lines make: dimensions and limits of each wire, written down apart from the program's tables.

Average walls: NFPA 70 (2023), Table 310.4(1) for the UL types, as published sheets of the trade print them; least walls
at any point beside them: published appliance-wire style pages. USE-2 and RW90 walls: the same code table and the
Canadian code's. Where no public figure was seen the limit is the invented plant's own. Conductor diameters: ASTM B258
for solid wire; for stranded wire the usual Class B figures (from memory), used here only to make wire.
"""

from __future__ import annotations

from dataclasses import dataclass

MIL = 0.0254


@dataclass(frozen=True)
class Made:
    """A wire: walls in mil, conductor in mm; `plant` are requirements whose limit only the plant can enter."""

    construction: str
    size: str
    make: str
    conductor_mm: float
    average_mil: float
    point_mil: float
    covering_mil: float | None
    sets: tuple[str, ...]
    types: tuple[str, ...]
    plant_point: bool = False

    @property
    def average_mm(self) -> float:
        return self.average_mil * MIL

    @property
    def point_mm(self) -> float:
        return self.point_mil * MIL

    @property
    def covering_mm(self) -> float | None:
        return None if self.covering_mil is None else self.covering_mil * MIL


UL83, UL44, UL854, C38 = ("UL 83",), ("UL 44",), ("UL 854",), ("CSA C22.2 No. 38, 1000 V",)
THHN, XHHW = ("THHN", "THWN-2"), ("XHHW-2",)

THHN14 = Made("THHN/THWN-2", "14 AWG", "solid", 1.628, 15, 13, 4, UL83, THHN)
THHN12 = Made("THHN/THWN-2", "12 AWG", "solid", 2.052, 15, 13, 4, UL83, THHN)
THHN10 = Made("THHN/THWN-2", "10 AWG", "concentric", 2.934, 20, 18, 4, UL83, THHN)
THHN8 = Made("THHN/THWN-2", "8 AWG", "concentric", 3.701, 30, 27, 5, UL83, THHN)
XHHW12 = Made("XHHW-2", "12 AWG", "solid", 2.052, 30, 27, None, UL44, XHHW)
XHHW8 = Made("XHHW-2", "8 AWG", "compressed", 3.589, 45, 40, None, UL44, XHHW)
XHHW2_0 = Made("XHHW-2", "2/0 AWG", "compressed", 10.312, 55, 50, None, UL44, XHHW, plant_point=True)
XHHW10 = Made("XHHW-2", "10 AWG", "solid", 2.588, 30, 27, None, UL44, XHHW)
USE6 = Made("USE-2", "6 AWG", "compressed", 4.526, 60, 54, None, UL854, ("USE-2",), plant_point=True)
USE2_0 = Made("USE-2", "2/0 AWG", "compressed", 10.312, 80, 72, None, UL854, ("USE-2",), plant_point=True)
RW90_2_0 = Made(
    "RW90-1000V", "2/0 AWG", "compressed", 10.312, 80, 72, None, C38, ("RW90-1000V",), plant_point=True
)

MADE_ON: dict[str, tuple[Made, ...]] = {
    "Q2": (THHN14, THHN12),
    "K7": (XHHW2_0, USE2_0, RW90_2_0),
    "N5": (THHN10, THHN8),
    "T1": (XHHW12, XHHW8, USE6),
    "D1": (XHHW10,),
}
