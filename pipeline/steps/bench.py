"""What every judgement of one run needs: its sheets, its limits, and what was measured."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date

import numpy as np

from pipeline.length.intervals import merged
from pipeline.nonconformance.decision import DecisionRule
from pipeline.nonconformance.rules import Rule, with_severities
from pipeline.notes import Note
from pipeline.products.limits import Limit, Missing, limits_in_force, missing_requirements
from pipeline.products.product import Product
from pipeline.sheets.line_sheet import LineSheet
from pipeline.sheets.plant_sheet import PlantSheet
from pipeline.sheets.run_sheet import RunSheet
from pipeline.steps.evidence import Seen
from pipeline.steps.line_checks import LineChecks
from pipeline.steps.measure import WALL_NAMES, Measured, without_wire
from pipeline.steps.place import Placed
from pipeline.steps.sight import DIAMETER_NAMES


@dataclass(frozen=True, slots=True)
class Bench:
    """What every judgement of one run needs."""

    run: RunSheet
    line: LineSheet
    plant: PlantSheet
    product: Product
    on: date
    placed: Placed
    measured: Measured
    limits: tuple[Limit, ...]
    missing: tuple[Missing, ...]
    checks: LineChecks = field(default_factory=LineChecks)
    days: tuple[date, ...] = ()

    def rule_of(self, requirement: str) -> DecisionRule:
        """The plant's decision rule for a requirement."""
        chosen = self.plant.decision_for(requirement)
        if chosen.rule == "guard band":
            return DecisionRule("guard band", chosen.confidence)
        return DecisionRule("simple acceptance")

    @property
    def rules(self) -> dict[str, Rule]:
        """The rules with the plant's own severities."""
        return rules_of(self.plant)

    def seen_for(self, rule: Rule) -> Seen | None:
        """The quantity a rule reads, None where the line does not measure it."""
        return self.measured.seen.get(rule.column)


def rules_of(plant: PlantSheet) -> dict[str, Rule]:
    """The rules with a plant's own severities.

    Raises:
        SheetError: the plant's sheet names a rule that is not known, or a critical rule that holds nothing.
    """
    changes = {name: (one.severity, one.holds_release) for name, one in plant.severity.items()}
    return with_severities(changes, "plant sheet: severity")


def bench_of(
    run: RunSheet,
    line: LineSheet,
    plant: PlantSheet,
    product: Product,
    on: date,
    placed: Placed,
    measured: Measured,
    checks: LineChecks | None = None,
    days: tuple[date, ...] = (),
) -> Bench:
    """The bench for a run made on the day `on`, with the limits in force then and those that are missing.

    Phases are those the measured wall had its say in, splices are left out of statistics, and every sentence a reader
    must see is put together. `days` are all days the run ran on; `on` alone where left out.
    """
    checks = checks or LineChecks()
    lumps = np.array([(one.from_m, one.to_m) for one in checks.splices], dtype=np.float64).reshape(-1, 2)
    if lumps.size:
        seen = without_wire(measured.seen, merged(lumps), (*WALL_NAMES, *DIAMETER_NAMES), Note.LEFT_AT_SPLICE)
        measured = replace(measured, seen=seen)
    placed = replace(
        placed,
        placement=replace(placed.placement, phases=measured.phases),
        warnings=(*placed.warnings, *measured.warnings, *checks.warnings),
    )
    return Bench(
        run,
        line,
        plant,
        product,
        on,
        placed,
        measured,
        limits_in_force(product, on, plant.limit_rows, plant.certificate),
        missing_requirements(product, on, plant.limit_rows, plant.certificate),
        checks,
        days or (on,),
    )
