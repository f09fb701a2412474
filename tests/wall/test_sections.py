"""The wall at every reading: stations, missing sensors, ovality, narrow thin places, covering, diameter only."""

import numpy as np
import polars as pl
import pytest
from invented_walls import NO_FLAGS, covering, invented_line, placed, readings, walls_of

from pipeline import columns, flags
from pipeline.wall.harmonics import design, sensor_angles_rad
from pipeline.wall.sections import measure_walls

ROWS = 400


def measured(frame, line, flagged=NO_FLAGS, told=None, conductor_mm=1.628):
    return measure_walls(frame, flagged, placed(frame, line), line, told, conductor_mm)


def flag_rows(rows, channel, flag):
    return pl.DataFrame(
        {"row": rows, "channel": [channel] * len(rows), "flag": [flag.code] * len(rows)},
        schema=NO_FLAGS.schema,
    )


def test_the_frame_is_the_one_the_data_dictionary_declares() -> None:
    line = invented_line()
    axes = {"diameter_x_mm": np.full(ROWS, 2.6), "diameter_y_mm": np.full(ROWS, 2.61)}
    frame = readings(ROWS, **walls_of(ROWS, 8, 0.5, 0.03, 100.0), **axes)
    found = measured(frame, line)
    assert found.columns == [one.name for one in columns.MEASURED]
    assert found.height == ROWS
    assert set(found.dtypes[1:9]) == {pl.Float64}
    assert found["sensors_used"].dtype == pl.UInt8
    assert found.null_count().sum_horizontal().item() == 0


def test_each_gauge_sees_its_own_metre() -> None:
    line = invented_line()
    frame = readings(ROWS, **walls_of(ROWS, 8, 0.5, 0.03, 100.0), diameter_x_mm=np.full(ROWS, 2.6))
    found = measured(frame, line)
    assert found["wall_at_m"].to_numpy() == pytest.approx(np.arange(ROWS) - 20.0)
    assert found["diameter_at_m"].to_numpy() == pytest.approx(np.arange(ROWS) - 60.0)


@pytest.mark.parametrize("sensors", [3, 4, 5, 8, 16])
def test_an_exact_wall_is_recovered(sensors: int) -> None:
    frame = readings(ROWS, **walls_of(ROWS, sensors, 0.5, 0.03, 250.0))
    row = measured(frame, invented_line(sensors)).row(7, named=True)
    assert row["mean_wall_mm"] == pytest.approx(0.5)
    assert row["eccentricity_mm"] == pytest.approx(0.03)
    assert row["thin_angle_deg"] == pytest.approx(250.0)
    assert row["thinnest_wall_mm"] == pytest.approx(0.47)
    assert row["concentricity_pct"] == pytest.approx(100 * 0.47 / 0.53)
    assert row["sensors_used"] == sensors


@pytest.mark.parametrize("e", [0.0, 0.002, 0.010, 0.040])
@pytest.mark.parametrize("oval_deg", [0.0, 20.0, 45.0, 80.0])
def test_the_ovality_counts_in_the_thinnest_wall(e: float, oval_deg: float) -> None:
    """Against the least value of the exact profile on a grid of 0.01 degree."""
    frame = readings(ROWS, **walls_of(ROWS, 8, 0.5, e, 100.0, oval=0.004, oval_deg=oval_deg))
    row = measured(frame, invented_line()).row(200, named=True)
    a = np.radians(np.arange(0, 360, 0.01))
    profile = 0.5 - e * np.cos(a - np.radians(100)) + 0.004 * np.cos(2 * (a - np.radians(oval_deg)))
    assert row["thinnest_wall_mm"] == pytest.approx(profile.min(), abs=5e-5)
    assert row["concentricity_pct"] == pytest.approx(100 * profile.min() / profile.max(), abs=0.01)


@pytest.mark.parametrize("sensors", [6, 7, 8])
@pytest.mark.parametrize("long", [ROWS, 4])
def test_a_strong_oval_is_thin_between_the_sensors_too(sensors: int, long: int) -> None:
    """Lobes far beyond the gauge's noise, over the run or a few readings; against the exact profile, as above.

    Every sensor then stands off any offset of the centre, and the lowest of them still reads too thick.
    """
    plain = walls_of(ROWS, sensors, 0.5, 0.01, 100.0)
    lobed = walls_of(ROWS, sensors, 0.5, 0.01, 100.0, oval=0.15, oval_deg=120.0)
    here = np.abs(np.arange(ROWS) - 200) < max(long // 2, 1) + (ROWS if long == ROWS else 0)
    frame = readings(ROWS, **{name: np.where(here, lobed[name], plain[name]) for name in plain})
    row = measured(frame, invented_line(sensors)).row(200, named=True)
    a = np.radians(np.arange(0, 360, 0.01))
    profile = 0.5 - 0.01 * np.cos(a - np.radians(100)) + 0.15 * np.cos(2 * (a - np.radians(120.0)))
    assert row["thinnest_wall_mm"] == pytest.approx(profile.min(), abs=1e-3)


def test_the_thinnest_wall_is_unbiased_within_its_standard_error() -> None:
    frame = readings(20_000, **walls_of(20_000, 8, 0.5, 0.03, 77.0, oval=0.002, noise=0.004))
    found = measured(frame, invented_line())["thinnest_wall_mm"]
    a = np.radians(np.arange(0, 360, 0.1))
    truth = (0.5 - 0.03 * np.cos(a - np.radians(77)) + 0.002 * np.cos(2 * a)).min()
    expected_sd = 0.004 * np.sqrt(3 / 8)
    # Second order of the noise across the thin direction: the Rice bias sg^2/(N e) = 0.07 um.
    assert found.mean() == pytest.approx(truth, abs=0.0002)
    assert found.std() == pytest.approx(expected_sd, rel=0.05)


def test_a_missing_sensor_costs_precision_and_nothing_else() -> None:
    channels = walls_of(ROWS, 8, 0.5, 0.03, 100.0)
    channels["wall_3_mm"][50:60] = np.nan
    channels["wall_6_mm"][55:60] = np.nan
    found = measured(readings(ROWS, **channels), invented_line())
    assert found["sensors_used"][48:62].to_list() == [8, 8, 7, 7, 7, 7, 7, 6, 6, 6, 6, 6, 8, 8]
    assert found["thinnest_wall_mm"].to_numpy() == pytest.approx(0.47)


def test_missing_sensors_agree_with_a_general_solver() -> None:
    rng = np.random.default_rng(4)
    channels = walls_of(ROWS, 8, 0.5, 0.03, 100.0, noise=0.01)
    for values in channels.values():
        values[rng.random(ROWS) < 0.2] = np.nan
    found = measured(readings(ROWS, **channels), invented_line())
    read = np.stack(list(channels.values()))
    for row in range(ROWS):
        live = np.isfinite(read[:, row])
        mean = found["mean_wall_mm"][row]
        assert found["sensors_used"][row] == live.sum()
        if mean is None:
            continue
        solved = np.linalg.lstsq(design(sensor_angles_rad(8)[live], 1), read[live, row], rcond=None)[0]
        assert mean == pytest.approx(solved[0])
        assert found["ecc_cos_mm"][row] == pytest.approx(solved[1])


def test_all_sensors_out_and_one_sensor_left_give_no_wall() -> None:
    channels = walls_of(ROWS, 8, 0.5, 0.03, 100.0)
    for number, values in enumerate(channels.values()):
        values[100:110] = np.nan
        if number:
            values[110:120] = np.nan
    found = measured(readings(ROWS, **channels), invented_line())
    out = found[100:120]
    assert out["sensors_used"].to_list() == [0] * 10 + [1] * 10
    for name in (
        "mean_wall_mm",
        "thinnest_wall_mm",
        "eccentricity_mm",
        "concentricity_pct",
        "thin_angle_deg",
    ):
        assert out[name].null_count() == 20
    assert found["mean_wall_mm"].null_count() == 20


def test_a_narrow_thin_place_under_one_sensor_is_not_smoothed_away() -> None:
    """The harmonic would make 0.40 of a wall that one sensor reads as 0.30."""
    channels = walls_of(ROWS, 8, 0.45, 0.02, 0.0)
    channels["wall_5_mm"][200] = 0.30
    found = measured(readings(ROWS, **channels), invented_line())
    assert found["thinnest_wall_mm"][200] == pytest.approx(0.30)
    assert found["thinnest_wall_mm"][201] == pytest.approx(0.43)


def test_flags_that_mask_conformity_take_the_sensor_out_and_spikes_stay() -> None:
    channels = walls_of(ROWS, 8, 0.45, 0.02, 0.0)
    channels["wall_5_mm"][200] = 0.30
    frame, line = readings(ROWS, **channels), invented_line()
    kept = measured(frame, line, flag_rows([200], "wall_5_mm", flags.SPIKE))
    assert kept["thinnest_wall_mm"][200] == pytest.approx(0.30)
    assert kept["sensors_used"][200] == 8
    out = measured(frame, line, flag_rows([200], "wall_5_mm", flags.CONTRADICTED))
    assert out["thinnest_wall_mm"][200] == pytest.approx(0.43)
    assert out["sensors_used"][200] == 7


def test_the_covering_is_deducted_as_a_stated_assumption() -> None:
    frame = readings(ROWS, **walls_of(ROWS, 8, 0.53, 0.03, 100.0))
    both = invented_line(sees="insulation and covering")
    row = measured(frame, both, told=covering()).row(3, named=True)
    assert row["mean_wall_mm"] == pytest.approx(0.412)
    assert row["thinnest_wall_mm"] == pytest.approx(0.382)
    assert row["concentricity_pct"] == pytest.approx(100 * 0.382 / 0.442)
    alone = measured(frame, invented_line(), told=covering()).row(3, named=True)
    assert alone["mean_wall_mm"] == pytest.approx(0.53)


def test_a_line_that_measures_diameter_only_knows_no_thinnest_wall() -> None:
    line = invented_line(wall_gauge=False)
    frame = readings(ROWS, diameter_x_mm=np.full(ROWS, 2.60), diameter_y_mm=np.full(ROWS, 2.62))
    found = measured(frame, line)
    row = found.row(9, named=True)
    assert row["mean_wall_mm"] == pytest.approx((2.61 - 1.628) / 2)
    assert row["wall_at_m"] == row["diameter_at_m"]
    assert row["ovality_mm"] == pytest.approx(0.02)
    for name in ("thinnest_wall_mm", "eccentricity_mm", "concentricity_pct", "thin_angle_deg", "ecc_cos_mm"):
        assert found[name].null_count() == ROWS
    unknown = measured(frame, line, conductor_mm=float("nan"))
    assert unknown["mean_wall_mm"].null_count() == ROWS
    covered = measured(frame, line, told=covering()).row(9, named=True)
    assert covered["mean_wall_mm"] == pytest.approx((2.61 - 1.628) / 2 - 0.118)


def test_one_diameter_axis_gives_a_diameter_and_no_ovality() -> None:
    x, y = np.full(ROWS, 2.60), np.full(ROWS, 2.62)
    y[10:20] = np.nan
    x[15:20] = np.nan
    frame = readings(ROWS, **walls_of(ROWS, 8, 0.5, 0.03, 1.0), diameter_x_mm=x, diameter_y_mm=y)
    found = measured(frame, invented_line())
    assert found["diameter_mm"][9:21].to_list() == pytest.approx([2.61] + [2.60] * 5 + [None] * 5 + [2.61])
    assert found["ovality_mm"].null_count() == 10


def test_a_line_without_any_gauge_gives_positions_and_no_walls() -> None:
    found = measured(readings(ROWS), invented_line(wall_gauge=False, cold_gauge=False))
    assert found["mean_wall_mm"].null_count() == ROWS
    assert found["diameter_at_m"].null_count() == ROWS


def test_the_result_does_not_depend_on_where_the_chunks_fall(monkeypatch: pytest.MonkeyPatch) -> None:
    from pipeline.wall import sections

    channels = walls_of(1000, 8, 0.5, 0.005, 100.0, oval=0.002, noise=0.004)
    channels["wall_2_mm"][300:700] = np.nan
    frame, line = readings(1000, **channels), invented_line()
    whole = measured(frame, line)
    monkeypatch.setattr(sections, "_CHUNK", 37)
    pieces = measured(frame, line)
    for name in whole.columns:
        assert pieces[name].to_numpy() == pytest.approx(whole[name].to_numpy(), abs=1e-9, nan_ok=True)
