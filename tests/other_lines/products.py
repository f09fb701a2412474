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

# The same code table and Class B diameters (both from memory); least walls are the invented plant's, nine tenths.
XHHW4 = Made("XHHW-2", "4 AWG", "concentric", 5.893, 45, 40, None, UL44, XHHW)
XHHW4_0 = Made("XHHW-2", "4/0 AWG", "concentric", 13.411, 55, 49.5, None, UL44, XHHW, plant_point=True)
XHHW250 = Made("XHHW-2", "250 kcmil", "concentric", 14.605, 65, 58.5, None, UL44, XHHW, plant_point=True)
XHHW500 = Made("XHHW-2", "500 kcmil", "concentric", 20.650, 65, 58.5, None, UL44, XHHW, plant_point=True)
XHHW1000 = Made("XHHW-2", "1000 kcmil", "concentric", 29.261, 80, 72, None, UL44, XHHW)
USE1_0 = Made("USE-2", "1/0 AWG", "concentric", 9.474, 80, 72, None, UL854, ("USE-2",), plant_point=True)
USE750 = Made("USE-2", "750 kcmil", "concentric", 25.349, 110, 99, None, UL854, ("USE-2",), plant_point=True)
THHN4 = Made("THHN/THWN-2", "4 AWG", "concentric", 5.893, 40, 36, 6, UL83, THHN)
THHN1_0 = Made("THHN/THWN-2", "1/0 AWG", "concentric", 9.474, 50, 45, 7, UL83, THHN)
THHN500 = Made("THHN/THWN-2", "500 kcmil", "concentric", 20.650, 60, 54, 8, UL83, THHN)

EVERY: tuple[Made, ...] = (
    THHN14, THHN12, THHN10, THHN8, THHN4, THHN1_0, THHN500, XHHW12, XHHW10, XHHW8, XHHW4, XHHW2_0, XHHW4_0, XHHW250,
    XHHW500, XHHW1000, USE6, USE1_0, USE2_0, USE750, RW90_2_0,
)  # fmt: skip
MADE_ON: dict[str, tuple[Made, ...]] = {
    "Q2": (THHN14, THHN12),
    "K7": (XHHW2_0, USE2_0, RW90_2_0),
    "N5": (THHN10, THHN8),
    "T1": (XHHW12, XHHW8, USE6),
    "D1": (XHHW10,),
}
