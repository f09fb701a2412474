"""One reading of one diameter axis: denied by the others, or kept. Readings are invented."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from invented_trust import NO_FLAGS

from pipeline import flags
from pipeline.length.placement import place_readings
from pipeline.simulator.lines import line_l1
from pipeline.trust.lone_axis import denied_flags, lone_axes

ROWS, AT = 400, 200
CHANNELS = (*(f"wall_{k}_mm" for k in range(1, 9)), "diameter_x_mm", "diameter_y_mm", "hot_diameter_mm")


def run(changes: dict[str, float], rows: int = 1, ring: bool = True) -> tuple[pl.DataFrame, object, object]:
    """A line at 10 m/s read ten times a second, with channels moved where the wire of reading 200 passes them."""
    line = line_l1()
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
