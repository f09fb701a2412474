"""Commands on how far a gauge can be trusted: gauge, samples."""

from __future__ import annotations

import sys
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import typer

from pipeline.cli.plant_units import InUnits
from pipeline.cli.showing import JSON, STORE, print_alarms, print_json, print_table, tell_of_wait
from pipeline.cli.typed import metres_of
from pipeline.errors import Complaint, ReelproofError
from pipeline.messages import Message
from pipeline.wording.say import plain
from pipeline.words import counted

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pipeline.record.samples_compared import Compared
    from pipeline.trust.gauge_study import GaugeStudy


# A sample is of so much wire or more to either side [m].
LEAST_REACH_M = 0.05


def add_to(app: typer.Typer) -> None:
    """Add these commands to `app`."""
    app.command()(gauge)
    app.command()(samples)


def gauge(
    table: Path = typer.Argument(
        metavar="FILE.csv", help="Columns part, operator, trial and value_mm or value_mil."
    ),
    limit: str | None = typer.Option(
        None,
        "--limit",
        help="A one-sided limit, like 0.33mm or 13mil: the gauge is held against the margin to it.",
    ),
    ranges: bool = typer.Option(False, "--ranges", help="By averages and ranges, as some customers ask for."),
    as_json: bool = JSON,
) -> int:
    """Study a gauge's repeatability and reproducibility. Every operator measures every part several times.

    Cut samples are used up by measuring, so a table of them is not such a study; use 'reelproof samples'.

    Example: reelproof gauge study.csv --limit 0.33mm
    """
    from pipeline.record.gauge_tables import read_study
    from pipeline.results import Refused
    from pipeline.trust.gauge_study import average_and_range_study, crossed_gauge_study

    cube = read_study(table)
    study = average_and_range_study(cube) if ranges else crossed_gauge_study(cube)
    if isinstance(study, Refused):
        raise ReelproofError(Complaint(str(table), plain(study.reason).rstrip("."), "Complete the table"))
    margin, risks = None, None
    if limit is not None:
        from pipeline.cli.drifting import millimetres_of

        mean, held = float(cube.mean()), millimetres_of(limit, "--limit")
        margin = study.share_of_margin_pct(mean, held)
        if study.parts > 0.0 and study.gauge > 0.0:
            risks = _risks(study, mean, held)
    if as_json:
        print_json(_study_as_json(study, cube.shape, margin, risks))
    else:
        _print_study(study, cube.shape, margin)
        if risks is not None:
            _print_risks(risks)
    return 0


def _risks(study: GaugeStudy, mean: float, limit: float) -> dict[str, Any]:
    """What guard bands of 0, 1 and 1.645 times the gauge's spread cost, and what a part read at the limit is worth."""
    from pipeline.nonconformance.decision import global_risks, guard_band, process_posterior

    sense: Literal["at least", "at most"] = "at least" if mean >= limit else "at most"
    sign = 1.0 if sense == "at least" else -1.0
    true, sd = process_posterior(limit, study.gauge, mean, study.parts)
    rows = []
    for guard in (0.0, study.gauge, guard_band(study.gauge)):
        consumer, producer = global_risks(mean, study.parts, study.gauge, limit, sense, guard)
        rows.append(
            {
                "guard_band_mm": guard,
                "acceptance_limit_mm": limit + sign * guard,
                "accepted_though_bad": consumer,
                "rejected_though_good": producer,
            }
        )
    return {"sense": sense, "at_the_limit_mm": true, "at_the_limit_sd_mm": sd, "guard_bands": rows}


def _print_risks(risks: dict[str, Any]) -> None:
    print()
    print(
        f"If parts differ as these do ({risks['sense']} the limit, JCGM 106:2012, 9.5), of a million parts judged by "
        "one reading each:"
    )
    print_table(
        ("Guard band mm", f"Accepted {risks['sense']} mm", "Accepted though bad", "Rejected though good"),
        [
            (
                f"{row['guard_band_mm']:.5f}",
                f"{row['acceptance_limit_mm']:.5f}",
                f"{1e6 * row['accepted_though_bad']:,.0f}",
                f"{1e6 * row['rejected_though_good']:,.0f}",
            )
            for row in risks["guard_bands"]
        ],
    )
    print(
        f"A part that reads at the limit is then most likely {risks['at_the_limit_mm']:.5f} mm, with a standard "
        f"uncertainty of {risks['at_the_limit_sd_mm']:.5f} mm. A reading that was flagged tells of a process that "
        "changed: this does not hold for it."
    )


def _part(value: float, form: str) -> str:
    return format(value, form) if value == value else "-"


def _study_as_json(
    study: GaugeStudy, shape: tuple[int, ...], margin: float | None, risks: dict[str, Any] | None
) -> dict[str, Any]:
    from dataclasses import asdict

    return {
        **asdict(study),
        "unit": "mm",
        "number_of_parts": shape[0],
        "operators": shape[1],
        "trials": shape[2],
        "share_of_margin_pct": margin,
        "risks": risks,
    }


def _print_study(study: GaugeStudy, shape: tuple[int, ...], margin: float | None) -> None:
    print(
        f"{counted(shape[0], 'part')}, {counted(shape[1], 'operator')}, {counted(shape[2], 'trial')}; {study.method}."
    )
    print_table(
        ("Spread of", "Standard deviation mm", "Of all %"),
        [
            (name, f"{value:.5f}", f"{100.0 * value / study.total:.1f}" if study.total > 0 else "-")
            for name, value in (
                ("the equipment (repeatability)", study.repeatability),
                ("the operators (reproducibility)", study.reproducibility),
                ("the gauge, both together", study.gauge),
                ("the parts", study.parts),
                ("all", study.total),
            )
        ],
    )
    if study.rows:
        print(f"The gauge's spread lies between {study.gauge_low:.5f} and {study.gauge_high:.5f} mm (95 %).")
        print()
        print_table(
            ("Source", "Sum of squares", "Degrees", "Mean square", "F", "p"),
            [
                (
                    one.name,
                    f"{one.ss:.4g}",
                    str(one.df),
                    f"{one.ms:.4g}",
                    _part(one.f, ".2f"),
                    _part(one.p, ".4f"),
                )
                for one in study.rows
            ],
        )
        print(f"The interaction was {'pooled with the repeats' if study.pooled else 'kept apart'}.")
    print(f"It tells {study.categories} distinct categories apart; five or more are usually asked for.")
    if margin is not None:
        print(f"The gauge's spread is {margin:.1f} % of the margin from the mean to the limit.")


def samples(
    table: Path | None = typer.Argument(
        None,
        metavar="FILE.csv",
        help="Columns reel, at_m or at_ft (from the end that comes off first), quantity (mean_wall_mm, "
        "thinnest_wall_mm, covering_mm, conductor_mm, concentricity_pct, diameter_mm), value_mm, value_mil or "
        "value_pct and, where known, the standard uncertainty sd_mm, sd_mil or sd_pct, measured_by and instrument.",
    ),
    reach: str = typer.Option(
        "1m", "--reach", help="Wire to either side of a sample whose readings are averaged, as 3ft or 1m."
    ),
    from_core: bool = typer.Option(
        False, "--from-core", help="Places in the table count from the core end instead."
    ),
    role: str = typer.Option(
        "",
        "--role",
        help="Your role in the plant; with it the samples are kept, and judge the reels they were cut from.",
    ),
    withdraw: str = typer.Option(
        "",
        "--withdraw",
        metavar="SAMPLE",
        help="Withdraw a sample on file, like R-0411-S02, instead of handing in a table. It stays on file and no "
        "longer judges. Needs --role, --person and --reason.",
    ),
    person: str = typer.Option("", "--person", help="Your mark, where the plant keeps one."),
    reason: str = typer.Option("", "--reason", help="Why it is withdrawn."),
    store: Path = STORE,
    as_json: bool = JSON,
) -> int:
    """Hand in laboratory samples. With --role they judge their reels; without it they are only compared with
    readings of the same wire, which gives the bias and the limits of agreement.

    Example: reelproof samples laboratory.csv --role "quality engineer" --store store
    """
    from pipeline.acts.sampling import hand_in
    from pipeline.record.alarms import alarms_of_runs, runs_of_like_lots
    from pipeline.record.from_core import samples_from_core
    from pipeline.record.gauge_tables import read_samples
    from pipeline.record.plant_sheet_on_file import unit_of_plant
    from pipeline.record.samples_compared import compare_samples
    from pipeline.store.database import open_to_read, open_to_write

    if withdraw:
        return _withdraw(withdraw, table, (role, person, reason), store, as_json)
    if table is None:
        raise ReelproofError(
            Complaint("samples", "no table was given", "Give FILE.csv, or a sample with --withdraw")
        )
    taken = read_samples(table)
    reach_m = metres_of(reach, "--reach")
    if reach_m < LEAST_REACH_M:
        raise ReelproofError(
            Complaint("--reach", f"{reach} is too short for a reading", f"Give {LEAST_REACH_M:g} m or more")
        )
    with open_to_read(store) as opened:
        if from_core:
            taken = samples_from_core(opened, taken)
        compared = compare_samples(opened, taken, reach_m)
        shown = InUnits(unit_of_plant(opened))
    handed, alarms = None, tuple[Message, ...]()
    if role.strip():
        with open_to_write(store, on_wait=tell_of_wait) as opened:
            handed = hand_in(opened, taken, compared, role.strip(), person)
            reels = {one.reel: opened.ask("questions/reel", reel_id=one.reel)[0]["run_id"] for one in taken}
            alarms = alarms_of_runs(opened, runs_of_like_lots(opened, reels.values()))
    if as_json:
        print_json([_as_json(one) for one in compared])
        print_alarms(alarms, shown.unit, sys.stderr)
        return 0
    print_alarms(alarms, shown.unit)
    for one in compared:
        _print(one, shown)
    if not compared:
        print("No instrument of the line reads what was sampled, so there is nothing to compare.")
    if handed is None:
        print("Nothing was kept; give --role to keep the samples and let them judge their reels.")
        return 0
    known = f"; {handed.known} were on file already" if handed.known else ""
    told = f" ({handed.kept[0]} to {handed.kept[-1]})" if handed.kept else ""
    entries = ", ".join(str(one) for one in handed.entries)
    print(
        f"Kept as journal entries {entries}: {counted(len(handed.kept), 'sample')}{told}{known}. Write the pages again "
        "to see them."
    )
    _print_said(store, reels, shown)
    return 0


def _withdraw(sample: str, table: Path | None, by: tuple[str, str, str], store: Path, as_json: bool) -> int:
    """Withdraw a sample on file."""
    from pipeline.acts.withdrawing import withdraw_sample
    from pipeline.nonconformance.disposition import Person
    from pipeline.store.database import open_to_write

    if table is not None:
        raise ReelproofError(
            Complaint("samples", f"both {table} and --withdraw {sample} were given", "Give one of them")
        )
    role, person, reason = by
    with open_to_write(store, on_wait=tell_of_wait) as opened:
        entry_no = withdraw_sample(opened, sample, Person(role.strip(), person.strip()), reason)
    if as_json:
        print_json({"withdrawn": sample, "entry_no": entry_no})
        return 0
    print(f"Sample {sample} was withdrawn (journal entry {entry_no}). It stays on file and no longer judges.")
    print("Write the pages again to see it.")
    return 0


def _print_said(store: Path, runs: Mapping[str, str], shown: InUnits) -> None:
    """What samples now say against the sampled reels, each with its run."""
    from pipeline.record.sample_say import NOTHING, samples_on_run
    from pipeline.store.database import open_to_read

    with open_to_read(store) as opened:
        said = {run: samples_on_run(opened, run) for run in dict.fromkeys(runs.values())}
    for reel, run in runs.items():
        against = said[run].get(reel, NOTHING).against
        print(f"Reel {reel}: " + ("held by samples." if against else "its samples say nothing against it."))
        for sentence in against:
            print(f"  - {shown.sentence(sentence)}")


def _recorded(value: Any) -> Any:
    """A record by its fields, its messages as words."""
    if isinstance(value, Message):
        return plain(value)
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: _recorded(getattr(value, field.name)) for field in fields(value)}
    return [_recorded(one) for one in value] if isinstance(value, tuple | list) else value


def _as_json(one: Compared) -> dict[str, Any]:
    return {
        "line": one.line,
        "instrument": one.instrument.id,
        "quantity": one.quantity,
        "bias": _recorded(one.bias),
        "straight_line": _recorded(one.straight),
        "supported_uncertainty_mm": one.supported_mm,
        "pairs": [
            {
                "reel": pair.sample.reel,
                "from_outer_m": pair.sample.from_outer_m,
                "laboratory_mm": pair.sample.value,
                "line_mm": pair.line_mm,
                "readings": pair.readings,
            }
            for pair in one.pairs
        ],
    }


def _print(one: Compared, shown: InUnits) -> None:
    from pipeline.results import Refused

    print(f"{one.instrument.id}, line {one.line}, {one.quantity}:")
    print_table(
        ("Reel", f"From outer end {shown.unit}", "Laboratory mm", "Line mm", "Readings"),
        [
            (
                pair.sample.reel,
                shown.figure(pair.sample.from_outer_m),
                f"{pair.sample.value:.4f}",
                f"{pair.line_mm:.4f}" if pair.readings else "not read",
                str(pair.readings),
            )
            for pair in one.pairs
        ],
    )
    bias = one.bias
    if isinstance(bias, Refused) or isinstance(one.found, Refused):
        print(f"  No bias is given. {plain(bias.reason) if isinstance(bias, Refused) else ''}")
        return
    print(
        f"  Bias {bias.estimate:+.4f} mm ({bias.low:+.4f} to {bias.high:+.4f}), {bias.n} pairs; {plain(bias.method)}."
    )
    print(
        f"  Limits of agreement {one.found.low_limit:+.4f} to {one.found.high_limit:+.4f} mm; these samples support "
        f"a standard uncertainty of {one.supported_mm:.4f} mm, the line sheet states "
        f"{one.instrument.uncertainty_mm:g} mm."
    )
    if isinstance(one.straight, Refused):
        print(f"  No line through both: {plain(one.straight.reason)}")
    else:
        print(
            f"  Line through both, with errors in both: slope {one.straight.slope:.3f} "
            f"({one.straight.slope_low:.3f} to {one.straight.slope_high:.3f})."
        )
    for told in bias.warnings:
        print(f"  {plain(told)}")
