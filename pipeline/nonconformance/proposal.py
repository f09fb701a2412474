"""Which disposition does the program propose for a finding, for a person to take or leave?

Proposals are common practice, no source. They are words on a page: nothing is decided until a person does.
"""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.found import advice_of
from pipeline.nonconformance.decision import Verdict
from pipeline.nonconformance.disposition import Disposition
from pipeline.nonconformance.finding import Finding
from pipeline.nonconformance.rules import RULE_BY_ID
from pipeline.wording.say import named


@dataclass(frozen=True, slots=True)
class Proposal:
    """What the program would suggest.

    Args:
        disposition: None where something must be measured before anything can be decided.
        sentence: the suggestion and why, in words.
    """

    disposition: Disposition | None
    sentence: str


_BY_RULE: dict[str, tuple[Disposition, str]] = {
    "wall-point": ("scrap", "Cut the length out with clearance on both sides and scrap it"),
    "wall-average": ("scrap", "Cut the length out with clearance on both sides and scrap it"),
    "spark-fault": ("scrap", "Cut the fault out with clearance on both sides and test the rest again"),
    "covering": ("scrap", "Cut the length out with clearance on both sides and scrap it"),
    "diameter": ("scrap", "Cut the length out with clearance on both sides and scrap it"),
    "conductor": ("scrap", "Cut the length out with clearance on both sides and scrap it"),
    "concentricity": ("regrade", "Sell it where no concentricity limit applies, if the walls conform"),
    "surface-flaw": ("scrap", "Look at the flaw; cut it out if the covering or the insulation is harmed"),
    "spark-voltage": ("rework", "Spark-test the length again at the voltage of record"),
}


def proposed(finding: Finding) -> Proposal:
    """The disposition proposed for a finding; never a decision.

    Nothing is proposed where the wire is not shown to be bad: it is measured first.
    """
    rule = RULE_BY_ID[finding.main.rule_id]
    advice = named(advice_of(rule.rule_id))
    if finding.verdict is not Verdict.DOES_NOT_CONFORM and rule.rule_id != "spark-voltage":
        return Proposal(None, f"No disposition proposed: inspect it first. {advice}")
    if not finding.confirmed:
        return Proposal(None, f"No disposition proposed: the finding is unconfirmed. {advice}")
    disposition, words = _BY_RULE[rule.rule_id]
    return Proposal(disposition, f"{words}. {advice}")
