"""Clocks that jump, rows that come late, logs in another zone."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from pipeline.errors import LogError
from pipeline.flags import CLOCK_STEP, DUPLICATE, TIME_BACKWARDS
from pipeline.logs.sequence import row_order
from tests.logs.sheets import HEADER, WIDE, read
from tests.said import said

START = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
US = 1_000_000


def line(second: float, counter: float, speed: float = 8.0, walls: str = "0.44,0.45") -> str:
    return f"{(START + timedelta(seconds=second)).isoformat()},{counter},{speed},{walls}\n"


def write(folder: Path, *lines: str, name: str = "gauge.csv") -> None:
    (folder / name).write_text(HEADER + "".join(lines))


def test_late_rows_stand_where_their_time_says_and_are_told(tmp_path: Path) -> None:
    write(tmp_path, *(line(k, 8.0 * k) for k in (0, 1, 4, 2, 3, 5)))
    run = read(tmp_path, WIDE)
    assert run.readings["counter_m"].to_list() == [0, 8, 16, 24, 32, 40]
    assert run.readings["line"].to_list() == [2, 3, 5, 6, 4, 7]
    # The row that is earlier than the row before it in the file.
    assert run.flagged.rows() == [(2, "time_utc", TIME_BACKWARDS.code)]
    assert said(run.warnings) == (
        "gauge.csv: in 1 place rows were written later than their time says; they stand where their time says.",
    )


def test_a_clock_set_back_keeps_the_order_of_the_file(tmp_path: Path) -> None:
    # From row 20 on, the clock is 5.5 s behind; the counter runs on.
    seconds = [k if k < 20 else k - 5.5 for k in range(40)]
    write(tmp_path, *(line(second, 8.0 * k) for k, second in enumerate(seconds)))
    run = read(tmp_path, WIDE)
    assert run.readings["counter_m"].to_list() == [8.0 * k for k in range(40)]
    assert run.readings["time_utc"][20] == START + timedelta(seconds=14.5)
    assert run.flagged.filter(channel="time_utc").rows() == [
        (20, "time_utc", TIME_BACKWARDS.code),
        (20, "time_utc", CLOCK_STEP.code),
    ]
    assert said(run.warnings) == (
        (
            "gauge.csv: the clock was set back by 4.5 s at 2026-03-02 12:00:14 UTC; the rows keep the order of the "
            "file, and times after it may be off by that much."
        ),
    )


def test_a_clock_set_back_without_a_counter(tmp_path: Path) -> None:
    seconds = np.array([k if k < 20 else k - 5.5 for k in range(40)])
    order = row_order((seconds * US).astype(np.int64), None, None, "log")
    assert order.steps.tolist() == [20]
    assert (np.diff(order.key_us) >= 0).all()


def test_one_row_with_a_wrong_clock(tmp_path: Path) -> None:
    write(tmp_path, *(line(k if k != 5 else -3600, 8.0 * k) for k in range(10)))
    run = read(tmp_path, WIDE)
    assert run.readings["counter_m"].to_list() == [8.0 * k for k in range(10)]
    assert (5, "time_utc", TIME_BACKWARDS.code) in run.flagged.rows()


def test_a_clock_set_forward_is_told_by_the_counter(tmp_path: Path) -> None:
    write(tmp_path, *(line(k if k < 10 else k + 600, 8.0 * k) for k in range(20)))
    run = read(tmp_path, WIDE)
    assert run.flagged.filter(channel="time_utc").rows() == [(10, "time_utc", CLOCK_STEP.code)]
    assert said(run.warnings) == (
        (
            "gauge.csv: the clock was set forward by about 601.0 s at 2026-03-02 12:10:10 UTC, for the wire did not "
            "move as far; times before it may be off by that much."
        ),
    )


def test_a_pause_of_the_logger_is_no_step(tmp_path: Path) -> None:
    # Ten minutes without rows in which the wire ran on, and ten in which it stood.
    ran = [line(k, 8.0 * k) for k in (*range(10), *range(610, 620))]
    stood = [line(k, 4960.0, 0.0) for k in range(620, 640)] + [line(1300, 4960.0, 0.0)]
    write(tmp_path, *ran, *stood)
    run = read(tmp_path, WIDE)
    assert run.flagged.filter(channel="time_utc").height == 0
    assert run.warnings == ()


def test_a_row_logged_twice_is_flagged(tmp_path: Path) -> None:
    rows = [line(k, 8.0 * k) for k in range(200)]
    write(tmp_path, *rows[:100], rows[99], *rows[100:])
    run = read(tmp_path, WIDE)
    assert run.readings.height == 201
    assert run.flagged.filter(channel="time_utc").rows() == [(100, "time_utc", DUPLICATE.code)]


def test_two_rows_of_one_instant_with_other_values_are_told(tmp_path: Path) -> None:
    rows = [line(k, 8.0 * k) for k in range(200)]
    write(tmp_path, *rows[:100], line(99, 793.0), *rows[100:])
    run = read(tmp_path, WIDE)
    assert run.flagged.filter(channel="time_utc").height == 0
    assert said(run.warnings) == (
        (
            "gauge.csv: 1 row shares the time of the row before, with other values; all are kept, in the order of "
            "the file."
        ),
    )


def test_a_clock_coarser_than_the_log(tmp_path: Path) -> None:
    write(tmp_path, *(line(k // 10, 0.8 * k) for k in range(100)))
    run = read(tmp_path, WIDE)
    assert run.readings["line"].to_list() == list(range(2, 102))
    assert run.flagged.filter(channel="time_utc").height == 0
    assert said(run.warnings) == (
        (
            "gauge.csv: up to 10 rows share one time, for the log's clock is coarser than its rows; they keep the "
            "order of the file."
        ),
    )


SPARK = {
    "kind": "spark faults",
    "files": ["spark.csv"],
    "time": {"column": "when"},
    "channels": {"spark_kv": {"column": "kV", "unit": "kV"}},
}


def faults(folder: Path, seconds: list[float], hours: float = 0.0) -> None:
    stamps = [START + timedelta(seconds=second, hours=hours) for second in seconds]
    text = "".join(f"{stamp:%Y-%m-%dT%H:%M:%S.%fZ},7.5\n" for stamp in stamps)
    (folder / "spark.csv").write_text("when,kV\n" + text)


def test_events_in_another_zone_are_refused_with_the_likely_shift(tmp_path: Path) -> None:
    write(tmp_path, *(line(k, 8.0 * k) for k in range(600)))
    faults(tmp_path, [100, 200, 500], hours=-6)
    with pytest.raises(LogError) as caught:
        read(tmp_path, WIDE, SPARK)
    assert str(caught.value) == (
        "spark.csv: its times do not fit those of gauge.csv, but would if moved by +6 h: it is likely in another "
        "time zone. Set 'zone' of its time in the run sheet (or correct that of the other log)."
    )


def test_events_on_the_same_clock_pass(tmp_path: Path) -> None:
    write(tmp_path, *(line(k, 8.0 * k) for k in range(600)))
    faults(tmp_path, [100, 200, 500])
    run = read(tmp_path, WIDE, SPARK)
    assert run.events.height == 3
    assert run.warnings == ()


def test_single_events_outside_are_told_only(tmp_path: Path) -> None:
    write(tmp_path, *(line(k, 8.0 * k) for k in range(600)))
    faults(tmp_path, [100, 200, 700])
    assert said(read(tmp_path, WIDE, SPARK).warnings) == (
        (
            "spark.csv: 1 of 3 spark faults lie outside the time that the readings cover; check the clock of that "
            "log, and that all logs are of this run."
        ),
    )


def test_readings_of_another_zone_are_refused(tmp_path: Path) -> None:
    write(tmp_path, *(line(k, 8.0 * k) for k in range(0, 8 * 3600, 20)))
    rows = [line(k + 3600, 0.0) for k in range(1, 8 * 3600, 30)]
    write(tmp_path, *rows, name="melt.csv")
    melt = {
        "kind": "readings",
        "files": ["melt.csv"],
        "time": {"column": "time"},
        "channels": {"melt_pressure_bar": {"column": "w1", "unit": "bar"}},
    }
    with pytest.raises(LogError) as caught:
        read(tmp_path, WIDE, melt)
    assert str(caught.value) == (
        "melt.csv: its times do not fit those of gauge.csv, but would if moved by -1 h: it is likely in another time "
        "zone. Set 'zone' of its time in the run sheet (or correct that of the other log)."
    )


def test_a_log_that_began_later_and_ended_later_by_no_zone_passes(tmp_path: Path) -> None:
    write(tmp_path, *(line(k, 8.0 * k) for k in range(0, 3600, 20)))
    write(tmp_path, *(line(k + 1200, 0.0) for k in range(1, 3600, 30)), name="melt.csv")
    melt = {
        "kind": "readings",
        "files": ["melt.csv"],
        "time": {"column": "time"},
        "channels": {"melt_pressure_bar": {"column": "w1", "unit": "bar"}},
    }
    assert read(tmp_path, WIDE, melt).readings.height == 300


def test_lengths_tell_a_shift_that_times_cannot(tmp_path: Path) -> None:
    """One hour off inside a shift of eight: most events still fall into the run, the counter shows it all the same."""
    write(tmp_path, *(line(k, 8.0 * k) for k in range(0, 8 * 3600, 10)))
    when = [1000, 5000, 9000, 12000, 15000]
    rows = [f"{START + timedelta(seconds=k + 3600):%Y-%m-%dT%H:%M:%SZ},{8.0 * k},0.3\n" for k in when]
    (tmp_path / "flaws.csv").write_text("when,at,size\n" + "".join(rows))
    flaws = {
        "kind": "surface flaws",
        "files": ["flaws.csv"],
        "time": {"column": "when"},
        "at": {"column": "at", "unit": "m"},
        "channels": {"flaw_size_mm": {"column": "size", "unit": "mm"}},
    }
    with pytest.raises(LogError) as caught:
        read(tmp_path, WIDE, flaws)
    assert "flaws.csv: its times do not fit those of gauge.csv, but would if moved by -1 h" in str(
        caught.value
    )
    rows = [row.replace("+3600", "") for row in rows]
    (tmp_path / "flaws.csv").write_text(
        "when,at,size\n"
        + "".join(f"{START + timedelta(seconds=k):%Y-%m-%dT%H:%M:%SZ},{8.0 * k + 3},0.3\n" for k in when)
    )
    assert read(tmp_path, WIDE, flaws).events.height == 5
