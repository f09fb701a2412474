"""Where on the wire is a printed length, by the marks that were surveyed on the run?"""

from __future__ import annotations

from pipeline.errors import Complaint, NotFoundError
from pipeline.length.footage_marks import MARK_READ_M, FootageMap
from pipeline.length.reel_places import Unit, figure_told, from_other_end, length_told, place_on_reel
from pipeline.length.reels import PlacedReel
from pipeline.lots.complaint import CutFrom, WirePlace, end_unsure_told
from pipeline.messages import Measure, message
from pipeline.sheets.run_sheet import RunSheet
from pipeline.why import AtMark


def wire_at_printed(
    run: RunSheet,
    reel: PlacedReel,
    take_up_m: float,
    printed_m: float,
    cut: CutFrom | None = None,
    unit: Unit = "m",
) -> WirePlace:
    """The wire at a printed length, with the doubt the survey leaves (two standard uncertainties).

    Args:
        run: the run sheet, with its surveyed marks.
        reel: the reel as placed.
        take_up_m: the take-up's distance from the die, where the marks were read [m].
        printed_m: the printed length [m].
        cut: the length it was read on, where it is not the whole reel.
        unit: the unit in which complaints tell places.

    Raises:
        NotFoundError: the run has no two surveyed marks, or that length is not on the reel or length.
    """
    marks = sorted(run.marks, key=lambda one: one.counter_m)
    if len(marks) < 2:
        raise NotFoundError(
            Complaint(
                f"run {run.id}",
                f"{len(marks)} surveyed marks stand on its sheet, and two are needed",
                "Add [[run.marks]] and load it again, or count from an end with --outer-mark and without --printed",
            )
        )
    known = FootageMap(
        tuple(one.counter_m for one in marks), tuple(one.printed_m for one in marks), MARK_READ_M
    )
    counter_m, sd = known.line_at(printed_m)
    wire, unsure = counter_m - take_up_m, 2.0 * sd + reel.end_unsure_m
    if not reel.from_m - unsure <= wire <= reel.to_m + unsure:
        raise NotFoundError(
            Complaint(
                f"reel {reel.id}",
                f"the printed length {length_told(printed_m, unit)} is not on it",
                f"Printed from {figure_told(known.mark_at(reel.from_m + take_up_m)[0], unit)} to "
                f"{length_told(known.mark_at(reel.to_m + take_up_m)[0], unit)}; read the mark again",
            )
        )
    wire = min(max(wire, reel.from_m), reel.to_m)
    outer = place_on_reel(wire, reel.to_m)
    if cut is not None and not cut.from_m - unsure <= outer <= cut.to_m + unsure:
        raise NotFoundError(
            Complaint(
                f"length {cut.name}",
                f"the printed length {length_told(printed_m, unit)} is not on it",
                f"That was printed {length_told(outer, unit)} from the outer end of reel {reel.id}, and the length is "
                f"{length_told(cut.from_m, unit)} to {length_told(cut.to_m, unit)} from there; read the mark again",
            )
        )
    why = message(AtMark.SURVEYED, unsure=Measure(2.0 * sd, "m"))
    return WirePlace(
        reel.id, outer, from_other_end(outer, reel.length_m), wire, unsure, (why, *end_unsure_told(reel))
    )
