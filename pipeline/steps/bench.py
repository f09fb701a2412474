"""What every judgement of one run needs: its sheets, its limits, and what was measured."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from pipeline.nonconformance.decision import DecisionRule
from pipeline.nonconformance.rules import Rule
from pipeline.products.limits import Limit, Missing, limits_in_force, missing_requirements
from pipeline.products.product import Product
from pipeline.sheets.line_sheet import LineSheet
from pipeline.sheets.plant_sheet import PlantSheet
from pipeline.sheets.run_sheet import RunSheet
from pipeline.steps.evidence import Seen
from pipeline.steps.measure import Measured
from pipeline.steps.place import Placed


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

    def rule_of(self, requirement: str) -> DecisionRule:
        """The plant's decision rule for a requirement."""
        chosen = self.plant.decision_for(requirement)
        if chosen.rule == "guard band":
            return DecisionRule("guard band", chosen.confidence)
        return DecisionRule("simple acceptance")

    def seen_for(self, rule: Rule) -> Seen | None:
        """The quantity a rule reads, None where the line does not measure it."""
        return self.measured.seen.get(rule.column)


def bench_of(
    run: RunSheet,
    line: LineSheet,
    plant: PlantSheet,
    product: Product,
    on: date,
    placed: Placed,
    measured: Measured,
) -> Bench:
    """The bench for a run made on the day `on`, with the limits in force then and those that are missing."""
    certified = plant.requirement_sets_of(product.family)
    return Bench(
        run,
        line,
        plant,
        product,
        on,
        placed,
        measured,
        limits_in_force(product, on, plant.limit_rows, certified),
        missing_requirements(product, on, plant.limit_rows, certified),
    )
