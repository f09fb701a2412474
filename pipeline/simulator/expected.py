"""What a correct judgement of each simulated run is: from the truth, and only from the truth."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.simulator.demo_runs import PlannedRun
from pipeline.simulator.scenario import RunScenario
from pipeline.simulator.troubles import (
    CentreDrift,
    DropOut,
    SparkFaults,
    StopMark,
    ThinAllRound,
    ThinOneSide,
    WrongUnit,
)
from pipeline.simulator.truth import TrueReel, Truth

SELDOM_S = 0.2  # readings further apart leave more than the plant allows of the wire unread
JOIN_M = 100.0  # a fluctuating wall crosses a limit many times in one trouble: that is one finding


@dataclass(frozen=True, slots=True)
class ExpectedFinding:
    """Something a correct judgement finds on a reel.

    Args:
        kind: what it is.
        requirement: the requirement it fails, or 'spark faults' or 'unmonitored length'.
        from_m, to_m: where it is on the wire [m].
        worst: the worst true value [mm, or % for concentricity]; None where there is none.
        faults: true spark faults in it.
        counts: counts the tester made of them.
    """

    kind: str
    requirement: str
    from_m: float
    to_m: float
    worst: float | None = None
    faults: int = 0
    counts: int = 0


@dataclass(frozen=True, slots=True)
class ExpectedReel:
    """The correct judgement of a reel: 'releasable' or 'hold', what fails, and what is found."""

    id: str
    verdict: str
    fails: tuple[str, ...]
    from_m: float
    to_m: float
    findings: tuple[ExpectedFinding, ...]


@dataclass(frozen=True, slots=True)
class ExpectedRun:
    """The correct judgement of a run; `judged` is False where its log cannot be trusted at all."""

    run_id: str
    line: str
    product: str
    shift: str
    judged: bool
    story: str
    reels: tuple[ExpectedReel, ...]


def expected_run(planned: PlannedRun, scenario: RunScenario, truth: Truth) -> ExpectedRun:
    """The correct judgement of `scenario`, from its `truth`.

    A reel is held if any of its wire does not meet a requirement, if a spark fault lies on it, or if the wall
    gauge gave nothing over a part of it or too few readings; and always where the log's unit is wrong.
    """
    judged = not any(isinstance(one, WrongUnit) for one in scenario.troubles)
    reels = []
    for reel in truth.reels:
        findings = _findings(reel, scenario, truth) if judged else ()
        held = bool(findings) or not judged
        fails = tuple(dict.fromkeys(one.requirement for one in findings)) if judged else ("not judged",)
        verdict = "hold" if held else "releasable"
        reels.append(ExpectedReel(reel.id, verdict, fails, reel.from_m, reel.to_m, findings))
    return ExpectedRun(
        run_id=scenario.run_id,
        line=scenario.line.id,
        product=scenario.wire.name,
        shift=scenario.shift,
        judged=judged,
        story=planned.story,
        reels=tuple(reels),
    )


def _findings(reel: TrueReel, scenario: RunScenario, truth: Truth) -> tuple[ExpectedFinding, ...]:
    found: list[ExpectedFinding] = []
    for one in truth.beyond_limit:
        from_m, to_m = max(one.from_m, reel.from_m), min(one.to_m, reel.to_m)
        if from_m <= to_m:
            kind = _cause(from_m, to_m, scenario, truth)
            new = ExpectedFinding(kind, one.requirement, from_m, to_m, one.worst)
            if found and _continues(found[-1], new):
                new = _joined(found.pop(), new)
            found.append(new)
    found += _spark_findings(reel, scenario, truth)
    for gap in (one for one in scenario.troubles if isinstance(one, DropOut)):
        from_m, to_m = max(gap.from_m, reel.from_m), min(gap.to_m, reel.to_m)
        if from_m < to_m:
            found.append(ExpectedFinding("gauge drop-out", "unmonitored length", from_m, to_m))
    if scenario.interval_s > SELDOM_S:
        found.append(ExpectedFinding("readings far apart", "unmonitored length", reel.from_m, reel.to_m))
    return tuple(found)


def _continues(before: ExpectedFinding, new: ExpectedFinding) -> bool:
    same = (before.kind, before.requirement) == (new.kind, new.requirement)
    return same and new.from_m - before.to_m <= JOIN_M


def _joined(before: ExpectedFinding, new: ExpectedFinding) -> ExpectedFinding:
    # A diameter can be beyond either limit, but not both within one trouble: the later sense is the same.
    worst = min(before.worst or 0.0, new.worst or 0.0)
    return ExpectedFinding(new.kind, new.requirement, before.from_m, new.to_m, worst)


def _cause(from_m: float, to_m: float, scenario: RunScenario, truth: Truth) -> str:
    """Which planned trouble the stretch comes from."""
    for one in scenario.troubles:
        if isinstance(one, ThinAllRound) and one.at_m < to_m and from_m < one.at_m + one.length_m:
            return "thin all round"
        if isinstance(one, ThinOneSide) and one.at_m < to_m and from_m < one.at_m + one.length_m:
            return "thin on one side"
        if isinstance(one, CentreDrift) and to_m > one.from_m:
            return "drifting center"
        if isinstance(one, StopMark) and any(
            stop_m - 1.0 < to_m and from_m < stop_m + one.length_m for stop_m in truth.stops_m
        ):
            return "stop"
    return "start-up"


def _spark_findings(reel: TrueReel, scenario: RunScenario, truth: Truth) -> list[ExpectedFinding]:
    sparks = [one for one in scenario.troubles if isinstance(one, SparkFaults)]
    places = np.array([one.wire_m for one in truth.events if one.kind == "spark fault"])
    found = []
    for pattern in dict.fromkeys(one.pattern for one in sparks):
        planned = np.array([at_m for one in sparks if one.pattern == pattern for at_m in one.at_m])
        here = planned[(planned >= reel.from_m) & (planned < reel.to_m)]
        if here.size:
            counts = int(np.isin(places, here).sum())
            found.append(
                ExpectedFinding(
                    f"spark faults, {pattern}",
                    "spark faults",
                    float(here.min()),
                    float(here.max()),
                    None,
                    int(here.size),
                    counts,
                )
            )
    return found


def expected_toml(runs: Sequence[ExpectedRun]) -> str:
    """The correct judgements as TOML for tests to hold the program to."""
    lines = [
        "# A correct judgment of each sample run, from the simulator's truth and not from this program.",
        "# Positions are meters of wire by the line's counter, counted through any reset.",
        "# The truth is invented: agreement proves consistency only.",
    ]
    for run in runs:
        lines += [
            "",
            "[[runs]]",
            f'id = "{run.run_id}"',
            f'line = "{run.line}"',
            f'product = "{run.product}"',
            f'shift = "{run.shift}"',
            f"judged = {'true' if run.judged else 'false'}",
        ]
        for reel in run.reels:
            fails = ", ".join(f'"{one}"' for one in reel.fails)
            lines += [
                "",
                "[[runs.reels]]",
                f'id = "{reel.id}"',
                f'verdict = "{reel.verdict}"',
                f"fails = [{fails}]",
                f"from_m = {reel.from_m:.1f}",
                f"to_m = {reel.to_m:.1f}",
            ]
            for one in reel.findings:
                lines += ["", "[[runs.reels.findings]]", *_finding_lines(one)]
    return "\n".join(lines) + "\n"


def _finding_lines(one: ExpectedFinding) -> list[str]:
    lines = [
        f'kind = "{one.kind}"',
        f'requirement = "{one.requirement}"',
        f"from_m = {one.from_m:.2f}",
        f"to_m = {one.to_m:.2f}",
    ]
    if one.worst is not None:
        lines.append(f"worst = {one.worst:.4f}")
    if one.faults:
        lines += [f"faults = {one.faults}", f"counts = {one.counts}"]
    return lines


_README_HEAD = """# Sample runs

{runs} runs and {reels} reels of an invented plant: two lines, three shifts, three products. They were made by
`reelproof simulate` from seed {seed}; nothing in them comes from a real plant, person or product. The truth
behind each log (`truth.json`) is ours, so agreement with it shows that the program is consistent with itself
and nothing more.

`plant.toml` is the plant's sheet, `lines/` the line sheets, `runs/` one folder a run with its run sheet, its
logs as the plant writes them, its laboratory samples (`samples.csv`) and its truth. No instrument sees the nylon
covering by itself: one sample a run shows its thickness. `expected.toml` says the same as the table below for tests.
Positions are meters of wire from the first meter made, by the line's own counter.

`shipped.toml` (cuts and shipments) and `issuer.toml` (who declares, to which documents) go with the commands of the
project's README that need such a sheet.

Line L1 logs in feet, mil, inch and deg F by local time; its wall gauge and hot and cold diameter gauges read
insulation and nylon together. Line L2 logs in metric units by UTC.

A spark fault anywhere on a reel holds it, as do wire that does not meet a requirement and a length without
evidence: the reel is then cut, re-tested or refused by a qualified person. An event list without a line in it
says that nothing was found while the tester was on.
"""


def readme_text(runs: Sequence[ExpectedRun], seed: int) -> str:
    """The README of the sample runs: a correct judgement of each, in plain words."""
    reels = sum(len(run.reels) for run in runs)
    parts = [_README_HEAD.format(runs=len(runs), reels=reels, seed=seed)]
    for run in runs:
        story = textwrap.fill(run.story, 110)
        parts.append(f"\n## {run.run_id}: {run.product}, {run.line}, {run.shift}\n\n{story}\n")
        parts.append("\n| reel | judgment | fails | found |\n|---|---|---|---|\n")
        for reel in run.reels:
            found = "; ".join(_finding_words(one) for one in reel.findings) or "nothing"
            if not run.judged:
                found = "not judged"
            parts.append(f"| {reel.id} | {reel.verdict} | {', '.join(reel.fails) or 'nothing'} | {found} |\n")
    return "".join(parts)


def _finding_words(one: ExpectedFinding) -> str:
    place = f"{one.from_m:.1f} to {one.to_m:.1f} m"
    if one.faults:
        return f"{one.kind}: {one.faults} (counted {'once' if one.counts == 1 else f'{one.counts} times'}), {place}"
    if one.worst is None:
        return f"{one.kind}, {place}"
    unit = "%" if one.requirement == "concentricity" else "mm"
    digits = f"{one.worst:.1f}" if unit == "%" else f"{one.worst:.3f}"
    return f"{one.kind} ({one.requirement}), {place}, worst {digits} {unit}"
