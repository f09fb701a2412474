"""The centring page of a run: the offset as a path, its mean with an interval, and what it would take to act.

The record of a run's centring page: where the conductor lay in the insulation, and whether it stayed there.
"""

from __future__ import annotations

import math
import tomllib
from typing import TYPE_CHECKING, Any

import numpy as np

from dashboards.figures.centre_path import centre_path, left_out, offset_along
from dashboards.fillers.rows import product_row, stamp_of
from dashboards.records import CentringReview, Plant
from dashboards.rendering import write_page
from dashboards.site import Site, WrittenFile
from pipeline.length.steady_state import PHASE_NAMES, STEADY
from pipeline.messages import Measure, Message, Said, message
from pipeline.results import Assumption, Refused, Result
from pipeline.statistics.beyond_wander import WANDER_P
from pipeline.steps.measure import STRETCH_M
from pipeline.store.readings import read_frame, run_thinned
from pipeline.tuned import Tuned
from pipeline.tuning.centring import METHOD, QUESTION, Centring, centring

if TYPE_CHECKING:
    from dashboards.fillers.run_book import RunBook


# Stretches whose mean is where the centre lies at the end (chosen here).
END_STRETCHES = 5


def centring_review(plant: Plant, book: RunBook) -> CentringReview:
    """Everything the centring page of one judged run shows."""
    known = [row for row in book.stretches if row["ecc_cos_mm"] is not None]
    first_angle_deg = float((_gauge(book) or {}).get("first_angle_deg", 0.0))
    found = _centring(book, first_angle_deg)
    answer = found if isinstance(found, Refused) else _as_result(found)
    return CentringReview(
        plant=plant,
        run_id=book.run_id,
        line_id=book.head["line"],
        product=product_row(book).label,
        at_m=np.array([0.5 * (row["from_m"] + row["to_m"]) for row in known]),
        ecc_cos_mm=np.array([row["ecc_cos_mm"] for row in known]),
        ecc_sin_mm=np.array([row["ecc_sin_mm"] for row in known]),
        stretch_m=STRETCH_M,
        size=answer,
        angle_deg=0.0 if isinstance(found, Refused) else found.thin_deg,
        angle_half_width_deg=None if isinstance(found, Refused) else found.angle_half_deg,
        dead_zone_mm=None if isinstance(found, Refused) else found.dead_zone_um / 1000.0,
        binding_mm=_binding(book),
        advice=_advice(
            found,
            _end_of(book, known, first_angle_deg),
            [row["finding_id"] for row in book.findings if row["cause"] == "drift"],
        ),
        stamp=stamp_of([book]),
        steady=np.array([_is_steady(book, row["from_m"], row["to_m"]) for row in known], dtype=bool),
        first_angle_deg=first_angle_deg,
    )


def _end_of(
    book: RunBook, stretches: list[dict[str, Any]], first_angle_deg: float
) -> tuple[float, float] | None:
    """Where the centre lay when the steady wire ended: offset [um] and its thin side [deg]; None if not known."""
    steady = [row for row in stretches if _is_steady(book, row["from_m"], row["to_m"])][-END_STRETCHES:]
    if len(steady) < END_STRETCHES:
        return None
    cos, sin = (float(np.mean([row[name] for row in steady])) for name in ("ecc_cos_mm", "ecc_sin_mm"))
    thin = (first_angle_deg + math.degrees(math.atan2(-sin, -cos))) % 360.0
    return 1000.0 * math.hypot(cos, sin), thin


def _is_steady(book: RunBook, from_m: float, to_m: float) -> bool:
    """Whether a stretch lies in one phase made at steady speed."""
    return any(
        phase["phase"] == PHASE_NAMES[STEADY] and phase["from_m"] <= from_m and to_m <= phase["to_m"]
        for phase in book.phases
    )


def _gauge(book: RunBook) -> dict[str, Any] | None:
    sheet = tomllib.loads(book.shelf.sheet(book.head["line_sheet_sha256"]))
    return next((one for one in sheet["line"]["instruments"] if one["kind"] == "wall gauge"), None)


def _centring(book: RunBook, first_angle_deg: float) -> Centring | Refused:
    """The run's offset from its readings on reels at steady speed."""
    if book.thinned is not None:
        return Refused(QUESTION, METHOD, run_thinned(book.thinned), 0)
    gauge = _gauge(book)
    frame = read_frame(book.store, book.head["assessment_folder"], "measured")
    at = frame["wall_at_m"].cast(float).to_numpy()
    cos, sin = (frame[name].cast(float).to_numpy() for name in ("ecc_cos_mm", "ecc_sin_mm"))
    steady = np.zeros(at.size, dtype=bool)
    for phase in book.phases:
        if phase["phase"] == PHASE_NAMES[STEADY]:
            steady |= (at >= phase["from_m"]) & (at < phase["to_m"])
    known = steady & np.isfinite(at) & np.isfinite(cos) & np.isfinite(sin)
    if gauge is None or int(known.sum()) < 2:
        return Refused(QUESTION, METHOD, message(Tuned.NO_WALL_GAUGE), int(known.sum()))
    order = np.argsort(at[known], kind="stable")
    place = at[known][order]
    return centring(
        place,
        cos[known][order],
        sin[known][order],
        float(np.median(np.diff(place))),
        first_angle_deg,
        float(gauge.get("uncertainty_mm", 0.004)),
        int(gauge["sensors"]),
    )


def _as_result(found: Centring) -> Result:
    return Result(
        question=QUESTION,
        estimate=found.size_um / 1000.0,
        low=found.size_low_um / 1000.0,
        high=found.size_high_um / 1000.0,
        confidence=found.confidence,
        unit="mm",
        method=METHOD,
        n=round(found.known_m / max(STRETCH_M, 1.0)),
        effective_n=found.effective_n,
        known_m=found.known_m,
        unit_of_inference="section average",
        assumptions=(
            Assumption(
                message(Tuned.OFFSET_STAYS),
                found.drift_p >= WANDER_P,
                message(Tuned.OFFSET_MOVED, moved=Measure(found.drift_um, "um"), p=found.drift_p),
            ),
        ),
        warnings=found.warnings,
        details={
            "drift_um": found.drift_um,
            "wandering_um": found.wandering_um,
            "steadiness": found.steadiness,
            "persistent_share": found.persistent_share,
        },
    )


def _binding(book: RunBook) -> float | None:
    """Offset above which the point minimum binds before the average: average limit less point limit [mm]."""
    limits = {row["requirement"]: row["value"] for row in book.limits}
    average, point = limits.get("minimum average wall"), limits.get("minimum wall at any point")
    return average - point if average is not None and point is not None else None


def _advice(
    found: Centring | Refused, end: tuple[float, float] | None, drifts: list[str]
) -> tuple[Said, ...]:
    if isinstance(found, Refused):
        return (found.reason,)
    told: list[Message] = []
    if found.drift_p < WANDER_P or drifts:
        by = {"finding": drifts[0]} if drifts else {}
        more = {"more": len(drifts) - 1} if len(drifts) > 1 else {}
        told.append(message(Tuned.CENTRE_MOVED, moved=Measure(found.drift_um, "um"), **by, **more))
        if end:
            told.append(message(Tuned.CENTRE_ENDED, thin=end[1], size=Measure(end[0], "um")))
        told.append(message(Tuned.FIND_WHAT_MOVED))
    if found.beyond_noise:
        told.append(message(Tuned.TO_CENTRE, thin=found.thin_deg, size=Measure(found.size_um, "um")))
    elif not told:
        told.append(message(Tuned.OFFSET_NOT_SHOWN))
    return (*told, message(Tuned.CENTRING_CAUTION))


def write_centring_page(record: CentringReview, site: Site) -> WrittenFile:
    """Writes the centring page.

    Args:
        record: what it shows.
        site: where.
    """
    return write_page(
        site,
        "centring",
        record.run_id,
        "centring.html.j2",
        record,
        plots=True,
        path=centre_path(record),
        left_out=left_out(record),
        along=offset_along(record),
    )
