"""One reading of one diameter axis: denied by the others, or kept. Readings are invented."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from invented_trust import NO_FLAGS

from pipeline import flags
from pipeline.length.placement import place_readings
from pipeline.sheets.line_sheet import LineSheet
from pipeline.simulator.lines import line_l1
from pipeline.trust.lone_axis import denied_flags, lone_axes

ROWS, AT = 400, 200
CHANNELS = (*(f"wall_{k}_mm" for k in range(1, 9)), "diameter_x_mm", "diameter_y_mm", "hot_diameter_mm")


def reading(line: LineSheet, what: str | None) -> LineSheet:
    """The line with every gauge said to read so."""
    gauges = tuple(one.model_copy(update={"reads": what}) for one in line.instruments)
    return line.model_copy(update={"instruments": gauges})


def run(changes: dict[str, float], rows: int = 1, ring: bool = True) -> tuple[pl.DataFrame, object, object]:
    """A line at 10 m/s read ten times a second, with channels moved where the wire of reading 200 passes them."""
    line = reading(line_l1(), "mean")
    stations = {kind: line.instrument(kind).station_m for kind in ("wall gauge", "hot diameter gauge")}
    cold = line.instrument("cold diameter gauge").station_m
    seconds = np.arange(ROWS) * 0.1
    rng = np.random.default_rng(3)
    frame: dict[str, object] = {
        "row": np.arange(ROWS, dtype=np.uint32),
        "file_no": np.zeros(ROWS, dtype=np.uint16),
        "time_utc": pl.Series((seconds * 1e6).astype(np.int64)).cast(pl.Datetime("us", "UTC")),
        "counter_m": seconds * 10,
        "line_speed_m_s": np.full(ROWS, 10.0),
    }
    for name in CHANNELS:
        level = 0.53 if name.startswith("wall") else 2.69
        values = level + 0.002 * rng.standard_normal(ROWS)
        station = cold
        if name.startswith("wall"):
            station = stations["wall gauge"]
        elif name == "hot_diameter_mm":
            station = stations["hot diameter gauge"]
        at = AT + round(station - cold)
        values[at : at + rows] += changes.get(name, 0.0)
        if ring or not name.startswith("wall"):
            frame[name] = values
    readings = pl.DataFrame(frame)
    return readings, place_readings(readings, NO_FLAGS, line), line


def spike_of(changes: dict[str, float], events: np.ndarray | None = None, **more: object) -> bool:
    readings, placement, line = run(changes, **more)  # type: ignore[arg-type]
    marks = pl.DataFrame(
        {"row": [AT], "channel": ["diameter_x_mm"], "flag": [flags.SPIKE.code]}, schema=NO_FLAGS.schema
    )
    (one,) = lone_axes(readings, marks, placement, line, events)  # type: ignore[arg-type]
    assert denied_flags((one,), marks).height == one.denied
    return one.denied


@pytest.mark.parametrize("size", [0.2, -0.2])
def test_what_the_other_axis_the_wall_and_the_hot_gauge_deny_is_an_event_of_the_gauge(size: float) -> None:
    assert spike_of({"diameter_x_mm": size})


@pytest.mark.parametrize(
    "with_it",
    [{"diameter_y_mm": 0.2}, {"diameter_y_mm": -0.15}, {"wall_3_mm": 0.1}, {"hot_diameter_mm": 0.2}],
)
def test_what_another_instrument_saw_too_is_kept(with_it: dict[str, float]) -> None:
    assert not spike_of({"diameter_x_mm": 0.2, **with_it})


def test_what_nothing_else_could_have_seen_is_kept() -> None:
    # Too small for a wall sensor of 4 um, and a lump of several readings is no single reading.
    assert not spike_of({"diameter_x_mm": 0.02})
    assert not spike_of({"diameter_x_mm": 0.2}, rows=3)
    readings, placement, line = run({"diameter_x_mm": 0.2}, ring=False)
    bare = line.model_copy(
        update={
            "instruments": tuple(
                one for one in line.instruments if one.kind not in ("wall gauge", "hot diameter gauge")
            )
        }
    )
    marks = pl.DataFrame(
        {"row": [AT], "channel": ["diameter_x_mm"], "flag": [flags.SPIKE.code]}, schema=NO_FLAGS.schema
    )
    assert [one.denied for one in lone_axes(readings, marks, placement, bare)] == [False]
    # A fault or flaw near by says that something is there.
    at = placement.at_m[AT] - line.instrument("cold diameter gauge").station_m
    assert not spike_of({"diameter_x_mm": 0.2}, events=np.array([at + 1.0]))


def lumps(reads: str | None, true: bool, count: int, seed: int) -> tuple[int, int]:
    """Events of one axis, and how many are denied, where gauges read spots 0.8 m apart.

    Lumps of 1 to 40 cm, one side thicker by 0.2 mm, pass them at random; or one axis glitches as often as it would see.
    """
    line = reading(line_l1(), reads)
    rng = np.random.default_rng(seed)
    rows, step = 3000, 0.8
    stations = {kind: line.instrument(kind).station_m for kind in ("wall gauge", "hot diameter gauge")}
    cold = line.instrument("cold diameter gauge").station_m
    front = np.arange(rows) * step
    at = np.sort(rng.choice(np.arange(100, rows - 200, 40), min(3 * count, 65), replace=False)) * step
    at = at + rng.uniform(0.0, step, at.size)
    long = rng.uniform(0.01, 0.4, at.size)
    frame: dict[str, object] = {
        "row": np.arange(rows, dtype=np.uint32),
        "file_no": np.zeros(rows, dtype=np.uint16),
        "time_utc": pl.Series((np.arange(rows) * 1e5).astype(np.int64)).cast(pl.Datetime("us", "UTC")),
        "counter_m": front,
        "line_speed_m_s": np.full(rows, 8.0),
    }
    marks = []
    for name in CHANNELS:
        level = 0.53 if name.startswith("wall") else 2.69
        values = level + 0.002 * rng.standard_normal(rows)
        station = stations.get("wall gauge" if name.startswith("wall") else "hot diameter gauge", cold)
        station = cold if name.startswith("diameter") else station
        # The lump lies on the x axis, under the first wall sensor.
        if true and name in ("diameter_x_mm", "wall_1_mm", "hot_diameter_mm"):
            wire = front - station
            for a, b in zip(at.tolist(), long.tolist(), strict=True):
                values[(wire >= a) & (wire < a + b)] += 0.2
        elif not true and name == "diameter_x_mm":
            values[rng.choice(np.arange(100, rows - 100, 9), count, replace=False)] += 0.2
        odd = np.flatnonzero(np.abs(values - level) > 0.1)
        marks += [(int(row), name, flags.SPIKE.code) for row in odd]
        frame[name] = values
    readings = pl.DataFrame(frame)
    flagged = pl.DataFrame(marks, schema=NO_FLAGS.schema, orient="row")
    found = lone_axes(readings, flagged, place_readings(readings, NO_FLAGS, line), line)
    return len(found), sum(one.denied for one in found)


@pytest.mark.parametrize("reads", [None, "spot"])
def test_no_true_lump_between_the_readings_of_spot_gauges_is_denied(reads: str | None) -> None:
    """Lumps shorter than the spacing, from one to sixty a run: the other gauges need not have seen them."""
    tried = [lumps(reads, True, count, seed) for count in (1, 5, 20) for seed in range(5)]
    assert sum(found for found, _ in tried) > 60
    assert [denied for _, denied in tried] == [0] * len(tried)


def test_glitches_of_one_axis_are_denied_where_they_are_many_or_gauges_read_means() -> None:
    assert [lumps(None, False, 24, seed) for seed in range(5)] == [(24, 24)] * 5
    assert [lumps(None, False, 3, seed)[1] for seed in range(5)] == [0] * 5
    assert [lumps("mean", False, 3, seed) for seed in range(5)] == [(3, 3)] * 5
    assert [lumps("spot", False, 24, seed)[1] for seed in range(5)] == [0] * 5
