"""Charts of a line's spark faults: counts over tested length, wire between rare ones, good reels
between bad ones, bad reels in a run."""

from __future__ import annotations

from typing import Literal

import numpy as np

from pipeline.assumed import Assumed
from pipeline.messages import Message, message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Chart, Refused
from pipeline.statistics.count_charts import laney_chart, share_chart, u_chart
from pipeline.statistics.rare_event_charts import GapCusum, g_chart, gap_chart, gap_cusum
from pipeline.steps.chart_maker import FEWEST_REELS, ChartMaker, chart_asked
from pipeline.steps.charted import Charted, ChartFamily

# Fault rate over the usual one that the chart of gaps is made to see (chosen here).
TIMES_THE_RATE = 5.0
# Share of reels with a fault from which on a chart of the good reels between them is no use (chosen here).
MOST_WITH_FAULT = 0.5
# Runs that set the usual share of reels with a fault at least (chosen here).
FEWEST_RUNS = 5


def fault_charts(maker: ChartMaker) -> None:
    """Every chart of the line's spark faults.

    Args:
        maker: keeps them.
    """
    counts(maker)
    gaps(maker)
    good_reels(maker)
    runs(maker)


def counts(maker: ChartMaker) -> None:
    """Spark faults of each reel over its tested length."""
    tested = np.array([reel.tested_m for reel in maker.reels])
    faults = np.array([reel.faults for reel in maker.reels])
    rate = None
    for phase, part, reels in maker.parts(faults):
        start = 0 if phase == "I" else maker.first
        length = tested[start : start + part.size]
        if phase == "II":
            base = tested[: maker.first].sum()
            if not (base > 0 and faults[: maker.first].sum() > 0):
                continue
            rate = 1000.0 * float(faults[: maker.first].sum() / base)
        maker.keep(
            Charted.FAULT_RATE,
            ChartFamily.U,
            lambda p=part, m=length, r=rate: u_chart(p, m, 1.0 / maker.arl0, r),  # type: ignore[misc]
            reels,
        )
    first = tested[: maker.first] > 0.0
    plain = next(
        (one.chart for one in maker.charts if one.family is ChartFamily.U and one.chart.phase == "I"), None
    )
    if plain is not None and plain.details["dispersion_p"] < 0.05:
        # Counts that scatter more than Poisson's alarm on the plain chart all the time.
        maker.keep(
            Charted.FAULT_RATE,
            ChartFamily.LANEY,
            lambda: maker.told(laney_chart(faults[: maker.first][first], tested[: maker.first][first]), "I"),
            [reel for reel, known in zip(maker.reels, first, strict=False) if known],
        )


def gaps(maker: ChartMaker) -> None:
    """Tested wire from each spark fault to the next: for faults that hardly ever happen."""
    places, owners, travelled = [], [], 0.0
    for number, reel in enumerate(maker.reels):
        places += [travelled + at for at in sorted(reel.fault_at_m)]
        owners += [number] * len(reel.fault_at_m)
        travelled += reel.tested_m
    behind = [number for number in owners if number < maker.first]
    length = sum(reel.tested_m for reel in maker.reels[: maker.first])
    family = ChartFamily.GAP_CUSUM
    if len(behind) < 3 or length <= 0.0:
        reason = message(Reason.TOO_FEW_FAULTS_FOR_A_GAP, behind=len(behind), first=maker.first)
        maker.refused.append(
            Refused(chart_asked(Charted.FAULT_GAP, family), Message(family), reason, len(behind))
        )
        return
    watched = owners[len(behind) :]
    phase: Literal["I", "II"] = "II" if watched else "I"
    start = len(behind) if watched else 0
    gaps = np.diff(np.array([places[start - 1] if start else 0.0, *places[start:]]))
    mean = length / len(behind)
    reached = max(maker.arl0 * length / maker.first / mean, 20.0)
    found = gap_cusum(gaps, mean, TIMES_THE_RATE, reached)
    maker.keep(
        Charted.FAULT_GAP,
        family,
        lambda: maker.told(_gaps_chart(found), phase),
        [maker.reels[number] for number in owners[start:]],
    )
    maker.keep(
        Charted.FAULT_GAP,
        ChartFamily.GAP,
        lambda: maker.told(gap_chart(gaps, mean, 1, 1.0 / reached), phase),
        [maker.reels[number] for number in owners[start:]],
    )


def good_reels(maker: ChartMaker) -> None:
    """Good reels between reels with a spark fault: for lines on which most reels have none."""
    family = ChartFamily.GEOMETRIC
    tested = [number for number, reel in enumerate(maker.reels) if reel.tested_m > 0.0]
    bad = [place for place, number in enumerate(tested) if maker.reels[number].faults > 0]
    first = sum(number < maker.first for number in tested)
    before = sum(place < first for place in bad)
    chance = before / first if first else 0.0
    if first < FEWEST_REELS or before < 3 or chance > MOST_WITH_FAULT:
        reason = message(
            Reason.TOO_FEW_REELS_WITH_A_FAULT,
            before=before,
            first=first,
            most_with_fault=100 * MOST_WITH_FAULT,
        )
        maker.refused.append(
            Refused(chart_asked(Charted.GOOD_REELS, family), Message(family), reason, before)
        )
        return
    phase: Literal["I", "II"] = "II" if len(bad) > before else "I"
    start = before if phase == "II" else 1
    between = np.diff(bad)[start - 1 :] - 1
    alpha = 0.5 / max(maker.arl0 * chance, 20.0)
    maker.keep(
        Charted.GOOD_REELS,
        family,
        lambda: maker.told(g_chart(between, chance, alpha), phase),
        [maker.reels[tested[place]] for place in bad[start:]],
    )


def runs(maker: ChartMaker) -> None:
    """Share of the reels of each run that have a spark fault; each point is led to the run's last such reel."""
    of_run: dict[str, list[int]] = {}
    for number, reel in enumerate(maker.reels):
        if reel.tested_m > 0.0:
            of_run.setdefault(reel.run_id, []).append(number)
    every = list(of_run.values())
    early = sum(numbers[-1] < maker.first for numbers in every)
    bad = np.array([sum(maker.reels[one].faults > 0 for one in numbers) for numbers in every])
    pieces = np.array([len(numbers) for numbers in every])
    family = ChartFamily.SHARE
    if early < FEWEST_RUNS or not 0 < bad[:early].sum() < pieces[:early].sum():
        with_fault, of_all = int(bad[:early].sum()), int(pieces[:early].sum())
        reason = message(
            Reason.TOO_FEW_RUNS, early=early, of_all=of_all, with_fault=with_fault, fewest_runs=FEWEST_RUNS
        )
        maker.refused.append(
            Refused(chart_asked(Charted.REELS_WITH_FAULT, family), Message(family), reason, early)
        )
        return
    usual = float(bad[:early].sum() / pieces[:early].sum())
    parts: list[tuple[slice, float | None]] = [(slice(0, early), None)]
    if early < len(every):
        parts.append((slice(early, None), usual))
    for part, fixed in parts:
        maker.keep(
            Charted.REELS_WITH_FAULT,
            family,
            lambda p=part, u=fixed: maker.told(  # type: ignore[misc]
                share_chart(bad[p], pieces[p], 1.0 / maker.arl0, u), "I" if u is None else "II"
            ),
            [
                maker.reels[next((one for one in numbers[::-1] if maker.reels[one].faults), numbers[-1])]
                for numbers in every[part]
            ],
        )


def _gaps_chart(found: GapCusum) -> Chart:
    """The CUSUM of gaps as a chart of one sum a fault [m]."""
    n = found.sums.size
    told = (message(Note.RATE_SIGNALLED_AFTER, times_the_rate=TIMES_THE_RATE, arl1=found.arl1),)
    return Chart(
        question=asks(Quantity.CONTROL_CHART),
        method=message(Method.GAP_CUSUM),
        phase="II",
        plotted=found.sums,
        centre=np.zeros(n),
        lower=np.full(n, -np.inf),
        upper=np.full(n, found.limit_m),
        unit="m",
        signals=found.signals,
        arl0=found.arl0,
        unit_of_inference="event",
        assumptions=(
            Assumption(message(Assumed.GAPS_EXPONENTIAL_NO_BUNCHES), None, message(Note.SEE_CLUSTERING)),
        ),
        warnings=told,
        details={"reference_m": found.reference_m, "limit_m": found.limit_m, "arl1": found.arl1},
    )
