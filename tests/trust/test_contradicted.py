"""Spikes: contradicted by other instruments on the same wire, or kept."""

import numpy as np
import polars as pl
import pytest
from invented_trust import NO_FLAGS

from pipeline import flags
from pipeline.length.placement import place_readings
from pipeline.simulator.troubles import Spikes, ThinAllRound, ThinOneSide
from pipeline.trust.contradicted import contradicted_flags, decide_spikes
from pipeline.wall.sections import measure_walls


def reading(line, what: str | None):
    """The line with every gauge said to read so."""
    gauges = tuple(one.model_copy(update={"reads": what}) for one in line.instruments)
    return line.model_copy(update={"instruments": gauges})


def spike_rows(run, placement, station_m: float, at_m) -> list[int]:
    seen = placement.at_m - station_m
    return [int(np.argmin(np.abs(seen - at))) for at in at_m]


def flagged(rows: list[int], channel: str) -> pl.DataFrame:
    return pl.DataFrame(
        {"row": rows, "channel": [channel] * len(rows), "flag": [flags.SPIKE.code] * len(rows)},
        schema=NO_FLAGS.schema,
    )


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("size", [-0.15, 0.15])
def test_a_spike_of_the_gauge_alone_is_contradicted(simulated, seed: int, size: float) -> None:
    """The simulator's truth, ours: the wire is sound under the spikes."""
    places = (1000.0, 1400.0, 1900.0)
    run = simulated("14 AWG", seed, length_m=3000.0, troubles=(Spikes("wall_3_mm", places, size),))
    line = reading(run.scenario.line, "mean")
    placement = place_readings(run.readings, NO_FLAGS, line)
    read = run.readings["wall_3_mm"].to_numpy()
    away = np.abs(read - np.median(read))
    rows = sorted(np.argsort(away)[-3:].tolist())
    decisions = decide_spikes(run.readings, flagged(rows, "wall_3_mm"), placement, line)
    assert [one.contradicted for one in decisions] == [True] * 3
    assert [one.at_m for one in decisions] == pytest.approx(list(places), abs=1.4)
    added = contradicted_flags(decisions)
    assert added.rows() == [(row, "wall_3_mm", flags.CONTRADICTED.code) for row in rows]
    both = pl.concat([flagged(rows, "wall_3_mm"), added])
    measured = measure_walls(run.readings, both, placement, line, None, 1.628)
    assert measured["sensors_used"].to_numpy()[rows].tolist() == [7, 7, 7]
    assert decisions[0].sentence == (
        f"A spike of {1000 * decisions[0].size_mm:+.0f} um in wall_3_mm at {decisions[0].at_m:.1f} m is contradicted: "
        "the other wall sensors and the diameter of the same wire did not move, and no fault or flaw was found "
        "there. A notch narrower than the sensors' spacing is not ruled out by this."
    )


@pytest.mark.parametrize("trouble", [ThinAllRound(1500.0, 1.5, 0.10), ThinOneSide(1500.0, 1.5, 0.10, 90.0)])
def test_a_real_thin_place_is_never_contradicted(simulated, trouble) -> None:
    for seed in range(3):
        run = simulated("14 AWG", seed, length_m=3000.0, troubles=(trouble,))
        line = run.scenario.line
        placement = place_readings(run.readings, NO_FLAGS, line)
        rows = spike_rows(run, placement, 62.0, (1500.0, 1501.0))
        decisions = decide_spikes(run.readings, flagged(sorted(set(rows)), "wall_3_mm"), placement, line)
        assert not any(one.contradicted for one in decisions)


def quiet(rows: int = 400, size: float = -0.15, diameter_size: float = 0.0):
    from pipeline.simulator.lines import line_l1

    seconds = np.arange(rows) * 0.1
    micro = pl.Series((seconds * 1e6).astype(np.int64)).cast(pl.Datetime("us", "UTC"))
    frame = {
        "row": np.arange(rows, dtype=np.uint32),
        "file_no": np.zeros(rows, dtype=np.uint16),
        "time_utc": micro,
    }
    frame |= {"counter_m": seconds * 10, "line_speed_m_s": np.full(rows, 10.0)}
    rng = np.random.default_rng(0)
    for k in range(1, 9):
        frame[f"wall_{k}_mm"] = 0.53 + 0.004 * rng.standard_normal(rows)
    for name in ("diameter_x_mm", "diameter_y_mm"):
        frame[name] = 2.69 + 0.002 * rng.standard_normal(rows)
    frame["wall_3_mm"][200] += size
    if rows > 202:
        frame["diameter_x_mm"][202] += diameter_size  # the diameter gauge stands 2 m further on
    line = reading(line_l1(), "mean")
    readings = pl.DataFrame(frame)
    return readings, place_readings(readings, NO_FLAGS, line), line


def reasons(readings, placement, line, extra=None, events=None) -> str:
    marks = flagged([200], "wall_3_mm") if extra is None else pl.concat([flagged([200], "wall_3_mm"), extra])
    (one,) = decide_spikes(readings, marks, placement, line, events)
    return one.sentence


def test_why_a_spike_stays() -> None:
    readings, placement, line = quiet()
    assert "is contradicted" in reasons(readings, placement, line)
    shown = quiet(diameter_size=-0.12)
    assert reasons(*shown).endswith("stays in the judgment: the diameter on the same wire shows it too.")
    small = quiet(size=-0.015)
    assert reasons(*small).endswith(
        "stays in the judgment: it is too small for the diameter gauge to contradict."
    )
    faulty = reasons(readings, placement, line, events=np.array([139.0]))
    assert faulty.endswith("the spark tester or the surface vision found something within 2 m.")
    masked = pl.DataFrame(
        {"row": [202], "channel": ["diameter_x_mm"], "flag": [flags.STUCK.code]}, schema=NO_FLAGS.schema
    )
    assert reasons(readings, placement, line, masked).endswith(
        "the diameter gauge gave no trustworthy reading there."
    )
    moved = readings.with_columns(
        pl.when(pl.col("row") == 200)
        .then(pl.col("wall_7_mm") + 0.12)
        .otherwise(pl.col("wall_7_mm"))
        .alias("wall_7_mm")
    )
    assert reasons(moved, placement, line).endswith("other wall sensors moved with it.")
    without = line.model_copy(
        update={"instruments": tuple(one for one in line.instruments if one.kind != "cold diameter gauge")}
    )
    assert reasons(readings, placement, without).endswith("no other instrument was on the same wire.")
    last = quiet(rows=201)
    assert reasons(*last).endswith("the diameter gauge did not see that wire.")


@pytest.mark.parametrize(
    ("reads", "count", "size", "gone"),
    [
        ("spot", 30, -0.15, 0),
        ("spot", 30, 0.15, 30),
        (None, 1, -0.15, 0),
        (None, 1, 0.15, 1),
        (None, 30, -0.15, 30),
        ("mean", 1, -0.15, 1),
    ],
)
def test_a_thin_spike_may_pass_between_the_readings_of_the_diameter(
    reads: str | None, count: int, size: float, gone: int
) -> None:
    """One of them stays unless gauges read means; of many that the diameter never shows none is in the wire."""
    readings, placement, line = quiet(size=size)
    rows = list(range(60, 60 + 10 * count, 10)) if count > 1 else [200]
    walls = readings["wall_3_mm"].to_numpy().copy()
    walls[rows] += size
    readings = readings.with_columns(pl.Series("wall_3_mm", walls))
    decisions = decide_spikes(readings, flagged(rows, "wall_3_mm"), placement, reading(line, reads))
    assert sum(one.contradicted for one in decisions) == gone
    if gone == 0:
        assert {one.sentence.rsplit(": ")[-1] for one in decisions} == {
            "it may have passed between the readings of the diameter gauge."
        }


def test_no_spikes_no_decisions() -> None:
    readings, placement, line = quiet()
    assert decide_spikes(readings, NO_FLAGS, placement, line) == ()
    assert contradicted_flags(()).height == 0
