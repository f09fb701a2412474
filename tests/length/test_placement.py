"""Readings placed on the wire: counter or speed, several logs, phases, and the station of each gauge."""

import numpy as np
import polars as pl
import pytest
from invented_line import NO_FLAGS, invented_line, log_of, made_by, speed_profile

from pipeline import columns, flags
from pipeline.errors import LogError, in_words
from pipeline.length.placement import place_readings
from pipeline.store.answer_columns import said_of
from pipeline.wording.say import plain
from tests.said import said

LINE = invented_line()
SECONDS = np.arange(6000) * 0.1
RAMPED = speed_profile(
    SECONDS,
    [(0, 0), (20, 0), (40, 10), (300, 10), (320, 6), (400, 6), (420, 0), (450, 0), (470, 10), (600, 10)],
)


def test_the_placed_frame_is_the_one_the_data_dictionary_declares() -> None:
    placed = place_readings(log_of(SECONDS, made_by(SECONDS, RAMPED), RAMPED), NO_FLAGS, LINE)
    assert placed.readings.columns == [one.name for one in columns.PLACED]
    assert placed.readings.dtypes == [pl.UInt32, pl.Float64, pl.Float64, pl.UInt8]
    assert said(placed.warnings) == ()


def test_a_clean_counter_is_taken_as_it_stands() -> None:
    made = np.round(made_by(SECONDS, RAMPED), 2)
    placed = place_readings(log_of(SECONDS, made, RAMPED), NO_FLAGS, LINE)
    assert np.array_equal(placed.readings["front_m"].to_numpy(), made)
    assert placed.counter_events.height == 0
    assert placed.resolution_m == pytest.approx(0.01)


def test_without_a_counter_the_speed_is_summed_and_the_reader_is_told() -> None:
    placed = place_readings(log_of(SECONDS, None, RAMPED), NO_FLAGS, LINE)
    assert placed.readings["front_m"].to_numpy() == pytest.approx(made_by(SECONDS, RAMPED))
    assert said(placed.warnings) == (
        (
            "No length counter is logged: the length is the integral of the line speed, and every position "
            "carries the speed's scale error (0.1 % is 3 m at 3000 m). Calibrate it against footage marks."
        ),
    )


def test_white_speed_noise_adds_the_worked_error() -> None:
    """Derived: s_v sqrt(T dt); 0.05 m/s over 300 s of 0.1 s steps is 0.27 m."""
    seconds = np.arange(3001) * 0.1
    ends = []
    for seed in range(200):
        noise = np.random.default_rng(seed).normal(0, 0.05, seconds.size)
        placed = place_readings(log_of(seconds, None, 10 + noise), NO_FLAGS, LINE)
        ends.append(placed.made_m - 3000.0)
    assert np.std(ends) == pytest.approx(0.274, rel=0.15)


def test_a_counter_without_a_speed_gives_the_speed() -> None:
    placed = place_readings(log_of(SECONDS, made_by(SECONDS, RAMPED)), NO_FLAGS, LINE)
    assert placed.readings["speed_m_s"].to_numpy()[1000] == pytest.approx(10.0)
    names = placed.phases["phase"].to_list()
    assert names == [
        "STOP", "RAMP-UP", "SETTLE", "STEADY", "SPEED-CHANGE", "SETTLE", "STEADY", "RAMP-DOWN",
        "STOP", "RAMP-UP", "SETTLE", "STEADY",
    ]  # fmt: skip


def test_neither_counter_nor_speed_is_refused() -> None:
    with pytest.raises(LogError) as caught:
        place_readings(log_of(SECONDS), NO_FLAGS, LINE)
    assert str(caught.value) == (
        "line L9: the logs hold neither a length counter nor a line speed. Map 'counter_m' or "
        "'line_speed_m_s' in [run.logs.channels]: without one nothing has a place."
    )


@pytest.mark.parametrize(("factor", "hint"), [(3.2808, ", as feet read as meters do"), (0.5, "")])
def test_a_counter_that_its_own_speed_contradicts_places_nothing(factor: float, hint: str) -> None:
    counter = np.round(factor * made_by(SECONDS, RAMPED), 3)
    with pytest.raises(LogError) as fault:
        place_readings(log_of(SECONDS, counter, RAMPED), NO_FLAGS, LINE)
    found = in_words(fault.value.complaints[0].found)
    assert found == (
        f"the counter gives {factor:.3f} m for each meter by the line speed{hint}: nothing has a place on the wire"
    )


def test_no_rows_are_refused() -> None:
    with pytest.raises(LogError) as caught:
        place_readings(log_of(SECONDS[:0]), NO_FLAGS, LINE)
    assert str(caught.value) == (
        "readings: no reading was kept. Look at the lines set aside and their reasons; a run needs readings "
        "to be placed."
    )


def test_rows_of_a_log_without_a_counter_take_their_length_from_the_rows_around() -> None:
    made = made_by(SECONDS, RAMPED)
    own = np.where(np.arange(SECONDS.size) % 2 == 0, made, np.nan)
    placed = place_readings(log_of(SECONDS, own, RAMPED), NO_FLAGS, LINE)
    assert placed.readings["front_m"].to_numpy() == pytest.approx(made, abs=1e-6)


def test_a_counter_missing_over_a_stop_follows_the_speed_through_it() -> None:
    made = made_by(SECONDS, RAMPED)
    own = made.copy()
    own[3900:4900] = np.nan
    placed = place_readings(log_of(SECONDS, own, RAMPED), NO_FLAGS, LINE)
    assert placed.readings["front_m"].to_numpy() == pytest.approx(made, abs=1e-6)


def test_two_logs_with_the_same_counter_do_not_make_it_go_back() -> None:
    made = made_by(SECONDS, RAMPED)
    shown = made.copy()
    shown[1::2] -= 0.8  # the second logger shows the same counter half a scan late
    frame = log_of(SECONDS, shown, RAMPED).with_columns(
        pl.Series("file_no", (np.arange(SECONDS.size) % 2 == 1).astype(np.uint16))
    )
    placed = place_readings(frame, NO_FLAGS, LINE)
    assert placed.readings["front_m"].to_numpy() == pytest.approx(made, abs=1e-6)
    assert said(placed.warnings) == (
        "File 1 carries a length counter over the same time as another log; the fuller one is used.",
    )


def test_a_counter_value_out_of_range_is_not_used() -> None:
    made = made_by(SECONDS, RAMPED)
    shown = made.copy()
    shown[1500] = 5e6
    flagged = pl.DataFrame(
        {"row": [1500], "channel": ["counter_m"], "flag": [flags.OUT_OF_RANGE.code]}, schema=NO_FLAGS.schema
    )
    placed = place_readings(log_of(SECONDS, shown, RAMPED), flagged, LINE)
    assert placed.readings["front_m"].to_numpy() == pytest.approx(made, abs=1e-6)


def test_a_reset_and_a_slip_in_one_run() -> None:
    made = made_by(SECONDS, RAMPED)
    shown = made.copy()
    shown[1000:1100] = shown[1000]
    shown[1100:] -= made[1100] - shown[1099]
    shown[2000:] -= shown[2000]
    placed = place_readings(log_of(SECONDS, np.round(shown, 2), RAMPED), NO_FLAGS, LINE)
    assert placed.readings["front_m"].to_numpy() == pytest.approx(made, abs=1.1)
    assert placed.counter_events["kind"].to_list() == ["slip", "reset"]


def test_wire_pulled_back_is_read_where_it_is() -> None:
    back = [(110, 0), (111, -1), (113, -1), (114, 0)]
    speed = speed_profile(SECONDS, [(0, 5), (100, 5), (101, 0), *back, (120, 0), (121, 5), (600, 5)])
    made = made_by(SECONDS, speed)
    placed = place_readings(log_of(SECONDS, made, speed), NO_FLAGS, LINE)
    assert placed.at_m == pytest.approx(made)
    assert np.all(np.diff(placed.readings["front_m"].to_numpy()) >= 0)
    assert placed.counter_events["kind"].to_list() == ["reversal"]
    assert placed.counter_events["size_m"][0] == pytest.approx(3.0, abs=0.01)
    assert said(placed.warnings) == (
        (
            "The line speed is negative in 39 readings: wire pulled back, or a fault of the signal. The length "
            "counter decides where it is logged."
        ),
    )


def test_a_speed_with_the_wrong_sign_is_turned() -> None:
    placed = place_readings(log_of(SECONDS, made_by(SECONDS, RAMPED), -RAMPED), NO_FLAGS, LINE)
    assert float(placed.readings["speed_m_s"].max()) == pytest.approx(10.0)
    assert said(placed.warnings) == (
        "The line speed is logged with the opposite sign; it is used without it.",
    )


def test_a_gap_in_the_log_is_told_with_the_wire_that_ran() -> None:
    keep = (SECONDS < 200) | (SECONDS > 209.95)
    made = made_by(SECONDS, RAMPED)
    placed = place_readings(log_of(SECONDS[keep], made[keep], RAMPED[keep]), NO_FLAGS, LINE)
    told = placed.counter_events
    assert told["kind"].to_list() == ["gap"]
    assert plain(said_of(told["said"][0])) == "Nothing was logged for 10.1 s while 101.0 m of wire ran."


def test_one_reading_is_placed() -> None:
    placed = place_readings(log_of(np.zeros(1), np.array([7.0]), np.array([2.0])), NO_FLAGS, LINE)
    assert placed.readings.rows() == [(0, 7.0, 2.0, 6)]


def test_the_phase_is_judged_at_the_die_and_carried_to_the_gauge() -> None:
    """The trap: when the line turns steady the cold gauge, 60 m on, still reads 60 m of ramp and settling."""
    placed = place_readings(log_of(SECONDS, made_by(SECONDS, RAMPED), RAMPED), NO_FLAGS, LINE)
    codes = placed.readings["phase"].to_numpy()
    first_steady = int(np.flatnonzero(codes == 5)[0])
    seen = placed.at_m - 60.0
    on_wire = placed.phase_on_wire(seen)
    assert codes[first_steady] == 5
    assert on_wire[first_steady] == 4
    steady_seen = int(np.flatnonzero(on_wire == 5)[0])
    assert placed.at_m[steady_seen] - placed.at_m[first_steady] == pytest.approx(60.0, abs=1.5)


def test_wire_that_stood_between_die_and_trough_is_not_steady() -> None:
    placed = place_readings(log_of(SECONDS, made_by(SECONDS, RAMPED), RAMPED), NO_FLAGS, LINE)
    stood = placed.phases.filter(pl.col("phase") == "STOP")["from_m"].to_list()[-1]
    wire = np.array([stood - 4.0, stood - 1.0])
    assert placed.phase_on_wire(wire, hot_zone_m=3.0).tolist() == [7, 1]
    assert placed.phase_on_wire(np.array([-5.0, np.nan, 1e6])).tolist() == [0, 0, 0]


def test_a_stuck_speed_signal_makes_no_wire() -> None:
    """The line stands for 60 s while the speed signal goes on showing its last figure."""
    rng = np.random.default_rng(2)
    speed = speed_profile(SECONDS, [(0, 10), (300, 10), (305, 0), (365, 0), (370, 10), (600, 10)])
    made = made_by(SECONDS, speed)
    shown = speed + np.where(speed > 0, 0.03 * rng.standard_normal(speed.size), 0.0)
    frozen = slice(3000, 3650)
    stuck = shown.copy()
    stuck[frozen] = shown[3000]
    placed = place_readings(log_of(SECONDS, np.round(made, 2), stuck), NO_FLAGS, LINE)
    assert placed.readings["front_m"].to_numpy() == pytest.approx(made, abs=0.011)
    assert placed.counter_events.height == 0
    assert len(said(placed.warnings)) == 1
    assert said(placed.warnings)[0].endswith(
        "while the length counter ran short of it: the speed signal is taken for stuck and the counter is followed. "
        "If the wire did run, its length is missing there."
    )
