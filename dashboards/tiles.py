"""The full-rate readings behind a run page, in small script files that a page loads when a reader zooms in.

A page opened from a disk may not fetch data, but it may load a script: each file pushes one block of readings
onto a queue. Blocks are integers in steps far below any gauge's resolution, a place as its distance from the one
before, with like bytes side by side: so little is left to find that zlib need only count bytes and see runs of one
(`zlib.Z_RLE`), which packs them to half the size of whole figures in a quarter of the time. Base64 makes a script of
them.
"""

from __future__ import annotations

import base64
import json
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dashboards.decimation import Floats, extremes_kept
from dashboards.records import Trace

PLACE_STEP_M = 0.001
STEPS = {"mm": 1e-4, "m/s": 1e-3, "degC": 0.01, "bar": 0.01, "kV": 1e-3, "rpm": 0.01, "%": 0.01}
TILE_READINGS = 16_384
OVERVIEW_BUCKETS = 900
MIDDLE_FACTOR = 16


@dataclass(frozen=True, slots=True)
class TraceGroup:
    """Traces read at the same places, which share their position column.

    Args:
        traces: their numbers on the page.
        at_m: the places [m].
    """

    traces: tuple[int, ...]
    at_m: Floats


def groups_of(traces: Sequence[Trace]) -> tuple[TraceGroup, ...]:
    """Traces with equal positions put together, in the order of their first member."""
    found: list[tuple[list[int], Floats]] = []
    for number, trace in enumerate(traces):
        for members, at_m in found:
            if at_m is trace.at_m or np.array_equal(at_m, trace.at_m):
                members.append(number)
                break
        else:
            found.append(([number], trace.at_m))
    return tuple(TraceGroup(tuple(members), at_m) for members, at_m in found)


def packed_column(values: Floats, step: float) -> tuple[dict[str, Any], bytes]:
    """A column as integers: ``value = base + step * integer``; the largest integer stands for no reading.

    Args:
        values: figures; NaN where there is none.
        step: smallest difference kept; each figure is within half a step.

    Returns:
        What a reader needs to unpack it, and its bytes: the lowest byte of every figure, then the next, two or four
        in all. Where `rising`, each figure is what it adds to the one before.
    """
    known = np.isfinite(values)
    whole = bool(known.all())
    held = values if whole else values[known]
    base = float(held.min()) if held.size else 0.0
    span = float(held.max()) - base if held.size else 0.0
    width = 2 if span / step < 65_534 else 4
    blank = 65_535 if width == 2 else 4_294_967_295
    steps = np.rint((values - base) / step)
    integers: NDArray[Any] = (steps if whole else np.where(known, steps, blank)).astype(f"<u{width}")
    rising = bool((integers[1:] >= integers[:-1]).all())
    if rising:
        integers[1:] -= integers[:-1].copy()
    by_byte = integers.view(np.uint8).reshape(-1, width).T
    return {"base": base, "step": step, "width": width, "rising": rising}, by_byte.tobytes()


def block_script(key: str, columns: Sequence[tuple[Floats, float]]) -> bytes:
    """The script file of one block.

    Args:
        key: the block's name, which the page asks for.
        columns: (figures, step) of each column.
    """
    parts = [packed_column(values, step) for values, step in columns]
    heads = [{**head, "n": int(values.size)} for (head, _), (values, _) in zip(parts, columns, strict=True)]
    packer = zlib.compressobj(1, strategy=zlib.Z_RLE)
    packed = base64.b64encode(packer.compress(b"".join(body for _, body in parts)) + packer.flush())
    told = json.dumps([key, {"columns": heads, "packed": ""}], separators=(",", ":")).encode()
    return b"(window.reelproofWire=window.reelproofWire||[]).push(%b%b%b);\n" % (told[:-3], packed, told[-3:])


def step_of(unit: str) -> float:
    """Step kept for a quantity: a tenth of a micrometre for thicknesses and diameters."""
    return STEPS.get(unit, 1e-4)


def middle_columns(traces: Sequence[Trace], group: TraceGroup) -> list[tuple[Floats, float]]:
    """Columns of a group's middle block: places and extremes of each trace, sixteen times finer than the page."""
    columns = []
    for number in group.traces:
        trace = traces[number]
        kept = extremes_kept(trace.at_m, trace.values, OVERVIEW_BUCKETS * MIDDLE_FACTOR)
        columns += [(trace.at_m[kept], PLACE_STEP_M), (trace.values[kept], step_of(trace.unit))]
    return columns


def has_middle(group: TraceGroup) -> bool:
    """Whether the group is long enough for a block between the page's picture and every reading."""
    return group.at_m.size > 4 * OVERVIEW_BUCKETS * MIDDLE_FACTOR


def tile_bounds(n: int) -> list[tuple[int, int]]:
    """First and last-plus-one reading of each tile; tiles overlap by one reading so that lines join."""
    return [(start, min(start + TILE_READINGS + 1, n)) for start in range(0, max(n - 1, 1), TILE_READINGS)]


def wire_files(traces: Sequence[Trace]) -> Iterator[tuple[str, bytes]]:
    """(file name, content) of every block behind a run page."""
    for number, group in enumerate(groups_of(traces)):
        if has_middle(group):
            yield f"g{number}-middle.js", block_script(f"g{number}-middle", middle_columns(traces, group))
        for tile, (start, stop) in enumerate(tile_bounds(group.at_m.size)):
            columns = [(group.at_m[start:stop], PLACE_STEP_M)]
            columns += [(traces[k].values[start:stop], step_of(traces[k].unit)) for k in group.traces]
            yield f"g{number}-{tile}.js", block_script(f"g{number}-{tile}", columns)


def wire_plan(traces: Sequence[Trace], folder: str) -> dict[str, Any]:
    """What the page must know to ask for blocks: groups, where each tile starts, how many readings there are.

    Args:
        traces: the traces, in the order of the figure.
        folder: address of the blocks' folder, as seen from the page.
    """
    plan = []
    for number, group in enumerate(groups_of(traces)):
        bounds = tile_bounds(group.at_m.size)
        plan.append(
            {
                "key": f"g{number}",
                "traces": list(group.traces),
                "n": int(group.at_m.size),
                "middle": has_middle(group),
                "from": [round(float(group.at_m[a]), 3) for a, _ in bounds] if group.at_m.size else [],
                "to": [round(float(group.at_m[b - 1]), 3) for _, b in bounds] if group.at_m.size else [],
                "tile": TILE_READINGS,
                "row": traces[group.traces[0]].first_row,
            }
        )
    return {"folder": folder, "groups": plan, "buckets": OVERVIEW_BUCKETS, "factor": MIDDLE_FACTOR}
