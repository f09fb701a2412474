"""The shift page: what may leave, what may not, and what comes first.

Open findings by likely cause: one entry a cause, with who owns it and by when it is to be decided.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from dashboards.pages.run_summary import requirements_of
from dashboards.records import GATE_OF, Extreme, FindingRow, Plant, ReelRow, RunRow, ShiftReview
from dashboards.records import Gate as GateName
from dashboards.rendering import write_page
from dashboards.site import Site, WrittenFile
from dashboards.table_cells import gate_key
from pipeline.length.intervals import wire_m
from pipeline.messages import Said
from pipeline.products.limits import Limit
from pipeline.words import counted

# A run whose reels all stand so asks nothing of whoever reads: its table of reels is folded.
QUIET: tuple[GateName, ...] = ("releasable", "released", "gone")

UNKNOWN = "not known"
SEVERITY = ("critical", "major", "minor", "observation")


@dataclass(frozen=True, slots=True)
class CauseEntry:
    """A likely cause on a line, with its findings.

    Args:
        cause: the cause.
        line_id: line.
        findings: its findings, the gravest first.
        length_m: wire they cover, each metre once [m].
        owner: role that owns the gravest; "" where the plant names none.
        due_at: when the first of them is to be decided; None where the plant says nothing.
    """

    cause: str
    line_id: str
    findings: tuple[FindingRow, ...]
    length_m: float
    owner: str
    due_at: datetime | None


def _grade(one: FindingRow) -> int:
    return SEVERITY.index(one.severity) if one.severity in SEVERITY else len(SEVERITY)


def by_cause(findings: Iterable[FindingRow], plant: Plant) -> tuple[CauseEntry, ...]:
    """Findings by line and likely cause, in Pareto order: most findings first, then most length.

    A finding whose cause is not known shares an entry with those of the same requirement or rule only.
    """
    groups: dict[tuple[str, str, str], list[FindingRow]] = defaultdict(list)
    for one in findings:
        known = bool(one.cause) and one.cause != UNKNOWN
        apart = "" if known else one.requirement or one.rule.replace("-", " ")
        groups[one.line_id, one.cause if known else UNKNOWN, apart].append(one)
    entries = []
    for (line, cause, apart), those in groups.items():
        ordered = tuple(sorted(those, key=_grade))
        dues = [at for one in those if (at := plant.due_at(one.severity, one.opened_at)) is not None]
        entries.append(
            CauseEntry(
                f"cause {cause}: {apart}" if apart else cause,
                line,
                ordered,
                wire_m((one.run_id, one.from_m, one.to_m) for one in those),
                plant.owner_of(ordered[0].severity),
                min(dues, default=None),
            )
        )
    return tuple(sorted(entries, key=lambda one: (-len(one.findings), -one.length_m, one.cause)))


POINT = "minimum wall at any point"
# Reels of one standing named at once at the top of the page; the rest are one click away.
GATE_MOST = 24
# Groups that persons' acts and shipments make; an empty one is not shown.
ACTED = ("left", "released", "gone")


def kinds_on_maps(run: RunRow) -> tuple[str, ...]:
    """The kinds of stretch marked on the run's reel maps, for their legend."""
    return tuple(sorted({one.kind for reel in run.reels for one in reel.intervals}))


def point_limit(reel: ReelRow) -> Limit | None:
    """The limit the thinnest wall stands beside: the strictest on file for this reel, None where there is none."""
    limits = [one.limit for one in reel.judgements if one.requirement == POINT and one.limit is not None]
    return max(limits, key=lambda limit: limit.value, default=None)


@dataclass(frozen=True, slots=True)
class GateReel:
    """A reel as it stands in the first lines of the page: which, why in a few words, and when it is its turn.

    Args:
        reel: the reel.
        why: what it is held for, in a few words.
        thinnest: its thinnest wall, where that is what holds it.
        limit: the limit of that wall.
        turn: its number in the list of what to do first; None where it is not in it.
    """

    reel: ReelRow
    why: Said
    thinnest: Extreme | None
    limit: Limit | None
    turn: int | None


@dataclass(frozen=True, slots=True)
class Gate:
    """The reels of one group of standings, in the order of the runs."""

    standing: GateName
    reels: tuple[GateReel, ...]


def why_in_short(reel: ReelRow) -> Said:
    """What a reel is held for in a few words, gravest first: its requirements and rules, each once.

    The thinnest wall stands before it with its figure and is not named again. A reel with no reason against it, as one
    that waits for a second person, has what is said of it first.
    """
    times = Counter(one.requirement for one in reel.reasons if one.requirement)
    if not times:
        return reel.reasons[0].sentence if reel.reasons else reel.headline
    others = {name: n for name, n in times.items() if name != POINT or reel.thinnest_wall is None}
    return ", ".join(f"{name} ({n} findings)" if n > 1 else name for name, n in others.items())


def shared_reasons(run: RunRow) -> tuple[Said, ...]:
    """Reasons that stand against every reel of a run of several: the page tells them once."""
    if len(run.reels) < 2:
        return ()
    every = [{one.sentence for one in reel.reasons if not one.finding_id} for reel in run.reels]
    in_all = set.intersection(*every) - set(run.quality.sentences)
    return tuple(dict.fromkeys(one.sentence for one in run.reels[0].reasons if one.sentence in in_all))


def gates(record: ShiftReview) -> tuple[Gate, ...]:
    """The shift's reels by standing; of a run whose data carry no conclusion only that is said, not why again."""
    turn_of = {one.reel_id: n for n, one in enumerate(record.first_things, 1) if one.reel_id}
    turn_of_run = {
        one.run_id: n for n, one in enumerate(record.first_things, 1) if one.run_id and not one.reel_id
    }
    grouped: dict[GateName, list[GateReel]] = {
        "left": [],
        "releasable": [],
        "held": [],
        "no conclusion": [],
        "released": [],
        "gone": [],
    }
    for run in record.runs:
        of_all = shared_reasons(run)
        for reel in run.reels:
            turn = turn_of.get(reel.reel_id, turn_of_run.get(run.run_id))
            shared = bool(reel.reasons) and reel.reasons[0].sentence in run.quality.sentences
            why: Said = f"the data of run {run.run_id}" if shared else why_in_short(reel)
            if of_all and all(one.sentence in of_all for one in reel.reasons):
                why = f"{counted(len(of_all), 'reason')} against every reel of run {run.run_id}"
            thin = any(one.requirement == POINT for one in reel.reasons)
            gate = GATE_OF[reel.standing]
            if gate in ("left", "released", "gone"):
                why, thin = reel.headline, False
            grouped[gate].append(
                GateReel(
                    reel, why, reel.thinnest_wall if thin else None, point_limit(reel) if thin else None, turn
                )
            )
    # Where nobody acted yet there is nothing to say of what persons did.
    return tuple(Gate(name, tuple(reels)) for name, reels in grouped.items() if reels or name not in ACTED)


def lower_first(sentence: str) -> str:
    """A request as it reads after a colon: its first letter small."""
    return sentence[:1].lower() + sentence[1:]


def write_shift_page(record: ShiftReview, site: Site) -> WrittenFile:
    """Writes the shift page.

    Args:
        record: what it shows.
        site: where.
    """
    return write_page(
        site,
        "shift",
        record.shift_id,
        "shift.html.j2",
        record,
        kinds_on=[kinds_on_maps(run) for run in record.runs],
        causes=by_cause(record.findings, record.plant),
        requirements=[requirements_of(run.answers, run.reels) for run in record.runs],
        shared=[shared_reasons(run) for run in record.runs],
        quiet=[run.reels and all(GATE_OF[one.standing] in QUIET for one in run.reels) for run in record.runs],
        point_limit=point_limit,
        gate_key=gate_key,
        gates=gates(record),
        lower_first=lower_first,
        gate_most=GATE_MOST,
        point_name=POINT,
    )
