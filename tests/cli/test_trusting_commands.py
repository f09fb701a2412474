"""The commands gauge and samples, as a person would type them."""

from __future__ import annotations

import json
import re
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from dashboards.fillers.plant import plant_of
from dashboards.fillers.run_book import run_books
from dashboards.page_writing import write_pages
from dashboards.pages.data_quality import _in_date, data_quality_review
from pipeline.cli.app import run
from pipeline.record.journal_on_file import journal_of
from pipeline.simulator.lines import line_l2
from pipeline.store.database import open_to_read
from pipeline.store.readings import read_frame
from tests.acts.decided_store import copied
from tests.published.worked_cases import column


def table(path: Path, *lines: str) -> Path:
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def said(capsys: pytest.CaptureFixture[str]) -> tuple[str, str]:
    told = capsys.readouterr()
    return told.out, told.err


def test_a_gauge_study_prints_the_manuals_figures(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """AIAG, Measurement Systems Analysis, 4th ed. (2010), tables III-B 7 to 9; read 3 mm higher so as to be lengths.

    Printed there: GRR 0.302373 (27.86 % of the total), 4 distinct categories.
    """
    rows = zip(*(column("MSA-01", name) for name in ("part", "appraiser", "trial", "y")), strict=True)
    file = table(
        tmp_path / "study.csv",
        "part,operator,trial,value_mm",
        *(f"{part:g},{operator:g},{trial:g},{y + 3.0}" for part, operator, trial, y in rows),
    )
    assert run(["gauge", str(file), "--limit", "1mm", "--json"]) == 0
    found = json.loads(said(capsys)[0])
    assert found["gauge"] == pytest.approx(0.302373, abs=5e-6)
    assert found["gauge_pct"] == pytest.approx(27.86, abs=0.005)
    assert found["categories"] == 4
    # The mean of the readings is 3.0014 mm: 0.302373 of 2.0014 mm, by hand.
    assert found["share_of_margin_pct"] == pytest.approx(15.1, abs=0.05)
    plain, guarded, _ = found["risks"]["guard_bands"]
    # By scipy's normal distribution of two values: true value under 1 mm, read from 1 mm up, and the other way round.
    mean, u = np.array([3.0014, 3.0014]), 0.302373
    spread = np.array([[found["parts"] ** 2] * 2, [found["parts"] ** 2, found["parts"] ** 2 + u**2]])
    both = stats.multivariate_normal.cdf([1.0, 1.0], mean, spread)
    assert plain["accepted_though_bad"] == pytest.approx(
        stats.norm.cdf(1.0, 3.0014, found["parts"]) - both, rel=0.01
    )
    read_bad = stats.norm.cdf(1.0, 3.0014, spread[1, 1] ** 0.5)
    assert plain["rejected_though_good"] == pytest.approx(read_bad - both, rel=0.01)
    assert guarded["acceptance_limit_mm"] == pytest.approx(1.302373, abs=5e-6)
    # w = s0^2/(s0^2 + u^2) of the reading and the rest of the mean, by hand.
    weight = found["parts"] ** 2 / spread[1, 1]
    assert found["risks"]["at_the_limit_mm"] == pytest.approx(weight * 1.0 + (1 - weight) * 3.0014, abs=1e-4)
    assert run(["gauge", str(file), "--limit", "1mm"]) == 0
    assert "A part that reads at the limit is then most likely 1.1" in said(capsys)[0]
    assert run(["gauge", str(file)]) == 0
    assert "The interaction was pooled with the repeats." in said(capsys)[0]


def test_bad_tables_are_told_line_by_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    head = "part,operator,trial,value_mm"
    bad = table(tmp_path / "bad.csv", head, "1,A,1,x", "1,A,1,0.4", "1,A,1,0.5", "2,,1,0.4")
    assert run(["gauge", str(bad)]) == 2
    assert said(capsys)[1] == (
        f"{bad}:2: value_mm: 'x' is no figure from 0 up. Write it like 0.412.\n"
        f"{bad}:4: part 1, operator A, trial 1 stands twice. Number the trials.\n"
        f"{bad}:5: 'operator' is empty. Fill it in, or take the line out.\n"
    )
    hole = table(tmp_path / "hole.csv", head, "1,A,1,0.4", "1,A,2,0.4", "2,A,1,0.4")
    assert run(["gauge", str(hole)]) == 2
    assert said(capsys)[1] == (
        f"{hole}: A crossed study needs two parts, two operators and two trials or more, each operator on each part. "
        "Complete the table.\n"
    )
    empty = table(tmp_path / "empty.csv")
    assert run(["samples", str(empty)]) == 2
    assert "no line of figures stands in it" in said(capsys)[1]


def lab_table(store: Path, path: Path, off_mm: float) -> Path:
    """Eight samples of a reel whose laboratory results are the in-line mean over 2 m less `off_mm` and a little."""
    with open_to_read(store) as opened:
        head = next(row for row in opened.ask("questions/current_runs") if row["run_id"] == "R-0511")
        reel = opened.ask("questions/reel", reel_id="L2-0511-01")[0]
        frame = read_frame(opened, head["assessment_folder"], "measured")
    at, wall = frame["wall_at_m"].to_numpy(), frame["mean_wall_mm"].to_numpy()
    lines = ["reel,at_m,quantity,value_mm,sd_mm"]
    for number in range(8):
        outer = 30.0 * (number + 1)
        near = abs(at - (reel["to_m"] - outer)) <= 1.0
        little = 0.001 if number % 2 else -0.001
        lines.append(f"L2-0511-01,{outer:g},mean_wall_mm,{wall[near].mean() - off_mm + little:.6f},0.002")
    return table(path, *lines)


def test_samples_give_the_bias_and_it_stands_on_the_data_quality_page(
    judged_store: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    store = copied(judged_store, tmp_path / "store")
    file = lab_table(store, tmp_path / "lab.csv", 0.020)
    with open_to_read(store) as opened:
        before = write_pages(opened, tmp_path / "pages", lambda _what, _more: None)[1]
    assert before > 0
    assert run(["samples", str(file), "--store", str(store), "--json"]) == 0
    (found,) = json.loads(said(capsys)[0])
    assert found["instrument"] == "L2-WG" and found["bias"]["n"] == 8
    assert found["bias"]["estimate"] == pytest.approx(0.020, abs=1e-5)
    # The t interval of eight differences of +-1 um: 2.365 x 1.069 um / sqrt 8 = 0.894 um, by hand.
    assert found["bias"]["high"] - found["bias"]["estimate"] == pytest.approx(0.000894, abs=2e-6)
    assert found["bias"]["warnings"] == [
        (
            "These samples support a standard uncertainty of 0.02 mm; the line sheet states 0.005 mm. Calibrate the "
            "gauge or raise 'uncertainty_mm'."
        )
    ]
    with open_to_read(store) as opened:
        assert write_pages(opened, tmp_path / "pages", lambda _what, _more: None)[1] == 0
    assert run(["samples", str(file), "--store", str(store), "--role", "quality engineer"]) == 0
    assert "Kept as journal entries" in said(capsys)[0]
    with open_to_read(store) as opened:
        entries = len(journal_of(opened))
    assert run(["samples", str(file), "--store", str(store), "--role", "quality engineer"]) == 0
    assert "0 samples; 8 were on file already" in said(capsys)[0]
    with open_to_read(store) as opened:
        assert len(journal_of(opened)) == entries
        books = run_books(opened)
        review = data_quality_review(plant_of(opened, books), books)
        # The samples stand on their reel's page too, and hold the run's reels: they contradict its readings.
        assert write_pages(opened, tmp_path / "pages", lambda _what, _more: None)[1] > 1
    page = (tmp_path / "pages" / "reels" / "L2-0511-01.html").read_text()
    assert "R-0511-S01" in page and "not named" in page
    row = next(one for one in review.instruments if one.instrument_id == "L2-WG")
    assert row.bias is not None and row.bias.estimate == pytest.approx(0.020, abs=1e-5)  # type: ignore[union-attr]
    # The line's own stops tell the invented 5 um of noise.
    assert row.noise is not None and row.noise.estimate == pytest.approx(0.005, rel=0.15)  # type: ignore[union-attr]
    text = re.sub(r"<[^>]+>", " ", (tmp_path / "pages" / "data-quality" / "index.html").read_text())
    assert "0.0200" in text
    assert run(["verify", "--store", str(store)]) == 0


def test_samples_that_lie_nowhere_are_refused(
    judged_store: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    head = "reel,at_ft,quantity,value_mil"
    far = table(tmp_path / "far.csv", head, "L2-0511-01,90000,mean_wall_mm,57")
    assert run(["samples", str(far), "--store", str(judged_store)]) == 2
    assert said(capsys)[1] == (
        f"{far}:2: reel L2-0511-01: a sample 90,000.0 ft from its outer end is not on it. It holds 1,000.0 ft; count "
        "from the end that comes off first.\n"
    )
    other = table(tmp_path / "other.csv", head, "L2-0511-01,90,colour,57")
    assert run(["samples", str(other), "--store", str(judged_store)]) == 2
    assert said(capsys)[1] == (
        f"{other}:2: 'colour' is not compared. It may be mean_wall_mm, thinnest_wall_mm, "
        "covering_mm, conductor_mm, concentricity_pct, diameter_mm.\n"
    )


class _Book:
    def __init__(self, started: datetime, ended: datetime) -> None:
        self.head = {"started_utc": started, "ended_utc": ended}


@pytest.mark.parametrize(
    ("calibrated", "due", "held"),
    [
        (date(2026, 1, 12), date(2026, 7, 12), True),
        (date(2026, 1, 12), date(2026, 3, 3), False),  # the run ends after midnight
        (date(2026, 3, 10), date(2026, 7, 12), False),  # calibrated after the run
        (None, None, None),
    ],
)
def test_the_page_says_what_the_judgement_says_of_a_calibration(
    calibrated: date | None, due: date | None, held: bool | None
) -> None:
    line = line_l2()
    gauge = next(one for one in line.instruments if one.id == "L2-WG")
    changed = gauge.model_copy(update={"calibrated": calibrated, "calibration_due": due})
    line = line.model_copy(
        update={"instruments": tuple(changed if one.id == "L2-WG" else one for one in line.instruments)}
    )
    book = _Book(datetime(2026, 3, 4, 4, 0, tzinfo=UTC), datetime(2026, 3, 4, 9, 0, tzinfo=UTC))
    assert _in_date("L2-WG", "America/Chicago", [(book, line)]) is held  # type: ignore[list-item]
