"""What a conductor of a size must be: how it is made, its diameter, limits of diameter, and resistance.

Dimensions are looked up in the tables; a combination for which no source gives a dimension is refused.
"""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.errors import Complaint, NotFoundError
from pipeline.products.materials import material_figure
from pipeline.products.sizes import Size
from pipeline.products.source_standing import SourceStanding
from pipeline.products.table_rows import Figure, Row, figure_of, table_rows
from pipeline.units import M_PER_FOOT, MM_PER_INCH

CONDUCTORS: tuple[str, ...] = ("solid", "concentric", "compressed", "compact")
METALS: tuple[str, ...] = ("copper", "aluminum")
# Spelled as the wire standards do; other spellings are read too.
METALS_SPELLED = {"aluminium": "aluminum"}
_NO_DIAMETER = {
    "solid": "ASTM B258 gauges solid wire only to 4/0 AWG",
    "compact": "the wire code's Table 5A (NFPA 70-2014, Chapter 9) has no bare area for it",
}


@dataclass(frozen=True, slots=True)
class Conductor:
    """A conductor of one size, make and metal.

    Args:
        make: solid, concentric, compressed or compact.
        metal: copper or aluminum.
        strand_class: B or C for stranded conductors, "" otherwise.
        strands: number of wires; None where it was not seen.
        diameter: nominal diameter [mm].
        minimum_diameter: least diameter allowed [mm]; None where no source gives one.
        maximum_diameter: greatest diameter allowed [mm]; None where no source gives one.
        resistance_75c: direct-current resistance at 75 degC [ohm/km]; None where no source gives one.
        temperature_coefficient: of resistance, at 75 degC [1/K].
        density: of the metal [g/cm3].
        increment_pct: mass added by stranding [%]; None for solid.
        cautions: sentences to show beside it.
    """

    make: str
    metal: str
    strand_class: str
    strands: int | None
    diameter: Figure
    minimum_diameter: Figure | None
    maximum_diameter: Figure | None
    resistance_75c: Figure | None
    temperature_coefficient: Figure
    density: Figure
    increment_pct: Figure | None
    cautions: tuple[str, ...]


def find_conductor(size: Size, make: str, metal: str, strand_class: str = "B") -> Conductor:
    """The conductor of a size as it must be.

    Args:
        size: the conductor size.
        make: solid, concentric, compressed or compact.
        metal: copper or aluminum.
        strand_class: B or C; matters for concentric strand only.

    Raises:
        NotFoundError: the make or metal is unknown, or no source on file gives its diameter.
    """
    metal = METALS_SPELLED.get(metal, metal)
    _known("conductor", make, CONDUCTORS)
    _known("metal", metal, METALS)
    if make == "concentric":
        _known("strand class", strand_class, ("B", "C"))
    row = _matching("conductors", size, make, strand_class)
    if row is None:
        others = [one for one in CONDUCTORS if _matching("conductors", size, one, strand_class)]
        raise NotFoundError(
            Complaint(
                "conductor",
                f"no source on file gives the diameter of a {make} conductor of {size.name}: "
                f"{_NO_DIAMETER.get(make, 'no table has it')}",
                f"Choose {', '.join(others[:-1])} or {others[-1]}",
            )
        )
    tolerance = _matching("conductor_tolerances", size, make, strand_class)
    solid = make == "solid"
    return Conductor(
        make=make,
        metal=metal,
        strand_class=row["strand_class"],
        strands=int(row["strands"]) if row["strands"] else None,
        diameter=figure_of(row, "conductor diameter", "diameter", "mm", MM_PER_INCH),
        minimum_diameter=_limit_of_diameter(tolerance, "minimum"),
        maximum_diameter=_limit_of_diameter(tolerance, "maximum"),
        resistance_75c=_resistance(size, metal, "solid" if solid else "stranded"),
        temperature_coefficient=material_figure(
            metal, "temperature coefficient of resistance at 75 degC", "1/K"
        ),
        density=material_figure(metal, "density", "g/cm3"),
        increment_pct=None if solid else material_figure(metal, "stranding increment", "%"),
        cautions=_cautions(size, make, metal, row),
    )


def resistance_ohm_km(conductor: Conductor, at_c: float) -> float | None:
    """Direct-current resistance [ohm/km] at temperature `at_c` [degC]: R2 = R1 [1 + a (T2 - 75)].

    Args:
        conductor: the conductor.
        at_c: conductor temperature [degC]; the formula is linear and meant for about 0 to 100 degC.

    Returns:
        None where no resistance is on file.

    Source: NFPA 70-2014, Chapter 9, Table 8 with its note; a = 0.00323 copper, 0.00330 aluminum at 75 degC.
    """
    if conductor.resistance_75c is None:
        return None
    return conductor.resistance_75c.value * (1.0 + conductor.temperature_coefficient.value * (at_c - 75.0))


def _known(what: str, found: str, allowed: tuple[str, ...]) -> None:
    if found not in allowed:
        listed = f"{', '.join(allowed[:-1])} or {allowed[-1]}"
        raise NotFoundError(Complaint(what, f"'{found}' is not a {what} on file", f"It may be {listed}"))


def _matching(table: str, size: Size, make: str, strand_class: str) -> Row | None:
    for row in table_rows(table):
        if row["size"] == size.name and row["conductor"] == make:
            if make == "concentric" and row["strand_class"] != strand_class:
                continue
            return row
    return None


def _limit_of_diameter(row: Row | None, column: str) -> Figure | None:
    return None if row is None else figure_of(row, f"{column} conductor diameter", column, "mm", MM_PER_INCH)


def _resistance(size: Size, metal: str, form: str) -> Figure | None:
    for row in table_rows("resistances"):
        if (row["size"], row["metal"], row["form"]) == (size.name, metal, form):
            scale = 1000.0 / (1000.0 * M_PER_FOOT)
            return figure_of(row, "direct-current resistance at 75 degC", "value", "ohm/km", scale)
    return None


def _cautions(size: Size, make: str, metal: str, row: Row) -> tuple[str, ...]:
    found = []
    if row["standing"] == SourceStanding.MEMORY:
        found.append(f"The {make} conductor's dimensions are from memory: {row['note']}.")
    if make == "solid":
        found.append("No source on file gives limits for the diameter of a solid conductor.")
    if make == "compact":
        found.append("The resistance on file is the wire code's for stranded conductors, not for compact.")
        found.append(
            "The wire code's approximate diameters of insulated compact wire (Table 5A) lie 0 to 3.2 % over the "
            "diameter built up from conductor and walls."
        )
    if metal == "aluminum" and size.name == "14 AWG":
        found.append(
            "12 AWG is the smallest aluminum building wire in the wire code (Table 310.106(A), from memory: "
            "verify); 14 AWG aluminum is shown for comparison only."
        )
    return tuple(found)
