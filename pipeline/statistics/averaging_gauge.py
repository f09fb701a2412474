"""What a gauge that averages over a length cannot see, and the margin at the scale of the standard's
specimen.

A reading is a mean over the wire that passed while it was taken; a specimen is a slice of millimetres.
Variation shorter than the reading's length is averaged away and must come from cut slices. Sources:
Vanmarcke, Random Fields: Analysis and Synthesis (1983), for the variance function (from memory); UL 2556
(2021) 4.1.2 and 4.1.3.1.1, specimen of at most 8 mm.
"""

from __future__ import annotations

import math

from scipy import stats

from pipeline.arguments import checked
from pipeline.assumed import Assumed
from pipeline.messages import Measure, message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Refused, Result


@checked
def margin_at_specimen_scale(
    margin_mm: float,
    observed_sd_mm: float,
    noise_sd_mm: float,
    small_scale_sd_mm: float | None,
    *,
    window_m: float,
    n_observed: float,
    n_noise: float,
    n_small_scale: float,
) -> Result | Refused:
    """Margin to the limit in standard deviations of the wall at the scale of the standard's specimen.

    s_pt^2 = s_obs^2 - s_noise^2 + s_small^2; result margin/s_pt, interval from chi-square with
    Satterthwaite's degrees of freedom (sum of signed variances)^2 / sum (variance^2/f).

    Args:
        margin_mm: mean minus limit [mm].
        observed_sd_mm: standard deviation of the readings [mm].
        noise_sd_mm: of the gauge on standing wire [mm].
        small_scale_sd_mm: between neighbouring slices of cut samples [mm]; None if never measured.
        window_m: length one reading averages over [m].
        n_observed: effective readings behind the first, for its variance.
        n_noise: readings behind the second.
        n_small_scale: slices behind the third.

    Returns:
        A `Result` about a point at specimen scale, or a `Refused`: without slices only means over the window
        may be spoken of.

    Source: Satterthwaite, Biometrics Bulletin 2 (1946), 110-114 (from memory); the sum is derived here. Poor
    where the noise is nearly as large as the observed spread.
    """
    question = asks(Quantity.SPECIMEN_MARGIN)
    method = message(Method.SPECIMEN_MARGIN)
    if small_scale_sd_mm is None:
        reason = message(Reason.SHORT_VARIATION_NOT_MEASURED, window_m=Measure(window_m, "m"))
        return Refused(question, method, reason, int(n_observed))
    parts = (observed_sd_mm**2, -(noise_sd_mm**2), small_scale_sd_mm**2)
    counts = (n_observed, n_noise, n_small_scale)
    total = sum(parts)
    if not all(math.isfinite(one) and one > 2.0 for one in counts) or not all(
        math.isfinite(one) for one in (*parts, margin_mm)
    ):
        on_hand = int(n_observed) if math.isfinite(n_observed) else 0
        return Refused(question, method, message(Reason.DEVIATION_OF_TOO_FEW_VALUES), on_hand)
    if observed_sd_mm <= noise_sd_mm or total <= 0.0:
        reason = message(Reason.GAUGE_NOISE_AS_LARGE_AS_SPREAD)
        return Refused(question, method, reason, int(n_observed))
    freedom = total**2 / sum(one**2 / (n - 1.0) for one, n in zip(parts, counts, strict=True))
    tail = (1.0 - 0.95) / 2.0
    ratio = margin_mm / math.sqrt(total)
    ends = sorted(
        ratio * math.sqrt(float(one) / freedom)
        for one in (stats.chi2.ppf(tail, freedom), stats.chi2.isf(tail, freedom))
    )
    told = message(
        Note.MARGIN_OF_READINGS_ALONE, margin_mm=margin_mm / observed_sd_mm, window_m=Measure(window_m, "m")
    )
    return Result(
        question=question,
        estimate=ratio,
        low=ends[0],
        high=ends[1],
        confidence=0.95,
        unit="",
        method=method,
        n=int(n_observed),
        effective_n=freedom + 1.0,
        known_m=None,
        unit_of_inference="point at specimen scale",
        assumptions=(
            Assumption(message(Assumed.SLICES_STAND_FOR_THE_RUN), None, message(Note.CUT_FROM_FEW_PLACES)),
        ),
        warnings=(told,) if total > observed_sd_mm**2 else (),
        details={
            "specimen_scale_sd_mm": math.sqrt(total),
            "observed_sd_mm": observed_sd_mm,
            "naive_margin_sd": margin_mm / observed_sd_mm,
            "degrees_of_freedom": freedom,
        },
    )
