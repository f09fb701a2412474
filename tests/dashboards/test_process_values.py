"""Process values of the run page: against the log line by line, with gaps, units and what was changed in the run."""

from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest

from dashboards.fillers.process_values import MOST_GAPS, PROCESS, STRETCHES, process_values, readings_drawn
from dashboards.fillers.run_book import RunBook, run_books
from dashboards.mailing import single_file
from dashboards.site import Site
from pipeline.columns import CHANNELS, WALL_CHANNELS
from pipeline.store.database import open_to_read
from pipeline.store.readings import read_frame
from tests.dashboards import invented
from tests.dashboards.opened import opened
from tests.dashboards.test_pages_in_browser import CLIPPED
from tests.dashboards.test_walk import OVERLAPS, WIDTHS

TIMES = np.arange(5000.0)
RUN = Path("runs") / "L1-0312-2.html"


def test_every_logged_channel_but_walls_and_counters_is_shown() -> None:
    counted = {"counter_m", "spark_counts", "flaw_size_mm"}
    assert set(PROCESS) == {one.name for one in CHANNELS} - set(WALL_CHANNELS) - counted


def book_of(store: Any, run_id: str) -> RunBook:
    return next(one for one in run_books(store) if one.run_id == run_id)


def test_what_is_drawn_is_what_was_logged_at_its_time_and_place(judged_store: Path) -> None:
    with open_to_read(judged_store) as store:
        book = book_of(store, "R-0412")
        found = process_values(book)
        logged = read_frame(store, book.head["load_folder"], "logged")
        flagged = read_frame(store, book.head["load_folder"], "flagged")
        front_m = read_frame(store, book.head["assessment_folder"], "placed")["front_m"].to_numpy()
    assert found is not None
    assert [one.name for one in found.channels][:3] == [
        "melt_temperature_c",
        "melt_pressure_bar",
        "screw_speed_rpm",
    ]
    seconds = (logged["time_utc"] - logged["time_utc"][0]).dt.total_microseconds().to_numpy() / 1e6
    # Stations as the demo's line sheet gives them.
    stations = {"hot_diameter_mm": 1.5, "spark_kv": 78.0}
    for one in found.channels:
        drawn = np.isfinite(one.values)
        rows = np.searchsorted(seconds, one.at_s[drawn])
        assert one.values[drawn] == pytest.approx(logged[one.name].to_numpy()[rows])
        assert not set(logged["row"].to_numpy()[rows].tolist()) & set(
            flagged.filter(pl.col("channel") == one.name)["row"].to_list()
        )
        if one.name in stations:
            assert one.at_m[drawn] == pytest.approx(front_m[rows] - stations[one.name])
        sound = logged.join(flagged.filter(pl.col("channel") == one.name), on="row", how="anti")[one.name]
        assert (np.nanmin(one.values), np.nanmax(one.values)) == (sound.min(), sound.max())
        assert one.values.size <= 2 * STRETCHES + 3 * MOST_GAPS + 2


def test_changes_are_those_of_the_run_sheet_and_the_log(judged_store: Path) -> None:
    """Bolts and metres stand in the run sheet of R-0516; its screw was stepped between 25 and 26 rpm."""
    with open_to_read(judged_store) as store:
        found = process_values(book_of(store, "R-0516"))
    assert found is not None
    bolts = [(one.what, one.at_m) for one in found.changes if one.what.startswith("bolt")]
    assert bolts[:2] == [("bolt L2-B1 0.5 turn out", 330.0), ("bolt L2-B2 0.5 turn in", 590.0)]
    steps = [(one.before, one.after) for one in found.changes if one.what == "Screw speed"]
    assert np.array(steps) == pytest.approx(np.array([[25, 26], [26, 25], [25, 26]]), abs=0.05)
    assert [one.at_s for one in found.changes] == sorted(one.at_s for one in found.changes)


def test_a_channel_logged_every_tenth_row_has_no_gap_and_a_dropout_is_one() -> None:
    values = np.full(TIMES.size, np.nan)
    values[::10] = 5.0
    assert np.isfinite(readings_drawn(values, TIMES, np.zeros(TIMES.size))[1]).all()
    values[2000:2600] = np.nan
    rows, drawn = readings_drawn(values, TIMES, np.zeros(TIMES.size))
    (blank,) = np.flatnonzero(np.isnan(drawn))
    assert (rows[blank - 1], rows[blank + 1]) == (1990, 2600)


def test_rows_that_the_log_misses_are_a_gap_although_every_row_has_a_reading() -> None:
    missed = np.where(TIMES >= 3000, 1.0, 0.0)
    rows, drawn = readings_drawn(np.sin(TIMES), TIMES, missed)
    (blank,) = np.flatnonzero(np.isnan(drawn))
    assert (rows[blank - 1], rows[blank + 1]) == (2999, 3000)


def test_of_very_many_gaps_the_longest_are_drawn() -> None:
    values = np.ones(TIMES.size)
    values[2::5] = np.nan
    values[700:900] = np.nan
    rows, drawn = readings_drawn(values, TIMES, np.zeros(TIMES.size))
    assert np.isnan(drawn).sum() == MOST_GAPS
    assert rows[np.isnan(drawn)].tolist().count(699) == 1
    one = np.full(9, np.nan)
    one[4] = 2.0
    assert readings_drawn(one, TIMES[:9], np.zeros(9))[1].tolist() == [2.0]


def open_section(page: Any) -> None:
    page.click("#process-title")
    page.wait_for_selector("#process:not([data-folded])")


def shown(page: Any) -> list[str]:
    return page.evaluate(
        "Object.entries(document.getElementById('process')._fullLayout)"
        ".filter(([k, v]) => /^yaxis/.test(k) && v).map(([k, v]) => v.title.text)"
    )


@pytest.mark.browser
def test_the_reader_chooses_channels_axis_units_and_view(chromium: Any, site_folder: Path) -> None:
    channel = invented.process().channels[0]
    with opened(chromium) as one:
        page = one.page
        one.go(site_folder / RUN)
        open_section(page)
        assert shown(page) == ["Melt temperature, °F", "Melt pressure, psi", "Screw speed, rpm"]
        # Exact: degrees Fahrenheit are 1.8 degrees Celsius and 32; blocks keep a hundredth of a degree.
        drawn = page.evaluate("Array.from(document.getElementById('process').data[0].y)")
        wanted = channel.values * 1.8 + 32.0
        assert np.array(drawn, dtype=float) == pytest.approx(wanted, abs=0.01, nan_ok=True)
        assert np.isnan(np.array(drawn, dtype=float)).any()
        names = page.evaluate("document.getElementById('process')._fullLayout.annotations.map(a => a.text)")
        assert names == ["insulation compound lot PVC-2292", "Screw speed"]
        assert page.is_disabled("#process-choice input[value='4']")
        page.uncheck("#process-choice input[value='0']")
        page.check("#process-choice input[value='4']")
        page.click('[data-switch="units"]')
        page.wait_for_function(
            "document.getElementById('process')._fullLayout.yaxis3.title.text === 'Hot diameter, mm'"
        )
        assert shown(page)[0] == "Melt pressure, bar"
        # By position the view is the wire's, and the value axis follows what is in view.
        page.evaluate("location.hash = '#m=2000.0-2400.0'")
        page.wait_for_function("document.getElementById('process').dataset.view === '2000 2400'")
        pressure = invented.process().channels[1]
        inside = pressure.values[(pressure.at_m >= 2000.0) & (pressure.at_m <= 2400.0)]
        room = 0.08 * (inside.max() - inside.min())
        range_ = page.evaluate("document.getElementById('process')._fullLayout.yaxis.range")
        assert range_ == pytest.approx([inside.min() - room, inside.max() + room], abs=0.02)
        page.select_option("#process-axis", "clock")
        page.wait_for_function("document.getElementById('process')._fullLayout.xaxis.type === 'date'")
        ends = page.evaluate("document.getElementById('process')._fullLayout.xaxis.range")
        # 20:00 UTC is 15:00 by a clock of Chicago in March after the 8th (summer time, five hours behind).
        assert ends[0].startswith("2026-03-12 15:00") and ends[1].startswith("2026-03-12 17:00")
        page.click('[data-process="in"]')
        page.wait_for_function(
            "document.getElementById('process')._fullLayout.xaxis.range[0] > '2026-03-12 15:10'"
        )
        assert one.said == []


@pytest.mark.browser
def test_the_open_section_stands_at_every_width(chromium: Any, site_folder: Path) -> None:
    for width in WIDTHS:
        with opened(chromium, width) as one:
            one.go(site_folder / RUN, pointed=False)
            open_section(one.page)
            assert one.page.evaluate(CLIPPED) == []
            assert one.page.evaluate(OVERLAPS) == []
            box = one.page.locator("#process .main-svg").first.bounding_box()
            assert box["width"] <= width
            assert one.said == []


@pytest.mark.browser
def test_a_mailed_page_carries_its_process_values(chromium: Any, site_folder: Path, tmp_path: Path) -> None:
    small = single_file(Site(site_folder), str(RUN), tmp_path / "small.html", most_bytes=0)
    with opened(chromium) as one:
        one.go(small)
        open_section(one.page)
        assert len(shown(one.page)) == 3
        assert one.said == []


@pytest.mark.browser
def test_process_values_missing_beside_the_page_are_told(chromium: Any, site_folder: Path) -> None:
    with opened(chromium) as one:
        one.page.route("**/data/*/process.js", lambda route: route.abort())
        one.go(site_folder / RUN)
        one.page.click("#process-title")
        one.page.wait_for_function(
            "document.getElementById('process-status').textContent.includes('could not be opened')"
        )
