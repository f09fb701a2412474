"""What an extrusion line is made of: instruments and where they stand, and what turns.

Distances are along the wire from the insulation die [m]; negative is before the die.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, model_validator

from pipeline.sheets.toml_file import Sheet, read_sheet

# Nobody spark-tests wire so near to the die [m], for it is still soft there (common practice, no source).
SOFT_M = 1.0
InstrumentKind = Literal[
    "encoder",
    "conductor gauge",
    "hot diameter gauge",
    "wall gauge",
    "cold diameter gauge",
    "spark tester",
    "surface vision",
    "melt sensors",
]
ElementKind = Literal["screw", "capstan", "roll", "sheave", "accumulator", "take-up"]
Sees = Literal["insulation", "insulation and covering"]
BoltSense = Literal["in pushes away", "in draws closer"]

Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]


class Instrument(Sheet):
    """One instrument of the line.

    Args:
        id: plant's number of the instrument.
        kind: what it is.
        station_m: distance along the wire from the die [m].
        interval_s: time between readings [s].
        window_m: wire one reading averages over, beyond speed x interval [m]; an electrode's length.
        resolution_mm: smallest step it shows [mm] (diameter and wall gauges).
        uncertainty_mm: standard uncertainty of one reading [mm] (diameter and wall gauges).
        reads: whether a reading is the mean of the wire since the one before (`mean`) or a spot of it (`spot`); left
            out where that is not known. What a spot gauge did not see may have passed between its readings.
        scale_pct: standard uncertainty of the length an encoder counts [%]; the default is common practice, no source.
        sensors: number of wall sensors, equally spaced, 3 to 16: fewer cannot tell how far off centre the wire is.
        first_angle_deg: angle of the first sensor from twelve o'clock, clockwise, looking against the travel.
        sees: which layers a wall reading takes in.
        largest_lobes_mm: largest lobes of the outside (second harmonic and up) seen in cut samples [mm]; taken off
            the thinnest wall where fewer than five sensors work, which cannot see them.
        frequency_hz: frequency of a spark tester's voltage; left out for direct current.
        direct_current: True for a spark tester with direct voltage.
        dead_time_s: time a spark tester needs before it can count again.
        calibrated: date of the last calibration.
        calibration_due: last day on which that calibration holds.
    """

    id: str
    kind: InstrumentKind
    station_m: float
    interval_s: Positive = 0.1
    window_m: NotNegative = 0.0
    resolution_mm: NotNegative = 0.001
    uncertainty_mm: NotNegative = 0.004
    reads: Literal["mean", "spot"] | None = None
    scale_pct: NotNegative = 0.2
    sensors: Annotated[int, Field(ge=3, le=16)] | None = None
    first_angle_deg: float = 0.0
    sees: Sees = "insulation"
    largest_lobes_mm: NotNegative | None = None
    frequency_hz: Positive | None = None
    direct_current: bool = False
    dead_time_s: NotNegative = 0.005
    calibrated: date | None = None
    calibration_due: date | None = None

    @model_validator(mode="after")
    def _whole(self) -> Instrument:
        if self.kind == "wall gauge" and self.sensors is None:
            raise ValueError("a wall gauge needs 'sensors', the number of its wall sensors")
        if self.direct_current and self.frequency_hz is not None:
            raise ValueError(
                "a direct voltage has no frequency; leave out 'frequency_hz' or 'direct_current'"
            )
        if self.calibrated and self.calibration_due and self.calibration_due < self.calibrated:
            raise ValueError("'calibration_due' is before 'calibrated'")
        return self


class Element(Sheet):
    """Something that turns and may leave its mark on the wire.

    Args:
        id: plant's name of the element.
        kind: what it is.
        circumference_m: wire length of one turn [m], for elements driven by the wire.
        period_s: time of one turn at the usual speed [s], for elements driven by their own motor.
        tolerance_pct: how well that is known [%].
    """

    id: str
    kind: ElementKind
    circumference_m: Positive | None = None
    period_s: Positive | None = None
    tolerance_pct: NotNegative = 1.0

    @model_validator(mode="after")
    def _one_measure(self) -> Element:
        if (self.circumference_m is None) == (self.period_s is None):
            raise ValueError("give either 'circumference_m' or 'period_s', and not both")
        return self


class Bolt(Sheet):
    """One centring bolt of the insulation crosshead.

    Args:
        id: plant's name of the bolt.
        angle_deg: where it stands, from twelve o'clock, clockwise, looking against the travel [deg].
        sense: what turning it in does to the part it moves.
        moves: the part it moves.
        um_per_turn: how far that part moves a turn [um]; left out where the plant has not measured it.
    """

    id: str
    angle_deg: float
    sense: BoltSense
    moves: Literal["die", "tip"] = "die"
    um_per_turn: Positive | None = None


class Ceilings(Sheet):
    """Greatest settings the plant allows on the line; no recommendation goes beyond them.

    Args:
        line_speed_m_s: line speed [m/s].
        screw_speed_rpm: screw speed of the insulation extruder [rpm].
        covering_screw_speed_rpm: screw speed of the covering extruder [rpm].
        melt_pressure_bar: melt pressure at the crosshead [bar].
        melt_temperature_c: melt temperature at the crosshead [deg C].
    """

    line_speed_m_s: Positive | None = None
    screw_speed_rpm: Positive | None = None
    covering_screw_speed_rpm: Positive | None = None
    melt_pressure_bar: Positive | None = None
    melt_temperature_c: Positive | None = None


class Tooling(Sheet):
    """Die and tip that make one layer of one product.

    Args:
        layer: which layer.
        construction: the product's construction.
        size: its conductor size.
        method: pressure tooling (melt meets the conductor inside the die) or tube tooling (drawn down on it).
        die_mm: bore of the die [mm].
        tip_mm: outer diameter of the tip for tube tooling, its bore for pressure tooling [mm].
    """

    layer: Literal["insulation", "covering"]
    construction: str
    size: str
    method: Literal["pressure", "tube"]
    die_mm: Positive
    tip_mm: Positive

    @model_validator(mode="after")
    def _open(self) -> Tooling:
        if self.tip_mm >= self.die_mm:
            raise ValueError(
                f"the tip, {self.tip_mm:g} mm, is not smaller than the die, {self.die_mm:g} mm; "
                "check 'tip_mm' and 'die_mm'"
            )
        return self


class MassBalance(Sheet):
    """What the insulation extruder delivers for one product, where the plant has weighed it.

    Args:
        construction: the product's construction.
        size: its conductor size.
        output_mm3_per_turn: volume one turn of the screw delivers [mm3].
        uncertainty_pct: standard uncertainty of that volume [%].
        valleys_mm2: area that plastic fills under the circle of a stranded conductor, fitted from mass [mm2].
        basis: how it was found.
    """

    construction: str
    size: str
    output_mm3_per_turn: Positive
    uncertainty_pct: Annotated[float, Field(gt=0, le=100)]
    valleys_mm2: NotNegative = 0.0
    basis: str


class LineSheet(Sheet):
    """A line as its sheet describes it.

    Bolts, ceilings, tooling and the wire made until the crosshead's content is renewed [m] are needed for tuning only
    and may be left out, and so may mass balances.
    `accumulator_unsure_m` is the half-range of wire an accumulator before the take-up may hold at a reel change, where
    its content is not logged [m]: wire that near a reel's end counts as being on both reels.

    Args:
        id: the line's number, as run sheets name it.
        name: its name on pages.
        plant: the plant it stands in.
        revision: revision of this sheet.
        take_up_station_m: wire between the die and the take-up [m].
        accumulator_unsure_m: half-range of wire an accumulator before the take-up may hold at a reel change [m].
        instruments: what reads the wire, and where each stands.
        elements: what turns with the wire and may leave its mark on it.
        bolts: bolts that centre the die.
        ceilings: how far each setting may go.
        tooling: tips and dies, by size.
        mass_balances: what a turn of the screw gives, by product.
        purge_m: wire made until the crosshead's content is renewed [m].
    """

    id: str
    name: str
    plant: str
    revision: str
    take_up_station_m: Positive
    accumulator_unsure_m: NotNegative = 0.0
    instruments: tuple[Instrument, ...]
    elements: tuple[Element, ...] = ()
    bolts: tuple[Bolt, ...] = ()
    ceilings: Ceilings | None = None
    tooling: tuple[Tooling, ...] = ()
    mass_balances: tuple[MassBalance, ...] = ()
    purge_m: Positive | None = None

    @model_validator(mode="after")
    def _whole(self) -> LineSheet:
        names = [one.id for one in self.instruments] + [one.id for one in self.elements]
        names += [one.id for one in self.bolts]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"the id {', '.join(twice)} stands more than once")
        if "encoder" not in {one.kind for one in self.instruments}:
            raise ValueError("a line needs an instrument of kind 'encoder': without it nothing has a place")
        beyond = [one.id for one in self.instruments if one.station_m > self.take_up_station_m]
        if beyond:
            raise ValueError(
                f"{', '.join(beyond)} stands beyond the take-up at {self.take_up_station_m:g} m; "
                "check 'station_m' and 'take_up_station_m'"
            )
        order = [
            one.station_m
            for kind in ("hot diameter gauge", "cold diameter gauge")
            for one in self.instruments
            if one.kind == kind
        ]
        if order != sorted(order):
            raise ValueError("a hot diameter gauge stands after a cold one; check 'station_m'")
        hot = max(
            (one.station_m for one in self.instruments if one.kind == "hot diameter gauge"), default=0.0
        )
        soft = [
            f"{one.id} at {one.station_m:g} m"
            for one in self.instruments
            if one.kind == "spark tester" and one.station_m < max(SOFT_M, hot)
        ]
        if soft:
            raise ValueError(
                f"{', '.join(soft)} from the die would test insulation that is still soft; check 'station_m'"
            )
        return self

    def instrument(self, kind: str) -> Instrument | None:
        """The line's first instrument of that kind, or None where it has none."""
        return next((one for one in self.instruments if one.kind == kind), None)

    def mass_balance(self, construction: str, size: str) -> MassBalance | None:
        """What the screw delivers for a product, None where the plant has not weighed it."""
        return next(
            (one for one in self.mass_balances if (one.construction, one.size) == (construction, size)), None
        )


class _LineFile(Sheet):
    line: LineSheet


def read_line_sheet(path: Path) -> LineSheet:
    """The line sheet in the TOML file `path`.

    Raises:
        SheetError: the sheet cannot be read or is not whole.
    """
    return read_sheet(path, _LineFile).line
