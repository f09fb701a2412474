"""The shift's day on the run sheet against the days of its log; the run is one of another invented line."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.errors import LogError
from pipeline.steps.load import load_run, read_run_sheets
from tests.other_lines.lines import LINES
from tests.other_lines.products import MADE_ON
from tests.other_lines.running import Plan, run_of
from tests.other_lines.writing import line_sheet_text, log_of, run_sheet_text, write_logs

LINE = LINES["T1"]


def _sheets(folder: Path, day: str) -> Path:
    run = run_of(LINE, MADE_ON["T1"][0], Plan(reels=1, reel_m=60.0))
    log = log_of(run)
    write_logs(folder, LINE, log)
    (folder / "line.toml").write_text(line_sheet_text(LINE))
    (folder / "plant.toml").write_text('[plant]\nname = "Foothill"\nzone = "America/Denver"\n')
    (folder / "run.toml").write_text(run_sheet_text(run, "R1", log).replace("2026-05-12 day", f"{day} day"))
    return folder / "run.toml"


@pytest.mark.parametrize("day", ["2026-05-11", "2026-05-12", "2026-05-13"])
def test_a_night_shift_may_be_of_the_day_before_or_after(tmp_path: Path, day: str) -> None:
    assert str(load_run(read_run_sheets(_sheets(tmp_path, day))).shift_date) == day


@pytest.mark.parametrize("day", ["2025-05-12", "2026-05-10", "2026-12-05"])
def test_a_shift_of_another_day_than_its_log_is_refused(tmp_path: Path, day: str) -> None:
    with pytest.raises(LogError) as fault:
        load_run(read_run_sheets(_sheets(tmp_path, day)))
    assert str(fault.value.complaints[0]) == (
        f"run R1: run.shift: the shift is of {day} and the logs run from 2026-05-12 to 2026-05-12. Correct the shift's "
        "day, or 'format' and 'zone' of the time column; the limits are those of that day."
    )
