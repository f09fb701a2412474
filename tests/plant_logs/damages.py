"""What plants' data suffer: each takes a run and gives the run whose log has it. The wire stays what it was."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.ndimage import median_filter

from tests.plant_logs.line_logs import AXES, Floats, Run, noise

Change = Callable[[str, Floats], Floats]


def changed(run: Run, names: list[str], change: Change) -> Run:
    return run.having(**{name: change(name, run.cols[name].copy()) for name in names})


def frozen(run: Run, names: list[str]) -> Run:
    """The last figure before the bad wire stands over it."""
    rows = run.bad_rows

    def stands(name: str, values: Floats) -> Floats:
        values[rows] = values[rows.start - 1]
        return values

    return changed(run, names, stands)


def filled(run: Run, names: list[str]) -> Run:
    """A historian's straight line over the bad wire."""
    rows = run.bad_rows

    def straight(name: str, values: Floats) -> Floats:
        ends = [rows.start - 1, rows.stop]
        values[rows] = np.interp(np.arange(rows.start, rows.stop), ends, values[ends])
        return values

    return changed(run, names, straight)


def compressed(run: Run) -> Run:
    """Every fifth row kept, straight lines between."""
    every = np.arange(run.t.size)
    return changed(run, run.gauges, lambda name, values: np.interp(every, every[::5], values[::5]))


def averaged(run: Run) -> Run:
    """All sensors show the mean all round."""
    mean = np.mean([run.cols[name] for name in run.walls], axis=0)
    return changed(run, run.walls, lambda name, values: mean)


def beside(run: Run) -> Run:
    """The sensor that would see it is dead and filled with the mean of its neighbors."""
    walls, one = run.walls, run.worst
    mean = 0.5 * (run.cols[walls[one - 1]] + run.cols[walls[(one + 1) % len(walls)]])
    return run.having(**{walls[one]: mean})


def opposite(run: Run) -> Run:
    """The sensor that would see it repeats the one opposite."""
    walls, one = run.walls, run.worst
    return run.having(**{walls[one]: run.cols[walls[(one + len(walls) // 2) % len(walls)]]})


def test_signal(run: Run) -> Run:
    """The ring shows each sensor's usual figure with the gauge's noise, all through."""
    rng, u = np.random.default_rng((run.seed, 7)), run.lay.u["wall gauge"]
    return changed(run, run.walls, lambda name, values: np.median(values) + u * noise(rng, values.size, 0))


def held_back(run: Run) -> Run:
    """A filter keeps the last figure while a new one is under the average wall."""
    low = 0.97 * run.lay.wire.average + 1.25 * run.lay.wire.covering

    def kept(name: str, values: Floats) -> Floats:
        last = np.maximum.accumulate(np.where(values >= low, np.arange(values.size), 0))
        return values[last]

    return changed(run, run.walls, kept)


def hot_for_cold(run: Run) -> Run:
    return changed(run, [one for one in AXES if one in run.cols], lambda name, values: 1.02 * values)


def mirrored(run: Run) -> Run:
    """One sensor's figures move the wrong way."""
    mean = np.mean([run.cols[name] for name in run.walls], axis=0)
    return changed(run, [run.walls[run.worst]], lambda name, values: 2.0 * mean - values)


def rounded(run: Run) -> Run:
    """The log has walls in whole mil."""
    return changed(run, run.walls, lambda name, values: np.round(values / 0.0254) * 0.0254)


def slowed(run: Run) -> Run:
    """A gauge read every fifth row stands for the rows between."""
    kept = np.arange(run.t.size) // 5 * 5
    return changed(run, run.gauges, lambda name, values: values[kept])


def despiked(run: Run) -> Run:
    """A running median over few rows, far shorter than the bad wire."""
    return changed(run, run.gauges, lambda name, values: np.asarray(median_filter(values, 5, mode="nearest")))


HIDE: dict[str, tuple[Callable[[Run], Run], tuple[str, ...]]] = {
    "nothing": (lambda run: run, ("thin", "off", "short")),
    "frozen rows": (lambda run: frozen(run, run.gauges), ("short", "thin")),
    "frozen ring": (lambda run: frozen(run, run.walls), ("short", "off")),
    "rows filled": (lambda run: filled(run, run.gauges), ("short", "thin")),
    "ring filled": (lambda run: filled(run, run.walls), ("short", "off")),
    "rows compressed": (compressed, ("thin", "off")),
    "sensors averaged": (averaged, ("off",)),
    "sensor filled from beside": (beside, ("off",)),
    "sensor copies the opposite": (opposite, ("off",)),
    "filter holds back": (held_back, ("off", "thin", "short")),
    "hot wire as cold": (hot_for_cold, ("thin",)),
    "sensor mirrored": (mirrored, ("off",)),
    "whole mil": (rounded, ("thin", "off")),
    "slow gauge": (slowed, ("thin", "off")),
    "running median": (despiked, ("thin", "off")),
}
# Without a conductor gauge a diameter may move by its conductor: the page says that such a ring is not seen.
NEEDS_CONDUCTOR = {"gauge's test signal": (test_signal, ("off", "thin"))}
# What changes figures and not what they are worth: sound reels of such logs leave.
HARMLESS = ("nothing", "whole mil", "slow gauge", "running median")
