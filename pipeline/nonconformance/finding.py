"""What was found wrong on the wire: sightings by single instruments, joined into one finding a defect."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pipeline.found import Because, Found, found_by, name_of
from pipeline.messages import Between, Measure, Message, Slot, message, slots_of
from pipeline.nonconformance.decision import Decision, Verdict
from pipeline.nonconformance.rules import ORDER, PLACES, RULE_BY_ID, SEVERITIES, Rule, Severity

# Sightings no further apart are at one place, from the uncertainty of place; those of different kinds join if no longer
# than the second, or if they cover much the same wire; wire kept as evidence before and after [m] (chosen here).
SAME_PLACE_M, LOCAL_M, EVIDENCE_M = 1.0, 25.0, 25.0


@dataclass(frozen=True, slots=True)
class Sighting:
    """One rule broken over one length, as one instrument saw it.

    Args:
        rule_id: the rule.
        instrument: plant's number of the instrument, "" where none saw it.
        from_m: start on the wire, padded [m].
        to_m: its end, padded [m].
        readings: readings or events that stand behind it.
        worst: worst value [unit of the rule]; None for events and states.
        worst_at_m: where it was read [m].
        row: row of the worst reading in the run, None where there is none.
        limit_id: the limit it was judged against, "" for none.
        limit_revision: that limit's revision.
        decision: verdict and risk, None for events and states.
        subject: what a finding without a place is about (an instrument, a characteristic).
        reel_id: the reel the wire is on, "" for wire on none.
        short: True if it is shorter than the plant lets one instrument alone decide.
        depth: greatest shortfall [unit of the rule].
        area: integral of the shortfall along the wire [unit x m].
        slots: what is said of it, as arguments of what its rule finds; the stretch is added where it is told.
        after: what is said after that.
    """

    rule_id: str
    instrument: str
    from_m: float
    to_m: float
    readings: int = 0
    worst: float | None = None
    worst_at_m: float | None = None
    row: int | None = None
    limit_id: str = ""
    limit_revision: str = ""
    decision: Decision | None = None
    subject: str = ""
    reel_id: str = ""
    short: bool = False
    depth: float | None = None
    area: float | None = None
    slots: tuple[tuple[str, Slot], ...] = ()
    after: tuple[Message, ...] = ()

    @property
    def rule(self) -> Rule:
        """The rule as the program ships it."""
        return RULE_BY_ID[self.rule_id]

    def told_over(self, from_m: float, to_m: float) -> Message:
        """What was found, told of a stretch of wire [m]."""
        stretch = (("length", Measure(to_m - from_m, "m")), ("span", Between(from_m, to_m)))
        return Message(found_by(self.rule_id), (*self.slots, *stretch))


@dataclass(frozen=True, slots=True)
class Cause:
    """The likely cause of a finding, never a certain one.

    Args:
        kind: ``start-up``, ``roll``, ``drift``, ``gauge``, ``material`` or ``not known``.
        told: what it stands on.
        of: which roll, instrument, change or phase, as far as it can be named; findings elsewhere of the same
            kind and the same one share a cause.
    """

    kind: str
    told: Message
    of: str = ""


NOT_KNOWN = Cause("not known", message(Because.NOT_KNOWN))


@dataclass(frozen=True, slots=True)
class Finding:
    """One defect on the wire, or one thing that leaves the wire unproved.

    Args:
        run_id: the run.
        number: number within the run, 0 while it has none; a defect keeps it when the run is assessed again.
        main: the gravest sighting.
        sightings: all sightings of the defect, gravest first.
        severity: the gravest severity.
        holds_release: True if the wire may not be released while this is open.
        from_m: start on the wire [m]: the one stretch of the finding, over all its sightings.
        to_m: its end [m].
        evidence_from_m: start of the wire whose readings are kept as evidence [m].
        evidence_to_m: its end [m].
        cause: the likely cause.
        confirmed: False if one instrument alone saw it over less than the plant's shortest length.
        on_file: what was said of it, where it comes from the store.
    """

    run_id: str
    number: int
    main: Sighting
    sightings: tuple[Sighting, ...]
    severity: Severity
    holds_release: bool
    from_m: float
    to_m: float
    evidence_from_m: float
    evidence_to_m: float
    cause: Cause = NOT_KNOWN
    confirmed: bool = True
    on_file: Message | None = None

    @property
    def finding_id(self) -> str:
        """The finding's name everywhere, on pages and in commands too: run and number, fit for a file name."""
        return f"{self.run_id}-F{self.number:02d}"

    @property
    def reel_id(self) -> str:
        """The reel it is on, "" for wire on none."""
        return self.main.reel_id

    @property
    def instruments(self) -> tuple[str, ...]:
        """Instruments that saw it, in order of name."""
        return tuple(sorted({one.instrument for one in self.sightings if one.instrument}))

    @property
    def families(self) -> tuple[str, ...]:
        """Families of the rules broken, in order of name."""
        return tuple(sorted({one.rule.family for one in self.sightings}))

    @property
    def verdict(self) -> Verdict:
        """What is said of the wire there."""
        if self.main.decision is not None:
            return self.main.decision.verdict
        return Verdict.DOES_NOT_CONFORM if self.main.rule.family in PLACES else Verdict.CANNOT_BE_TOLD

    @property
    def told(self) -> Message:
        """What is said of it."""
        if self.on_file is not None:
            return self.on_file
        others = sorted({one.rule_id for one in self.sightings if one.rule_id != self.main.rule_id})
        parts = [self.main.told_over(self.from_m, self.to_m), *self.main.after]
        if others:
            parts.append(message(Found.ALSO_SEEN, rules=[name_of(one) for one in others]))
        if not self.confirmed:
            parts.append(message(Found.UNCONFIRMED))
        return parts[0] if len(parts) == 1 else message(Found.SEVERAL, told=parts)


def place_sighting(
    rule_id: str,
    from_m: float,
    to_m: float,
    *,
    instrument: str = "",
    readings: int = 0,
    subject: str = "",
    reel_id: str = "",
    **arguments: Any,
) -> Sighting:
    """A sighting of a rule without a limit (events and states).

    Args:
        rule_id: the rule.
        from_m: start on the wire [m].
        to_m: its end [m].
        instrument: instrument that saw it.
        readings: events or readings behind it.
        subject: what it is about, where that must be said.
        reel_id: the reel the wire is on.
        arguments: the other arguments of what the rule finds.
    """
    about = {"subject": subject} if subject else {}
    return Sighting(
        rule_id,
        instrument,
        from_m,
        to_m,
        readings,
        subject=subject,
        reel_id=reel_id,
        slots=slots_of({**about, **arguments}),
    )


def _same_defect(one: Sighting, other: Sighting, tolerance_m: float, local_m: float) -> bool:
    """Whether two sightings that overlap on one reel are one defect.

    In one family a short sighting inside a long one is the same defect; across families both must be local,
    or cover much the same wire, so that a whole low reel does not swallow every spark fault on it.
    """
    overlap = min(one.to_m, other.to_m) - max(one.from_m, other.from_m)
    if overlap < -tolerance_m or one.reel_id != other.reel_id:
        return False
    families = {one.rule.family, other.rule.family}
    if not families <= set(PLACES):
        return len(families) == 1 and one.rule_id == other.rule_id and one.subject == other.subject
    longer = max(one.to_m - one.from_m, other.to_m - other.from_m)
    return len(families) == 1 or longer <= local_m or overlap >= 0.5 * longer


def _groups(sightings: Sequence[Sighting], tolerance_m: float, local_m: float) -> list[list[Sighting]]:
    """Sightings of one defect together: a sweep along the wire with the sets merged as they meet."""
    ordered = sorted(sightings, key=_order)
    parent = list(range(len(ordered)))

    def root(place: int) -> int:
        while parent[place] != place:
            parent[place] = parent[parent[place]]
            place = parent[place]
        return place

    active: list[int] = []
    for place, one in enumerate(ordered):
        active = [before for before in active if ordered[before].to_m + tolerance_m >= one.from_m]
        for before in active:
            if _same_defect(ordered[before], one, tolerance_m, local_m):
                first, second = sorted((root(before), root(place)))
                parent[second] = first
        active.append(place)
    groups: dict[int, list[Sighting]] = {}
    for place, one in enumerate(ordered):
        groups.setdefault(root(place), []).append(one)
    return _none_within_another(list(groups.values()), tolerance_m)


def _of_one_kind(group: Sequence[Sighting]) -> set[tuple[str, str, str]]:
    """What a group is about: a reel with a family of places, or with a rule and its subject."""
    return {
        (one.reel_id, one.rule.family, "")
        if one.rule.family in PLACES
        else (one.reel_id, one.rule_id, one.subject)
        for one in group
    }


def _none_within_another(groups: list[list[Sighting]], tolerance_m: float) -> list[list[Sighting]]:
    """The groups with those of one kind merged whose stretches meet: no finding lies in another of its family.

    A group reaches over all its sightings, so a thin spot may lie in the stretch that a group of wall and concentricity
    together has, and yet on none of its wall sightings.
    """
    while True:
        done: list[list[Sighting]] = []
        meeting: list[list[Sighting]] = []
        for group in sorted(groups, key=lambda some: min(one.from_m for one in some)):
            low, kinds = min(one.from_m for one in group), _of_one_kind(group)
            done += [some for some in meeting if _end_m(some) + tolerance_m < low]
            meeting = [some for some in meeting if _end_m(some) + tolerance_m >= low]
            same = next((some for some in meeting if kinds & _of_one_kind(some)), None)
            if same is None:
                meeting.append(list(group))
            else:
                same.extend(group)
        done += meeting
        if len(done) == len(groups):
            return done
        groups = done


def _end_m(group: Sequence[Sighting]) -> float:
    return max(one.to_m for one in group)


def gravest_first(one: Finding) -> tuple[int, bool, int, float, float]:
    """Sort key of findings: severity, what does not conform before what is too near to tell, rule, depth, place."""
    return (
        SEVERITIES.index(one.severity),
        one.verdict is not Verdict.DOES_NOT_CONFORM,
        ORDER[one.main.rule_id],
        -(one.main.depth or 0.0),
        one.from_m,
    )


def _order(one: Sighting) -> tuple[float, float, int, str, str, str]:
    return one.from_m, one.to_m, ORDER[one.rule_id], one.instrument, one.subject, one.reel_id


def join_findings(
    run_id: str,
    sightings: Sequence[Sighting],
    *,
    rules: Mapping[str, Rule] = RULE_BY_ID,
) -> tuple[Finding, ...]:
    """Sightings joined into findings: what several instruments saw at one place is one defect.

    Args:
        run_id: the run.
        sightings: from every rule and instrument, in any order; the answer does not depend on it.
        rules: the rules with the plant's severities.

    Returns:
        findings without numbers, in the order of the wire.
    """

    def grave(one: Sighting) -> tuple[int, int, float, float, str]:
        severity = rules[one.rule_id].severity
        return SEVERITIES.index(severity), ORDER[one.rule_id], -(one.depth or 0.0), one.from_m, one.instrument

    joined = []
    for group in _groups(sightings, SAME_PLACE_M, LOCAL_M):
        gravest = sorted(group, key=grave)
        instruments = {one.instrument for one in group if one.instrument}
        confirmed = len(instruments) > 1 or not all(one.short for one in group)
        from_m, to_m = min(one.from_m for one in group), max(one.to_m for one in group)
        joined.append(
            Finding(
                run_id,
                0,
                gravest[0],
                tuple(gravest),
                rules[gravest[0].rule_id].severity if confirmed else "minor",
                confirmed and any(rules[one.rule_id].holds_release for one in group),
                from_m,
                to_m,
                from_m - EVIDENCE_M,
                to_m + EVIDENCE_M,
                confirmed=confirmed,
            )
        )
    return tuple(sorted(joined, key=lambda finding: _order(finding.main)))
