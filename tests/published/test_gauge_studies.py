"""Gauge study and lines with errors in both directions against published examples."""

import numpy as np
import pytest
from worked_cases import column, printed

from pipeline.results import Refused
from pipeline.trust.gauge_study import average_and_range_study, crossed_gauge_study
from pipeline.trust.laboratory import deming, line_with_errors_in_both


def readings() -> np.ndarray:
    """Parts x operators x trials."""
    cube = np.full((10, 3, 3), np.nan)
    rows = zip(*(column("MSA-01", name) for name in ("part", "appraiser", "trial", "y")), strict=True)
    for part, operator, trial, y in rows:
        cube[int(part) - 1, int(operator) - 1, int(trial) - 1] = y
    return cube


def test_crossed_study_of_the_measurement_systems_manual() -> None:
    """AIAG, Measurement Systems Analysis, 4th ed. (2010), tables III-B 7 to 9: 10 parts, 3 appraisers, 3 trials.

    The printed GRR 0.302373 was formed from rounded parts; unrounded it is 0.302372.
    """
    study = crossed_gauge_study(readings())
    assert not isinstance(study, Refused)
    answers = printed("MSA-01-answers")
    rows = {one.name: one for one in study.rows}
    found = {
        "SS appraiser": rows["operators"].ss,
        "SS part": rows["parts"].ss,
        "SS interaction": rows["parts x operators"].ss,
        "SS equipment": rows["repeats"].ss,
        "MS appraiser": rows["operators"].ms,
        "MS part": rows["parts"].ms,
        "MS interaction": rows["parts x operators"].ms,
        "MS equipment": rows["repeats"].ms,
        "F appraiser*part": rows["parts x operators"].f,
        "pooled MS": rows["pooled"].ms,
        "F appraiser (pooled)": rows["operators"].f,
        "F part (pooled)": rows["parts"].f,
        "EV (ANOVA)": study.repeatability,
        "AV (ANOVA)": study.reproducibility,
        "PV (ANOVA)": study.parts,
        "TV (ANOVA)": study.total,
        "%EV": 100 * study.repeatability / study.total,
        "%AV": 100 * study.reproducibility / study.total,
        "%GRR": study.gauge_pct,
        "%PV": 100 * study.parts / study.total,
    }
    for name, value in found.items():
        assert value == pytest.approx(answers[name][0], abs=answers[name][1]), name
    assert study.gauge == pytest.approx(answers["GRR (ANOVA)"][0], abs=2e-6)
    assert study.categories == answers["ndc (ANOVA, truncated 4.86)"][0]
    assert study.pooled


def test_average_and_range_study_of_the_same_readings() -> None:
    """As above, report III-B 6b; the manual rounds in between, so 1e-4 of the standard deviations."""
    study = average_and_range_study(readings())
    assert not isinstance(study, Refused)
    answers = printed("MSA-01-answers")
    found = {
        "EV (range)": study.repeatability,
        "AV (range)": study.reproducibility,
        "GRR (range)": study.gauge,
        "PV (range)": study.parts,
        "TV (range)": study.total,
    }
    for name, value in found.items():
        assert value == pytest.approx(answers[name][0], abs=1e-4), name
    assert study.gauge_pct == pytest.approx(answers["%GRR (range)"][0], abs=0.01)
    assert study.categories == answers["ndc (range)"][0]


def test_pearsons_data_with_yorks_weights() -> None:
    """D. York, Can. J. Phys. 44 (1966) 1079-1086; York et al., Am. J. Phys. 72 (2004) 367."""
    x, y, wx, wy = (column("MSA-05", name) for name in ("x", "y", "wx", "wy"))
    line = line_with_errors_in_both(x, y, 1 / np.sqrt(wx), 1 / np.sqrt(wy))
    assert not isinstance(line, Refused)
    answers = printed("MSA-05-answers")
    assert line.slope == pytest.approx(answers["slope"][0], abs=answers["slope"][1])
    assert line.intercept == pytest.approx(answers["intercept"][0], abs=answers["intercept"][1])
    assert line.misfit == pytest.approx(
        answers["S (sum of squares)"][0], abs=answers["S (sum of squares)"][1]
    )


def test_orthogonal_line_through_pearsons_data() -> None:
    """K. Pearson (1901): Deming's line with ratio 1."""
    line = deming(column("MSA-05", "x"), column("MSA-05", "y"), ratio=1.0)
    assert not isinstance(line, Refused)
    answers = printed("MSA-05-answers")
    assert line.slope == pytest.approx(*answers["orthogonal slope (Pearson 1901)"][:1], abs=5e-5)
    assert line.intercept == pytest.approx(answers["orthogonal intercept"][0], abs=1e-4)
