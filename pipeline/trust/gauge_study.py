"""How much of the spread is the gauge? Parts, operators and repeats crossed.

Cut samples are used up by measuring, so a crossed study of them is not one: they need a nested design.
Against a one-sided limit the spread of the gauge is quoted against the margin to the limit; there is no
tolerance width to quote it against.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from pipeline.messages import message
from pipeline.methods import Method
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Refused

Floats = NDArray[np.float64]

# An interaction weaker than this is pooled with the repeats (AIAG, Measurement Systems Analysis, 4th ed.).
POOL_ABOVE_P = 0.05
# Average-and-range constants by number of trials, operators and parts (AIAG, 4th ed., from memory).
_K = {2: 0.7071, 3: 0.5231, 4: 0.4467, 5: 0.4030, 6: 0.3742, 7: 0.3534, 8: 0.3375, 9: 0.3249, 10: 0.3146}
_K_TRIALS = {2: 0.8862, 3: 0.5908}


@dataclass(frozen=True, slots=True)
class SourceRow:
    """A line of the analysis of variance.

    Args:
        name: source of variation.
        ss: sum of squares.
        df: degrees of freedom.
        ms: mean square.
        f: F ratio; NaN where there is none.
        p: its probability; NaN where there is none.
    """

    name: str
    ss: float
    df: int
    ms: float
    f: float
    p: float


@dataclass(frozen=True, slots=True)
class GaugeStudy:
    """Result of a crossed gauge study, as standard deviations.

    Args:
        repeatability: of the equipment, EV.
        reproducibility: of the operators, AV, interaction included where it is kept.
        gauge: both together, GRR.
        parts: of the parts, PV.
        total: of all, TV.
        gauge_low: lower end of the 95 % interval of the gauge's standard deviation; few operators make it wide.
        gauge_high: upper end.
        gauge_pct: 100 GRR/TV [%].
        categories: distinct categories, 1.41 PV/GRR, cut to a whole number.
        pooled: whether the interaction was pooled with the repeats.
        rows: the analysis of variance; empty for the average-and-range method.
        method: the method by name.
    """

    repeatability: float
    reproducibility: float
    gauge: float
    parts: float
    total: float
    gauge_low: float
    gauge_high: float
    gauge_pct: float
    categories: int
    pooled: bool
    rows: tuple[SourceRow, ...]
    method: str

    def share_of_margin_pct(self, mean: float, limit: float) -> float:
        """The gauge's standard deviation as a share of the margin to a one-sided limit [%]."""
        return 100.0 * self.gauge / abs(mean - limit) if mean != limit else float("inf")


def crossed_gauge_study(readings: Floats, pool_above_p: float = POOL_ABOVE_P) -> GaugeStudy | Refused:
    """Gauge study of parts x operators x trials by two-way analysis of variance with interaction.

    s2_rep = MS_e, s2_oper = (MS_o - MS_po)/(p n), s2_po = (MS_po - MS_e)/n, s2_part = (MS_p - MS_po)/(o n);
    negative components are 0; the interaction is pooled with the repeats where its p is above the limit.

    Args:
        readings: readings, shape (parts, operators, trials).
        pool_above_p: interaction pooled above this probability.

    Returns:
        The study, or a refusal where it is not crossed or not complete.

    Source:
        AIAG, Measurement Systems Analysis Reference Manual, 4th ed. (2010), chapter III section B.
    """
    refused = _refusal(readings)
    if refused is not None:
        return refused
    p, o, n = readings.shape
    grand = readings.mean()
    cell, part, oper = readings.mean(axis=2), readings.mean(axis=(1, 2)), readings.mean(axis=(0, 2))
    ss_p = o * n * float(((part - grand) ** 2).sum())
    ss_o = p * n * float(((oper - grand) ** 2).sum())
    ss_po = n * float(((cell - part[:, None] - oper[None, :] + grand) ** 2).sum())
    ss_e = float(((readings - cell[:, :, None]) ** 2).sum())
    df_p, df_o, df_po, df_e = p - 1, o - 1, (p - 1) * (o - 1), p * o * (n - 1)
    ms_po, ms_e = ss_po / df_po, ss_e / df_e
    f_po = ms_po / ms_e if ms_e > 0 else np.inf
    p_po = float(stats.f.sf(f_po, df_po, df_e))
    pooled = p_po > pool_above_p
    base_ms, base_df = ((ss_po + ss_e) / (df_po + df_e), df_po + df_e) if pooled else (ms_po, df_po)
    rows = (
        _row("parts", ss_p, df_p, base_ms, base_df),
        _row("operators", ss_o, df_o, base_ms, base_df),
        SourceRow("parts x operators", ss_po, df_po, ms_po, float(f_po), p_po),
        SourceRow("repeats", ss_e, df_e, ms_e, float("nan"), float("nan")),
        SourceRow("pooled", ss_po + ss_e, base_df, base_ms, float("nan"), float("nan"))
        if pooled
        else SourceRow(
            "total", ss_p + ss_o + ss_po + ss_e, readings.size - 1, 0.0, float("nan"), float("nan")
        ),
    )
    rep = base_ms if pooled else ms_e
    s2_o = max((rows[1].ms - base_ms) / (p * n), 0.0)
    s2_po = 0.0 if pooled else max((ms_po - ms_e) / n, 0.0)
    s2_p = max((rows[0].ms - base_ms) / (o * n), 0.0)
    per_operator = 1.0 / (p * n)
    terms = [(rows[1].ms, df_o, per_operator)]
    if pooled:
        terms.append((base_ms, base_df, 1.0 - per_operator))
    else:
        terms += [(ms_po, df_po, 1.0 / n - per_operator), (ms_e, df_e, 1.0 - 1.0 / n)]
    return _study(
        rep, s2_o + s2_po, s2_p, terms, pooled, rows, "crossed analysis of variance (AIAG, 4th ed.)"
    )


def _refusal(readings: Floats) -> Refused | None:
    question, method = asks(Quantity.GAUGE_STUDY), message(Method.GAUGE_STUDY_CROSSED)
    if readings.ndim != 3 or min(readings.shape) < 2:
        return Refused(
            question,
            method,
            message(Reason.STUDY_NOT_CROSSED),
            int(readings.size),
        )
    if not np.isfinite(readings).all():
        return Refused(
            question,
            method,
            message(Reason.STUDY_READING_MISSING),
            int(np.isfinite(readings).sum()),
        )
    return None


def _row(name: str, ss: float, df: int, base_ms: float, base_df: int) -> SourceRow:
    ms = ss / df
    f = ms / base_ms if base_ms > 0 else float("inf")
    return SourceRow(name, ss, df, ms, f, float(stats.f.sf(f, df, base_df)))


def _study(
    s2_rep: float,
    s2_oper: float,
    s2_part: float,
    terms: list[tuple[float, int, float]],
    pooled: bool,
    rows: tuple[SourceRow, ...],
    method: str,
) -> GaugeStudy:
    s2_gauge = s2_rep + s2_oper
    total = float(np.sqrt(s2_gauge + s2_part))
    gauge = float(np.sqrt(s2_gauge))
    low, high = _interval(terms, gauge)
    parts = float(np.sqrt(s2_part))
    return GaugeStudy(
        float(np.sqrt(s2_rep)),
        float(np.sqrt(s2_oper)),
        gauge,
        parts,
        total,
        low,
        high,
        100.0 * gauge / total if total > 0 else float("nan"),
        int(1.41 * parts / gauge) if gauge > 0 else 0,
        pooled,
        rows,
        method,
    )


def _interval(terms: list[tuple[float, int, float]], gauge: float) -> tuple[float, float]:
    """95 % interval of a standard deviation whose variance is a sum of weighted mean squares.

    G - sqrt(sum (g c MS)^2) to G + sqrt(sum (h c MS)^2), g = 1 - df/chi2_.975, h = df/chi2_.025 - 1 (modified
    large sample; F.A. Graybill, C.M. Wang, J. Amer. Statist. Assoc. 75, 1980; from memory).
    """
    if not terms:
        return gauge, gauge
    ms, df, weight = (np.array(one, dtype=np.float64) for one in zip(*terms, strict=True))
    parts = weight * ms
    g = 1.0 - df / stats.chi2.isf(0.025, df)
    h = df / stats.chi2.ppf(0.025, df) - 1.0
    middle = float(parts.sum())
    low = middle - float(np.sqrt(((g * parts) ** 2).sum()))
    high = middle + float(np.sqrt(((h * parts) ** 2).sum()))
    return float(np.sqrt(max(low, 0.0))), float(np.sqrt(high))


def average_and_range_study(readings: Floats) -> GaugeStudy | Refused:
    """The same study by averages and ranges, as still asked for by some customers.

    EV = Rbar K1, AV = sqrt((Xdiff K2)^2 - EV^2/(p n)), PV = Rp K3.

    Args:
        readings: readings, shape (parts, operators, trials): up to ten parts, three operators, three trials.

    Source:
        AIAG, Measurement Systems Analysis Reference Manual, 4th ed. (2010), chapter III section B; constants
        from memory. It has no interval: use the analysis of variance to decide.
    """
    refused = _refusal(readings)
    if refused is not None:
        return refused
    p, o, n = readings.shape
    if n not in _K_TRIALS or o not in {2, 3} or p not in _K:
        return Refused(
            asks(Quantity.GAUGE_STUDY),
            message(Method.GAUGE_STUDY_RANGES),
            message(Reason.NO_CONSTANTS_FOR_STUDY),
            int(readings.size),
        )
    ev = float(np.ptp(readings, axis=2).mean()) * _K_TRIALS[n]
    apart = float(np.ptp(readings.mean(axis=(0, 2))))
    av2 = max((apart * _K[o]) ** 2 - ev**2 / (p * n), 0.0)
    pv = float(np.ptp(readings.mean(axis=(1, 2)))) * _K[p]
    return _study(ev**2, av2, pv**2, [], False, (), "averages and ranges (AIAG, 4th ed.)")
