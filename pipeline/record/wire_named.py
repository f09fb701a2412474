"""Which wire is meant by a lot, a shipment, a reel or a cut length? The pieces of it, and their evidence.

A reel that was cut stands for the lengths cut from it that were kept; its scrap and its uncut rest are left out.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipeline.errors import Complaint, NotFoundError
from pipeline.lots.declaration import ReelEvidence
from pipeline.nonconformance.disposition import State
from pipeline.nonconformance.rules import rule_for
from pipeline.record.decided import acts_of_run, reel_and_findings
from pipeline.record.lengths import GONE, lengths_of_reel, lengths_on_file
from pipeline.record.not_found import not_on_file
from pipeline.record.plant_sheet_on_file import plant_sheet_of
from pipeline.record.standing import LengthStanding, Standing, standing_of
from pipeline.wording.say import plain

if TYPE_CHECKING:
    from pipeline.length.reel_places import Unit
    from pipeline.store.database import Store

Row = dict[str, Any]
# Standings of wire that somebody let go and nothing holds since.
RELEASED = ("released", "released by concession", "shipped")
# Wire without evidence shorter than a rewinder's counter shows is not told [m].
LEAST_M = 0.1
# Places on the wire are known to this [m]: a finding so near to a cut length counts as in it.
NEAR_M = 1.0
GAP_OF = {
    "minimum average wall": "wall unmonitored",
    "minimum wall at any point": "wall unmonitored",
    "concentricity": "wall unmonitored",
    "covering at any point": "wall unmonitored",
    "overall diameter": "diameter unmonitored",
    "conductor diameter": "conductor unmonitored",
    "spark test voltage": "spark untested",
}


@dataclass(frozen=True, slots=True)
class NamedWire:
    """A reel or a cut length, as it lies on the wire of its run.

    Args:
        name: the reel or cut length.
        reel_id: its reel.
        from_m: start on the wire [m].
        to_m: end [m].
        whole: True for a reel that was not cut.
    """

    name: str
    reel_id: str
    from_m: float
    to_m: float
    whole: bool


def pieces_of(store: Store, names: Sequence[str]) -> tuple[NamedWire, ...]:
    """The wire that lots, shipments, reels and cut lengths stand for, each piece once.

    Raises:
        NotFoundError: with a complaint for each name that is not on file.
    """
    pieces: dict[str, NamedWire] = {}
    complaints: list[Complaint] = []
    for name in names:
        found = list(_pieces(store, name))
        if not found:
            known = [row["reel_id"] for row in store.ask("questions/reel_ids")]
            known += [row["lot"] for row in store.ask("questions/lot_ids")]
            known += [row["length_id"] for row in lengths_on_file(store)]
            complaints += not_on_file("lot, shipment, reel or cut length", name, known).complaints
        pieces |= {one.name: one for one in found}
    if complaints:
        raise NotFoundError(complaints)
    return tuple(pieces.values())


def _pieces(store: Store, name: str) -> Iterable[NamedWire]:
    if store.ask("questions/reel", reel_id=name):
        return _of_reel(store, name)
    cut = [row for row in lengths_on_file(store) if row["length_id"] == name]
    if cut:
        return [_length(store, cut[0])]
    shipped = store.ask("questions/shipment_items", shipment=name)
    if shipped:
        return [piece for row in shipped for piece in _pieces(store, row["item"])]
    reels = dict.fromkeys(row["reel_id"] for row in store.ask("questions/lot_reels", lot=name))
    return [piece for reel_id in reels for piece in _of_reel(store, reel_id)]


def _of_reel(store: Store, reel_id: str) -> list[NamedWire]:
    cuts = lengths_of_reel(store, reel_id)
    if cuts:
        return [_length(store, row) for row in cuts if row["use"] not in ("scrap", GONE)]
    row = store.ask("questions/reel", reel_id=reel_id)[0]
    return [NamedWire(reel_id, reel_id, row["from_m"] or 0.0, row["to_m"] or row["length_m"], True)]


def _length(store: Store, cut: Row) -> NamedWire:
    reel = store.ask("questions/reel", reel_id=cut["reel_id"])[0]
    end = reel["to_m"] or reel["length_m"]
    return NamedWire(
        cut["length_id"],
        cut["reel_id"],
        max(end - cut["to_outer_m"], reel["from_m"] or 0.0),
        end - cut["from_outer_m"],
        False,
    )


@dataclass(frozen=True, slots=True)
class PieceOnFile:
    """A piece with everything that speaks for it or against it.

    Args:
        piece: the piece.
        reel: its reel, as the newest judgement shows it.
        requirements: the reel's requirements.
        findings: findings that meet the piece.
        states: state of each of these.
        gaps: wire of the piece without evidence: kind, start and end [m].
        state: what a person decided about the reel.
        released_by: who released the reel, "" if nobody has.
        held: how the piece stands where it may not leave, in words; "" where it may or only a release is missing.
        unit: the unit in which the plant tells lengths.
    """

    piece: NamedWire
    reel: Row
    requirements: tuple[Row, ...]
    findings: tuple[Row, ...]
    states: dict[str, State]
    gaps: tuple[tuple[str, float, float], ...]
    state: State
    released_by: str
    held: str
    unit: Unit


def piece_on_file(store: Store, piece: NamedWire) -> PieceOnFile:
    """A piece with everything that speaks for it or against it."""
    reel, findings, states, state = reel_and_findings(store, piece.reel_id)
    key = {"assessment_id": reel["assessment_id"]}
    near = 0.0 if piece.whole else NEAR_M
    meeting = [
        row for row in findings if row["from_m"] < piece.to_m + near and row["to_m"] > piece.from_m - near
    ]
    gaps = [
        (row["kind"], max(row["from_m"], piece.from_m), min(row["to_m"], piece.to_m))
        for row in store.ask("questions/gaps_of_assessment", **key)
        if row["reel_id"] == piece.reel_id and row["from_m"] < piece.to_m and row["to_m"] > piece.from_m
    ]
    now = _standing(store, piece)
    may_leave = now.code in (*RELEASED, "releasable")
    plant, _ = plant_sheet_of(store, reel["run_id"])
    return PieceOnFile(
        piece,
        reel,
        tuple(store.ask("questions/reel_requirements", reel_id=piece.reel_id, **key)),
        tuple(meeting),
        {row["finding_id"]: states[row["finding_id"]] for row in meeting},
        tuple(gaps),
        state,
        _released_by(store, reel, state, piece, now) if now.code in RELEASED else "",
        "" if may_leave else plain(now.headline, plant.system),
        plant.unit,
    )


def _standing(store: Store, piece: NamedWire) -> Standing | LengthStanding:
    """How a piece stands now."""
    reel = standing_of(store, piece.reel_id)
    return next((one for one in reel.lengths if one.length_id == piece.name), reel)


def _released_by(
    store: Store, reel: Row, state: State, piece: NamedWire, now: Standing | LengthStanding
) -> str:
    """Who released a piece that stands released; "" where it was let go by a concession."""
    whole = state.disposition == "release"
    if not whole and now.decided.disposition != "release":
        return ""
    acts = acts_of_run(store, reel["run_id"]).on(reel["reel_id"] if whole else piece.name)
    last = max(act.version for act in acts if act.kind == "decide")
    return " and ".join(
        str(act.by) for act in acts if act.version >= last and act.kind in ("decide", "confirm")
    )


def evidence_of(
    one: PieceOnFile, sets: Iterable[str], needed: Iterable[str], tested: Iterable[str] = ()
) -> ReelEvidence:
    """What is on file for a piece, in the terms of a declaration.

    Args:
        one: the piece with what is on file.
        sets: requirement sets that are declared to.
        needed: requirements that must be judged.
        tested: findings that a conforming test, made since, speaks of.
    """
    verdicts = {
        requirement: verdict_on(one, requirement, sets, tested)
        for requirement in dict.fromkeys(row["requirement"] for row in one.requirements)
    }
    closed = {name: state for name, state in one.states.items() if state.standing == "closed"}
    conceded = [name for name, state in closed.items() if state.disposition == "concession"]
    if one.state.standing == "closed" and one.state.disposition == "concession":
        conceded.append(f"reel {one.piece.reel_id}")
    seen = [name for name in needed if verdicts.get(name) in ("judged", "failed", "no conclusion")]
    return ReelEvidence(
        name=one.piece.name,
        length_m=one.piece.to_m - one.piece.from_m,
        judged=tuple(name for name, verdict in verdicts.items() if verdict == "judged"),
        not_judged=tuple(name for name, verdict in verdicts.items() if verdict == "not judged"),
        no_conclusion=tuple(name for name, verdict in verdicts.items() if verdict == "no conclusion"),
        failed=tuple(name for name, verdict in verdicts.items() if verdict == "failed"),
        open_findings=tuple(
            row["finding_id"]
            for row in one.findings
            if row["holds_release"] and row["finding_id"] not in closed
        ),
        conceded=tuple(conceded),
        untested_m=_untested_m(one, seen),
        released_by=one.released_by,
        held=one.held,
        unit=one.unit,
    )


def verdict_on(one: PieceOnFile, requirement: str, sets: Iterable[str], tested: Iterable[str] = ()) -> str:
    """What the line says of a requirement on a piece.

    Args:
        one: the piece.
        requirement: the requirement.
        sets: requirement sets that are declared to.
        tested: findings that a conforming test, made since, speaks of; closed ones no longer count.

    Returns:
        ``judged`` to conform, ``failed``, ``not judged`` where the line cannot judge it or no limit is on file,
        ``no conclusion`` where the evidence does not reach, ``other`` where none of the sets has it.
    """
    allowed = {*sets, "*"}
    rows = [
        row
        for row in one.requirements
        if row["requirement"] == requirement and row["requirement_set"] in allowed
    ]
    if not rows:
        return "other"
    verdicts = {row["verdict"] for row in rows}
    if "not judged" in verdicts:
        return "not judged"
    rule = rule_for(requirement)
    failing = [row for row in one.findings if rule is not None and rule.rule_id in row["rules"]]
    cleared = [
        row
        for row in failing
        if row["finding_id"] in tested and one.states[row["finding_id"]].standing == "closed"
    ]
    if len(cleared) < len(failing):
        return "failed"
    if not failing and one.piece.whole and verdicts & {"does not conform", "indeterminate"}:
        return "failed"
    if "no conclusion" in verdicts and (one.piece.whole or _untested_m(one, [requirement]) > 0.0):
        return "no conclusion"
    return "judged"


def _untested_m(one: PieceOnFile, needed: Iterable[str]) -> float:
    """The most wire without evidence for any of the requirements [m]."""
    kinds = {GAP_OF[name] for name in needed if name in GAP_OF}
    lengths = [sum(end - start for kind, start, end in one.gaps if kind == wanted) for wanted in kinds]
    most = max(lengths, default=0.0)
    return most if most >= LEAST_M else 0.0
