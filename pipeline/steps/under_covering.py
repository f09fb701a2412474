"""Does the covering stay what the run sheet states, where the gauges read it together with the insulation?

Insulation that thins while its covering thickens by as much leaves the wall and the cold diameter what they were. A
hot diameter gauge that stands before the covering goes on sees the insulation alone: where it moves and the wall of
the same wire does not move with it, the covering is not the one that was taken off, and nothing is concluded.
"""

from __future__ import annotations

import numpy as np
from scipy.ndimage import median_filter

from pipeline.contradictions import Unseen
from pipeline.messages import Measure, Message, message
from pipeline.sheets.line_sheet import LineSheet
from pipeline.sheets.run_sheet import Covering
from pipeline.steps.evidence import Floats, Seen
from pipeline.trust.reading_drift import BEYOND, POWER, movement_sd_mm
from pipeline.trust.redundancy import AgreementStretch, over_read_stretch
from pipeline.trust.room_for_wall import COOLS, FEWEST_READINGS, TOGETHER, over_read
from pipeline.warned import Agrees

# What the hot gauge leaves usually is told by wire of at most four fifths of the run that is wrong (chosen here).
USUAL_SHARE = 0.8


def covering_moves(
    wall: Seen | None,
    hot: Seen | None,
    diameter: Seen | None,
    conductor: tuple[Floats, Floats],
    covering: Covering | None,
    line: LineSheet,
) -> tuple[tuple[AgreementStretch, ...], tuple[Message, ...]]:
    """Stretches where insulation and hot diameter do not move together, and what of a covering this run cannot show.

    The hot area over the conductor is the insulation's at another density: their ratio is the run's own. By the ratio
    each hot diameter gives a wall; where the wall read less the covering is more than that, the covering is thicker.

    Args:
        wall: mean wall of the insulation, the stated covering taken off [mm]; None where there is none.
        hot: hot diameter along the wire [mm]; None without a gauge.
        diameter: overall diameter along the wire [mm].
        conductor: places on the wire and diameters of the conductor [m, mm], rising.
        covering: what is known of the covering, None for a single layer.
        line: the line sheet.
    """
    ring = line.instrument("wall gauge")
    if covering is None or wall is None or (ring is not None and ring.sees == "insulation"):
        return (), ()
    unseen = (message(Unseen.COVERING_AS_STATED, mean=Measure(covering.mean_mm, "mm")),)
    if hot is None or diameter is None:
        return (), unseen
    read = hot.fit & np.isfinite(hot.value)
    here = np.flatnonzero(wall.fit & np.isfinite(wall.value))
    here = here[np.argsort(wall.at_m[here], kind="stable")]
    if int(read.sum()) < FEWEST_READINGS or here.size < FEWEST_READINGS:
        return (), unseen
    order = np.argsort(hot.at_m[read], kind="stable")
    places, across = hot.at_m[read][order], hot.value[read][order]
    nearest = np.minimum(np.searchsorted(places, wall.at_m[here]), places.size - 1)
    apart = np.minimum(
        np.abs(places[nearest] - wall.at_m[here]),
        np.abs(wall.at_m[here] - places[np.maximum(nearest - 1, 0)]),
    )
    here = here[apart <= hot.hole_m]
    # Plastic shrinks as it cools: wire that is thicker cold than hot had its covering put on in between.
    if here.size < FEWEST_READINGS or np.nanmedian(diameter.value[diameter.fit]) <= np.median(across):
        return (), unseen
    at_m, mean, steady = wall.at_m[here], wall.value[here], wall.steady[here]
    usual = steady if bool(steady.any()) else np.ones(here.size, dtype=np.bool_)
    bare = np.interp(at_m, *conductor)
    hot_area = np.interp(at_m, places, across) ** 2 - bare**2
    ratio = float(np.median((((bare + 2.0 * mean) ** 2 - bare**2) / hot_area)[usual]))
    left = (np.sqrt(np.maximum(bare**2 + ratio * hot_area, 0.0)) - bare) / 2.0 - mean
    sd = (wall.uncertainty, hot.uncertainty, 0.0)
    moves, usual_wall = movement_sd_mm(sd, 0.0, True), float(np.median(mean[usual]))
    level = median_filter(left, TOGETHER, mode="nearest")
    thick = over_read(at_m, left, float(np.quantile(level[usual], USUAL_SHARE)), usual_wall, moves)
    thin = over_read(at_m, -left, -float(np.median(left[usual])), usual_wall, moves)
    least = COOLS * usual_wall + (BEYOND + POWER) * moves
    return (
        *(over_read_stretch(one.from_m, one.to_m, one.more_mm, Agrees.COVERING_THICKER) for one in thick),
        *(over_read_stretch(one.from_m, one.to_m, one.more_mm, Agrees.COVERING_THINNER) for one in thin),
    ), (message(Unseen.COVERING_LEAST, least=Measure(least, "mm"), mean=Measure(covering.mean_mm, "mm")),)
