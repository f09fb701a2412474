"""Which reels does a drift found at calibration reach back to? Every reel since the last good check, judged anew."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipeline.errors import Complaint, ReelproofError
from pipeline.found import Drifted
from pipeline.messages import Message, message
from pipeline.record.not_found import not_on_file
from pipeline.sheets.line_sheet import Instrument, LineSheet
from pipeline.trust.calibration import DriftFound, JudgedReel, Readjudged, readjudicate

if TYPE_CHECKING:
    from pipeline.store.database import Store

AVERAGE, POINT, OVERALL = "minimum average wall", "minimum wall at any point", "overall diameter"


@dataclass(frozen=True, slots=True)
class Reach:
    """How far a drift reaches.

    Args:
        line: the line.
        drift: the bias as it was found.
        judged: every requirement on every reel since the last good check, judged anew.
        unread: requirements without a reading or a limit, as (reel, requirement); they stay as they are.
        told: what a reader must see.
    """

    line: str
    drift: DriftFound
    judged: tuple[Readjudged, ...]
    unread: tuple[tuple[str, str], ...]
    told: tuple[Message, ...]

    @property
    def contained(self) -> tuple[Readjudged, ...]:
        """Those whose margin no longer holds."""
        return tuple(one for one in self.judged if one.contained)


def reach_of_drift(store: Store, line_id: str, drift: DriftFound) -> Reach:
    """Every reel of a line made since the last good check of an instrument, judged anew with its bias taken off.

    Args:
        store: the store, open to read.
        line_id: the line.
        drift: the bias found.

    Raises:
        NotFoundError: no run of the line is on file, or the line has no such instrument.
        ReelproofError: the days are out of order, or nothing is judged by that instrument.
    """
    heads = store.ask("questions/current_runs")
    own = [row for row in heads if row["line"] == line_id]
    if not own:
        raise not_on_file("line", line_id, sorted({row["line"] for row in heads}))
    text = store.ask("questions/sheet", sha256=own[-1]["line_sheet_sha256"])[0]["text"]
    line = LineSheet.model_validate(tomllib.loads(text)["line"])
    instrument = next((one for one in line.instruments if one.id == drift.instrument), None)
    if instrument is None:
        raise not_on_file("instrument", drift.instrument, [one.id for one in line.instruments])
    if drift.good_on >= drift.found_on:
        raise ReelproofError(
            Complaint(
                f"drift of {drift.instrument}",
                f"the last good check, {drift.good_on}, is not before the day the drift was found, {drift.found_on}",
                "Check --last-good and --found",
            )
        )
    rows = store.ask("questions/requirements_since", line=line_id, good_on=drift.good_on)
    return reach_of_rows(line, instrument, drift, rows)


def shares_of(line: LineSheet, instrument: Instrument) -> dict[str, float]:
    """Share of an instrument's bias that each requirement judged by it takes on, by requirement."""
    if instrument.kind == "wall gauge":
        return {AVERAGE: 1.0, POINT: 1.0}
    if instrument.kind == "cold diameter gauge":
        # On a line without a wall gauge the mean wall is half the difference of diameters.
        alone = line.instrument("wall gauge") is None
        return {OVERALL: 1.0, AVERAGE: 0.5} if alone else {OVERALL: 1.0}
    return {}


def reach_of_rows(
    line: LineSheet, instrument: Instrument, drift: DriftFound, rows: Sequence[dict[str, Any]]
) -> Reach:
    """The reach of a drift over rows of the question ``requirements_since``.

    Args:
        line: the line's sheet.
        instrument: the instrument that drifted.
        drift: the bias found.
        rows: requirements judged since the last good check.

    Raises:
        ReelproofError: nothing is judged by that instrument.
    """
    shares = shares_of(line, instrument)
    if not shares:
        raise ReelproofError(
            Complaint(
                f"instrument {instrument.id}",
                f"no requirement is judged by a {instrument.kind} in millimeters",
                "Name the wall gauge or the cold diameter gauge; for any other, judge its runs again",
            )
        )
    found: list[Readjudged] = []
    unread = []
    for requirement, share in shares.items():
        own = [row for row in rows if row["requirement"] == requirement]
        known = [row for row in own if row["worst"] is not None and row["limit_value"] is not None]
        unread += [
            (str(row["reel_id"]), requirement)
            for row in own
            if row["worst"] is None or row["limit_value"] is None
        ]
        part = DriftFound(
            drift.instrument,
            drift.good_on,
            drift.found_on,
            share * drift.bias_mm,
            share * drift.bias_sd_mm,
        )
        found += readjudicate(part, [_judged(row) for row in known])
    found.sort(key=lambda one: (one.reel.made_on, one.reel.reel, one.reel.requirement))
    return Reach(line.id, drift, tuple(found), tuple(unread), _told(instrument, tuple(found), unread))


def _judged(row: dict[str, Any]) -> JudgedReel:
    return JudgedReel(
        row["reel_id"],
        row["shift_date"],
        row["requirement"],
        "at least" if row["sense"] == "at least" else "at most",
        row["worst"],
        row["uncertainty"] or 0.0,
        row["limit_value"],
    )


def _told(
    instrument: Instrument, found: tuple[Readjudged, ...], unread: Sequence[tuple[str, str]]
) -> tuple[Message, ...]:
    contained = {one.reel.reel for one in found if one.contained}
    whole = {one.reel.reel for one in found} | {reel for reel, _ in unread}
    told = [
        message(Drifted.SCOPE, contained=len(contained), all=len(whole)),
        message(Drifted.EVENLY),
    ]
    if instrument.kind == "wall gauge":
        told.append(message(Drifted.CONCENTRICITY))
    if unread:
        told.append(message(Drifted.UNREAD, unread=len(unread)))
    return tuple(told)
