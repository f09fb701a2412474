"""The same numbers as an able engineer's notebook gives them, with pandas, NumPy and SciPy, on the same bytes.

What the notebook works: typed readings in metric units, spikes by Hampel's rule, the wall's harmonics and its thinnest
point between the sensors, diameter and ovality, each reel's readings, mean, spread, least and greatest, stretches of
25 m, and each reel's index against both wall limits with a lower bound that allows for correlated readings. It stops
there: it judges nothing, keeps no reasons and writes no store, all of which is in the program's time. Beside it stand
the same calculations by the program's functions, without a store.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from scipy import optimize, stats

from pipeline.results import Result
from pipeline.steps.answers import _capability, _series_of
from pipeline.steps.bench import bench_of
from pipeline.steps.load import load_run, read_run_sheets
from pipeline.steps.measure import measure_run
from pipeline.steps.place import place_run
from pipeline.steps.stretches import reel_summaries, stretches
from pipeline.store.database import open_to_read
from tests.benchmarks.made_logs import plant_logs
from tests.benchmarks.own_process import cost_of
from tests.benchmarks.row import Row
from tests.benchmarks.scale import Scale

FOOT_M, MIL_MM, INCH_MM = 0.3048, 0.0254, 25.4
QUANTITIES = ("mean_wall_mm", "thinnest_wall_mm", "eccentricity_mm", "diameter_mm", "ovality_mm")
# Limits of the product simulated, minimum average and minimum at any point [mm] (15 and 13 mil).
LIMITS = {"mean_wall_mm": 0.381, "thinnest_wall_mm": 0.3302}


def _spikes(values: np.ndarray, floor: float) -> np.ndarray:
    """Hampel's rule over 21 readings: further than 5 x 1.4826 MAD from the median, MAD at least the resolution."""
    found = np.zeros(values.size, bool)
    windows = np.lib.stride_tricks.sliding_window_view(values, 21)
    for start in range(0, len(windows), 50_000):
        part = windows[start : start + 50_000]
        middle = np.median(part, axis=1)
        mad = np.median(np.abs(part - middle[:, None]), axis=1)
        away = np.abs(part[:, 10] - middle)
        found[start + 10 : start + 10 + len(part)] = away > 5 * 1.4826 * np.maximum(mad, floor)
    return found


def _thinnest(walls: np.ndarray, sd: float) -> np.ndarray:
    """Thinnest wall around each section: two harmonics, the second averaged over 25 readings, on 72 directions."""
    angle = 2 * np.pi * np.arange(8) / 8
    fit = np.linalg.pinv(np.column_stack([np.ones(8), *_waves(angle, 1), *_waves(angle, 2)]))
    parts = walls @ fit.T
    away = walls - parts[:, :3] @ np.column_stack([np.ones(8), *_waves(angle, 1)]).T
    low = away.min(axis=1) < -5 * sd * np.sqrt(1 - 3 / 8)
    odd = low | (away.max(axis=1) > 5 * sd * np.sqrt(1 - 3 / 8))
    oval = pd.DataFrame(np.where(odd[:, None], np.nan, parts[:, 3:])).rolling(25, center=True, min_periods=1)
    oval = oval.mean().to_numpy()
    around = 2 * np.pi * np.arange(72) / 72
    thinnest = np.empty(len(walls))
    for start in range(0, len(walls), 100_000):
        rows = slice(start, start + 100_000)
        profile = parts[rows, :1] + parts[rows, 1:3] @ _waves(around, 1) + oval[rows] @ _waves(around, 2)
        thinnest[rows] = profile.min(axis=1)
    return np.where(low, np.minimum(walls.min(axis=1), thinnest), thinnest)


def _waves(angle: np.ndarray, order: int) -> np.ndarray:
    return np.stack([np.cos(order * angle), np.sin(order * angle)])


def _index(values: np.ndarray, limit: float) -> list[float]:
    """Count, one-sided performance index, and its lower bound by the noncentral t on the effective numbers."""
    n = values.size
    if n < 50:
        return [float(n), float("nan"), float("nan")]
    centred = values - values.mean()
    spectrum = np.fft.rfft(centred, 2 * n)
    r = np.fft.irfft(spectrum * spectrum.conj())[:n]
    r = r / r[0]
    pairs = r[: n // 2 * 2].reshape(-1, 2).sum(axis=1)
    stop = 2 * int(np.argmax(pairs < 0)) if (pairs < 0).any() else n
    for_mean = n / max(1.0, 2 * r[:stop].sum() - 1)
    for_spread = n / max(1.0, 2 * (r[:stop] ** 2).sum() - 1)
    index = (values.mean() - limit) / (3 * values.std(ddof=1))
    if for_mean < 10:
        return [float(n), index, float("nan")]
    root = np.sqrt(for_mean)

    def excess(low: float) -> float:
        return float(stats.nct.sf(3 * root * index, for_spread - 1, 3 * root * low)) - 0.05

    low = optimize.brentq(excess, index - 3, index)
    # The sum of correlations is itself known on so many degrees of freedom (half of Madras and Sokal's, 1988).
    freedom = max(n / (2 * (2 * stop + 1)), 1.0)
    return [float(n), index, index - (index - low) * stats.t.ppf(0.95, freedom) / stats.norm.ppf(0.95)]


def notebook(folder: str) -> dict[str, Any]:
    """Every run below `folder`: figures of each reel, spikes a run, stretches."""
    found = [_one_run(path.parent) for path in sorted(Path(folder).rglob("run.toml"))]
    return {one["run"]: one for one in found}


def _one_run(folder: Path) -> dict[str, Any]:
    sheet = tomllib.loads((folder / "run.toml").read_text())["run"]
    line = tomllib.loads((folder / "line.toml").read_text())["line"]
    station = {one["kind"]: one["station_m"] for one in line["instruments"]}
    frame = pd.read_csv(next(folder.glob("*_log.csv")))
    frame["time"] = (
        pd.to_datetime(frame["Timestamp"], format="ISO8601")
        .dt.tz_localize("America/Chicago")
        .dt.tz_convert("UTC")
    )
    walls = frame[[f"Wall_{k}_mil" for k in range(1, 9)]].to_numpy() * MIL_MM
    x, y = (frame[f"ColdOD_{axis}_in"].to_numpy() * INCH_MM for axis in "XY")
    spikes = np.column_stack([_spikes(column, 0.000254) for column in (*walls.T, x, y)])
    angle = 2 * np.pi * np.arange(8) / 8
    cos, sin = walls @ np.cos(angle) / 4, walls @ np.sin(angle) / 4
    frame["mean_wall_mm"] = walls.mean(axis=1) - sheet["covering"]["mean_mm"]
    gauge_sd = next(one["uncertainty_mm"] for one in line["instruments"] if one["kind"] == "wall gauge")
    frame["thinnest_wall_mm"] = _thinnest(walls, gauge_sd) - sheet["covering"]["mean_mm"]
    frame["eccentricity_mm"] = np.hypot(cos, sin)
    frame["diameter_mm"], frame["ovality_mm"] = (x + y) / 2, np.abs(x - y)
    counter = frame["Footage_ft"].to_numpy() * FOOT_M
    moving = frame["LineSpeed_fpm"].to_numpy() > 0.02 / (FOOT_M / 60)
    edges = np.array([one["from_m"] for one in sheet["reels"]] + [sheet["reels"][-1]["to_m"]])
    names = [one["id"] for one in sheet["reels"]]
    summaries, indices = [], {}
    for quantity in QUANTITIES:
        gauge = "wall gauge" if "wall" in quantity or "ecc" in quantity else "cold diameter gauge"
        at = counter - station[gauge] + line["take_up_station_m"]
        # Spikes judge the wire and stay out of the statistics.
        counted = moving & ~(spikes[:, :8] if gauge == "wall gauge" else spikes[:, 8:]).any(axis=1)
        figures = pd.concat(
            [
                _by_reel(frame[quantity][moving], at[moving], edges, names, ["count", "min", "max"]),
                _by_reel(frame[quantity][counted], at[counted], edges, names, ["count", "mean", "std"]),
            ],
            axis=1,
        )
        summaries.append(figures)
        if quantity in LIMITS:
            by_reel = frame[quantity][counted].groupby(
                pd.cut(at[counted], edges, right=False, labels=names), observed=False
            )
            indices[quantity] = {
                name: _index(values.to_numpy(), LIMITS[quantity]) for name, values in by_reel
            }
    stretch = np.floor((counter - station["wall gauge"] - counter[0]) / 25.0).astype(int)
    inside = moving & (stretch >= 0)
    rolled = (
        frame.loc[inside, ["mean_wall_mm", "eccentricity_mm"]]
        .groupby(stretch[inside])
        .agg(["mean", "min", "max"])
    )
    return {
        "run": sheet["id"],
        "reels": {
            quantity: {
                name: [float(value) for value in row]
                for name, row in zip(names, figures.to_numpy(), strict=True)
            }
            for quantity, figures in zip(QUANTITIES, summaries, strict=True)
        },
        "indices": indices,
        "spikes": int(spikes.sum()),
        "stretches": [float(one) for one in rolled["mean_wall_mm"]["mean"]],
    }


def _by_reel(
    values: pd.Series, at: np.ndarray, edges: np.ndarray, names: list[str], what: list[str]
) -> pd.DataFrame:
    return values.groupby(pd.cut(at, edges, right=False, labels=names), observed=False).agg(what)


def calculations(folder: str) -> int:
    """What the notebook works, by the program's own functions and for every requirement; how many indices."""
    return sum(_calculated(path) for path in sorted(Path(folder).rglob("run.toml")))


def _calculated(path: Path) -> int:
    loaded = load_run(read_run_sheets(path))
    sheets, logs = loaded.sheets, loaded.logs
    run, line, plant, product = sheets.run, sheets.line, sheets.plant, sheets.product
    placed = place_run(logs.readings, logs.events, logs.flagged, run, line)
    measured = measure_run(
        logs.readings,
        logs.flagged,
        placed,
        line,
        run.covering,
        product.conductor_mm,
        product.covering is not None,
        line.mass_balance(run.product.construction, run.product.size),
        plant.spark_test,
    )
    bench = bench_of(run, line, plant, product, loaded.shift_date, placed, measured)
    reel_summaries(bench.measured, bench.placed, logs.readings)
    stretches(bench.measured, placed.placement.made_m, placed.placement.start_m)
    indices = 0
    for reel in bench.placed.reels:
        for quantity, limit in LIMITS.items():
            seen = bench.measured.seen[quantity]
            series, worth = _series_of(seen, reel.from_m, reel.to_m, "at least")
            named = "minimum average wall" if quantity == "mean_wall_mm" else "minimum wall at any point"
            asked = next(one for one in bench.limits if (one.requirement, one.sense) == (named, "at least"))
            if not np.isclose(asked.value, limit, atol=1e-4):
                raise RuntimeError(f"{named} is {asked.value} mm here and {limit} mm in the notebook")
            answer = _capability(seen, asked, series, worth, from_m=reel.from_m, to_m=reel.to_m)
            indices += isinstance(answer, Result)
    return indices


def _compare(theirs: dict[str, Any], store: Path) -> int:
    """How many figures of the notebook equal the program's.

    A spike that other instruments contradict is left out by the program alone: a reel in fifty may differ.
    """
    same = other = 0
    with open_to_read(store) as opened:
        for run in opened.ask("questions/current_runs"):
            mine = theirs[run["run_id"]]
            for row in opened.ask(
                "questions/reel_summaries_of_assessment", assessment_id=run["assessment_id"]
            ):
                figures = mine["reels"].get(row["quantity"], {}).get(row["reel_id"])
                if figures is None:
                    continue
                pairs = list(zip(figures[:3], (row["readings"], row["low"], row["high"]), strict=True))
                if row["steady_readings"] == figures[3]:
                    pairs += zip(figures[4:], (row["mean"], row["sd"]), strict=True)
                # The notebook looks for the thinnest point every five degrees, the program in between too.
                close = 1e-9 if row["quantity"] != "thinnest_wall_mm" else 2e-3
                agree = sum(bool(np.isclose(one, ours, rtol=close, atol=1e-12)) for one, ours in pairs)
                same, other = same + agree, other + len(pairs) - agree
            same += _indices_agree(
                mine["indices"],
                opened.ask("questions/results_of_assessment", assessment_id=run["assessment_id"]),
            )
            flagged = opened.ask("questions/flag_counts_of_load", load_id=run["load_id"])
            told = sum(
                one["readings"]
                for one in flagged
                if one["reason"] == "spike" and one["channel"].startswith(("wall_", "diameter_"))
            )
            if abs(told - mine["spikes"]) > 200 + told // 50:
                raise RuntimeError(f"{told} spikes by the program, {mine['spikes']} by the notebook")
    if same == 0 or other > same / 50:
        raise RuntimeError(f"{other} of {same + other} figures of the notebook and the program differ")
    return same


def _indices_agree(theirs: dict[str, Any], answers: list[dict[str, Any]]) -> int:
    """How many indices the notebook has as the program has them; bounds may differ where the sums are cut."""
    same = other = 0
    for row in answers:
        if row["scope"] != "reel" or row["topic"] != "capability" or row["estimate"] is None:
            continue
        quantity = "mean_wall_mm" if "average" in row["about"] else "thinnest_wall_mm"
        count, index, bound = theirs[quantity][row["subject"]]
        if count != row["n"]:
            continue
        agree = bool(
            np.isclose(index, row["estimate"], rtol=1e-2) and abs(bound - row["low"]) < 0.1 * abs(index)
        )
        same, other = same + agree, other + (not agree)
    if other > same / 10:
        raise RuntimeError(f"{other} of {same + other} indices of the notebook and the program differ")
    return same


def run(scale: Scale) -> list[Row]:
    lines = 1 if scale.name == "full" else scale.lines
    folder = plant_logs(scale.data, scale.hours, lines)
    store = scale.fresh("notebook")
    ours = cost_of("plant_day:review", folder, store)
    theirs = cost_of("notebook:notebook", folder)
    bare = cost_of("notebook:calculations", folder)
    same = _compare(theirs.answer, store)
    wall, cpu = ours.wall_s - ours.answer["deep_wall_s"], ours.cpu_s - ours.answer["deep_cpu_s"]
    faster = theirs.wall_s / wall
    words = f"{lines} line{'s' if lines > 1 else ''} x {scale.hours:g} h"
    return [
        Row(
            f"notebook in pandas and SciPy, {words}",
            "",
            f"{theirs.wall_s:.1f} s",
            None,
            theirs.wall_s,
            theirs.cpu_s,
            theirs.peak_mb,
            1.0,
        ),
        Row(
            f"the same calculations by the program's functions, {bare.answer:,} indices",
            "",
            f"{theirs.wall_s / bare.wall_s:.1f} x wall, {theirs.cpu_s / bare.cpu_s:.1f} x CPU",
            None,
            bare.wall_s,
            bare.cpu_s,
            bare.peak_mb,
            bare.cpu_s / theirs.cpu_s,
        ),
        Row(
            f"the program, {words}, {same:,} figures the same",
            ">= 5 x faster",
            f"{faster:.1f} x wall, {theirs.cpu_s / cpu:.1f} x CPU",
            faster >= 5.0,
            wall,
            cpu,
            ours.peak_mb,
            cpu / theirs.cpu_s,
            "The notebook judges nothing and writes nothing; the program's time has all of that in it.",
        ),
        Row(
            "peak memory, program over notebook",
            "< 1",
            f"{ours.peak_mb / theirs.peak_mb:.2f}",
            ours.peak_mb < theirs.peak_mb,
        ),
    ]
