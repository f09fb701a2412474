"""Which number does a finding carry? The same defect keeps its number when the run is assessed again."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipeline.nonconformance.finding import SAME_PLACE_M, Finding
from pipeline.nonconformance.rules import PLACES


@dataclass(frozen=True, slots=True)
class KnownFinding:
    """What is remembered of a numbered finding: enough to know it again.

    Args:
        run_id: the run.
        number: its number in the run.
        families: families of the rules broken.
        subject: what it is about, "" for a place on the wire.
        from_m: start on the wire when last seen [m].
        to_m: its end [m].
    """

    run_id: str
    number: int
    families: tuple[str, ...]
    subject: str
    from_m: float
    to_m: float


@dataclass(frozen=True, slots=True)
class Numbering:
    """Findings with their numbers, and the earlier ones that were not seen again (never dropped silently)."""

    findings: tuple[Finding, ...]
    not_seen: tuple[KnownFinding, ...]


def known(finding: Finding) -> KnownFinding:
    """What to remember of a numbered finding."""
    return KnownFinding(
        finding.run_id,
        finding.number,
        finding.families,
        _subject(finding),
        finding.from_m,
        finding.to_m,
    )


def _subject(finding: Finding) -> str:
    if finding.main.rule.family in PLACES:
        return ""
    return f"{finding.main.rule_id}: {finding.main.subject}"


def _likeness(new: Finding, old: KnownFinding) -> float:
    """Share of the wire two findings have in common, 0 for strangers."""
    if not set(new.families) & set(old.families) or _subject(new) != old.subject:
        return 0.0
    reach = SAME_PLACE_M / 2.0
    common = min(new.to_m, old.to_m) - max(new.from_m, old.from_m) + 2.0 * reach
    either = max(new.to_m, old.to_m) - min(new.from_m, old.from_m) + 2.0 * reach
    if common < 0.0 or (common == 0.0 and either > 0.0):
        return 0.0
    return common / either if either > 0.0 else 1.0


def _neighbours(
    new: Sequence[Finding], earlier: Sequence[KnownFinding]
) -> Iterator[tuple[int, Finding, KnownFinding]]:
    """New findings with the earlier ones of the same run that they touch."""
    from_m = np.array([old.from_m for old in earlier])
    to_m = np.array([old.to_m for old in earlier])
    for place, finding in enumerate(new):
        touching = (from_m <= finding.to_m + SAME_PLACE_M) & (to_m >= finding.from_m - SAME_PLACE_M)
        for at in np.flatnonzero(touching).tolist():
            if earlier[at].run_id == finding.run_id:
                yield place, finding, earlier[at]


def number_findings(
    new: Sequence[Finding],
    earlier: Sequence[KnownFinding],
) -> Numbering:
    """New findings with the numbers of the earlier ones they are the same defect as.

    The same defect: same run, a family in common, same subject, and wire in common within the tolerance. Each
    number is given once, the greatest share of common wire first; a new defect gets the next number, in the
    order of the wire. Numbers are never used again.

    Args:
        new: findings of one assessment, of one or several runs.
        earlier: every finding the runs ever had, as last seen, those no longer seen included.

    Returns:
        the numbered findings in the order given, and the earlier ones that were not seen.
    """
    pairs = sorted(
        (-likeness, old.number, finding.from_m, place)
        for place, finding, old in _neighbours(new, earlier)
        if (likeness := _likeness(finding, old)) > 0.0
    )
    numbers: dict[int, int] = {}
    taken: set[tuple[str, int]] = set()
    for _, number, _, place in pairs:
        key = (new[place].run_id, number)
        if place not in numbers and key not in taken:
            numbers[place] = number
            taken.add(key)
    last: dict[str, int] = {}
    for old in earlier:
        last[old.run_id] = max(last.get(old.run_id, 0), old.number)
    for place in sorted(range(len(new)), key=lambda at: _wire_order(new[at])):
        if place not in numbers:
            run = new[place].run_id
            last[run] = last.get(run, 0) + 1
            numbers[place] = last[run]
    findings = tuple(replace(finding, number=numbers[place]) for place, finding in enumerate(new))
    return Numbering(findings, tuple(old for old in earlier if (old.run_id, old.number) not in taken))


def _wire_order(finding: Finding) -> tuple[str, bool, float, float, str, str]:
    """Places on the wire first, then what leaves wire unproved; each in the order of the wire."""
    main = finding.main
    return (
        finding.run_id,
        main.rule.family not in PLACES,
        finding.from_m,
        finding.to_m,
        main.rule_id,
        f"{main.subject} {main.instrument}",
    )
