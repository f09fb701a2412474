"""Blocks of readings: what goes in comes out, to half a step."""

import base64
import itertools
import json
import zlib
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dashboards.decimation import Floats
from dashboards.records import Trace
from dashboards.tiles import (
    OVERVIEW_BUCKETS,
    TILE_READINGS,
    block_script,
    groups_of,
    has_middle,
    tile_bounds,
    wire_files,
    wire_plan,
)


def unpacked(script: bytes) -> tuple[str, list[Floats]]:
    text = script.decode("ascii")
    key, payload = json.loads(text[text.index(".push(") + 6 : text.rindex(")")])
    body, at, out = zlib.decompress(base64.b64decode(payload["packed"])), 0, []
    for head in payload["columns"]:
        size = head["n"] * head["width"]
        by_byte = np.frombuffer(body, np.uint8, size, at).reshape(head["width"], -1)
        integers: NDArray[Any] = by_byte.T.copy().view(f"<u{head['width']}").ravel()
        integers = np.cumsum(integers.astype(np.int64)) if head["rising"] else integers
        at += size
        blank = 256 ** head["width"] - 1
        out.append(np.where(integers == blank, np.nan, head["base"] + head["step"] * integers.astype(float)))
    assert at == len(body)
    return key, out


def test_a_block_gives_back_its_readings_and_its_gaps() -> None:
    generator = np.random.default_rng(5)
    walls = generator.normal(0.4, 0.01, 500)
    walls[100:120] = np.nan
    places = np.cumsum(generator.uniform(0, 1000, 500))
    key, (at, back) = unpacked(block_script("g0-1", [(places, 0.001), (walls, 1e-4)]))
    assert key == "g0-1"
    assert np.nanmax(np.abs(back - walls)) <= 0.5e-4 + 1e-12
    assert np.isnan(back[100:120]).all()
    assert np.isnan(back).sum() == 20
    assert np.abs(at - places).max() <= 0.0005 + 1e-9


def test_a_block_of_nothing_known_is_nothing_known() -> None:
    _, (back,) = unpacked(block_script("g", [(np.full(4, np.nan), 1e-4)]))
    assert np.isnan(back).all()


def traces_of(n: int) -> tuple[Trace, ...]:
    at = np.arange(n, dtype=float)
    other = at + 0.25
    values = np.random.default_rng(1).normal(0.4, 0.01, n)
    return (
        Trace("mean_wall_mm", "Mean wall", "mm", "wall", at, values),
        Trace("diameter_mm", "Diameter", "mm", "diameter", other, values * 7),
        Trace("thinnest_wall_mm", "Thinnest wall", "mm", "wall", at.copy(), values - 0.03),
    )


def test_traces_with_the_same_places_share_them() -> None:
    assert [group.traces for group in groups_of(traces_of(50))] == [(0, 2), (1,)]


def test_tiles_hold_every_reading_once_and_join_at_one() -> None:
    for n in (1, 2, TILE_READINGS, TILE_READINGS + 1, 3 * TILE_READINGS + 7):
        bounds = tile_bounds(n)
        assert bounds[0][0] == 0
        assert bounds[-1][1] == n
        for (_, end), (start, _) in itertools.pairwise(bounds):
            assert start == end - 1


def test_the_files_of_a_run_are_those_its_plan_names() -> None:
    traces = traces_of(5 * OVERVIEW_BUCKETS * 16)
    plan = wire_plan(traces, "../data/X/")
    names = {name for name, _ in wire_files(traces)}
    asked = set()
    for group in plan["groups"]:
        asked |= {f"{group['key']}-{tile}.js" for tile in range(len(group["from"]))}
        if group["middle"]:
            asked.add(f"{group['key']}-middle.js")
    assert names == asked
    assert all(has_middle(group) for group in groups_of(traces))


def test_the_middle_block_keeps_the_deepest_reading() -> None:
    traces = traces_of(5 * OVERVIEW_BUCKETS * 16)
    middle = dict(wire_files(traces))["g0-middle.js"]
    _, columns = unpacked(middle)
    assert abs(np.nanmin(columns[3]) - traces[2].values.min()) <= 0.5e-4 + 1e-12
