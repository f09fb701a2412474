"""A case of the release matrix: what was made, what was done to its log and sheets, what must become of its reels."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from tempfile import TemporaryDirectory

from pipeline.contradictions import Unseen
from tests.other_lines.edits import Edit
from tests.other_lines.forms import Form, in_form
from tests.other_lines.lines import OtherLine
from tests.other_lines.products import Made
from tests.other_lines.running import MadeRun, Plan, run_of
from tests.other_lines.writing import (
    line_sheet_text,
    log_of,
    reel_id,
    run_sheet_text,
    stated_covering,
    write_logs,
)
from tests.release_matrix.judging import Answer, OnBench, judged_run, measured_run
from tests.release_matrix.plants import PlantText, plant_for
from tests.release_matrix.truths import Must, must

Label = tuple[Must, str]
PlantChange = Callable[[PlantText], PlantText]


@dataclass(frozen=True)
class Sheet:
    """One plant sheet a run is judged by.

    `labels` changes what must become of each reel: it takes the label the truth alone gives.
    """

    name: str = "whole"
    change: PlantChange = field(default=lambda sheet: sheet)
    labels: Callable[[Label], Label] = field(default=lambda label: label)


WHOLE = Sheet()


@dataclass(frozen=True)
class Case:
    """One run with its log, and the plant sheets it is judged by (each counts as one case).

    Args:
        kind: the row of the table.
        size: what tells it from others of its kind.
        line, made, plan: what was made.
        edit: what was done to the log.
        unread: stretches that no instrument read or tested (reel number, from, to) [m]; such a reel was never judged as
            a whole.
        good_may_be_held: True where a good reel may be held too, because its evidence is not whole.
        all_unjudged: True where no reel of the run can be judged.
        sheets: the plant sheets.
        overdue, left_out, named, covering_wrong_mm: changes of line and run sheet.
        run_text: a last change of the run sheet's text, or of the line sheet's.
        form: how the log is written.
        hidden: reels with bad wire shorter than a reading, whose own truth of lengths that gauges can tell says
            nothing of it: such a reel may leave only where the run says that it does not see such wire.
    """

    kind: str
    size: str
    line: OtherLine
    made: Made
    plan: Plan
    edit: Edit | None = None
    unread: tuple[tuple[int, float, float], ...] = ()
    good_may_be_held: bool = False
    all_unjudged: str = ""
    sheets: tuple[Sheet, ...] = (WHOLE,)
    overdue: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()
    named: Made | None = None
    covering_wrong_mm: float = 0.0
    run_text: Callable[[str], str] | None = None
    line_text: Callable[[str], str] | None = None
    form: Form = "csv"
    hidden: tuple[int, ...] = ()


@dataclass(frozen=True)
class Found:
    """What came of one reel of one case."""

    kind: str
    size: str
    sheet: str
    reel: str
    must: Must
    why: str
    got: str
    reasons: tuple[str, ...] = ()

    @property
    def let_go(self) -> bool:
        return self.must == "hold" and self.got == "releasable"

    @property
    def held_wrongly(self) -> bool:
        return self.must == "release" and self.got != "releasable"


@lru_cache(maxsize=6)
def made_run(line: OtherLine, made: Made, plan: Plan) -> MadeRun:
    """A run, made once for the cases that share it."""
    return run_of(line, made, plan)


@lru_cache(maxsize=2)
def _honest_logs(line: OtherLine, made: Made, plan: Plan) -> Mapping[str, bytes]:
    """The files of an honest log, written once for the cases that change sheets only."""
    with TemporaryDirectory() as folder:
        write_logs(Path(folder), line, log_of(made_run(line, made, plan)))
        return {one.name: one.read_bytes() for one in Path(folder).iterdir()}


def written(case: Case, folder: Path) -> MadeRun:
    """Write a case's logs and sheets into `folder`."""
    run = made_run(case.line, case.made, case.plan)
    log = log_of(run)
    if case.edit is not None:
        log = case.edit(run, log)
        write_logs(folder, case.line, log)
    else:
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in _honest_logs(case.line, case.made, case.plan).items():
            (folder / name).write_bytes(content)
    covering = stated_covering(run, case.covering_wrong_mm)
    text = run_sheet_text(run, "R1", log, covering, case.named)
    (folder / "run.toml").write_text(case.run_text(text) if case.run_text else text)
    in_form(folder, case.line, case.form)
    sheet = line_sheet_text(case.line, case.overdue, case.left_out)
    (folder / "line.toml").write_text(case.line_text(sheet) if case.line_text else sheet)
    (folder / "plant.toml").write_text(plant_for(case.line, case.made).text)
    return run


def labels_of(case: Case, run: MadeRun) -> Mapping[str, Label]:
    """What must become of each reel by truth and by what was done to the log."""
    labels: dict[str, Label] = {}
    for number, reel in enumerate(run.reels):
        label = must(case.line, case.made, run.truth[reel.id])
        if label[0] != "hold":
            if case.all_unjudged:
                label = ("hold", case.all_unjudged)
            elif any(one == number for one, *_ in case.unread):
                label = ("hold", "wire nobody read or tested")
            elif case.good_may_be_held:
                label = ("either", "")
        labels[reel_id("R1", reel.id)] = label
    return labels


def _with_hidden(case: Case, run: MadeRun, labels: Mapping[str, Label], says_so: bool) -> Mapping[str, Label]:
    """Labels of reels whose bad wire is shorter than a reading."""
    names = {reel_id("R1", run.reels[number].id) for number in case.hidden}
    unseen: Label = ("either", "") if says_so else ("hold", "bad wire not seen, and not said to be")
    return {reel: unseen if reel in names and label[0] != "hold" else label for reel, label in labels.items()}


def outcome(answer: Answer, reel: str) -> str:
    """What the program says of a reel."""
    return "refused" if answer.refused else answer.standings.get(reel, "absent")


def run_case(case: Case, folder: Path) -> Iterable[Found]:
    """Load and judge a case."""
    if folder.exists():
        shutil.rmtree(folder)
    run = written(case, folder)
    labels = labels_of(case, run)
    on_bench = measured_run(folder)
    if case.hidden and isinstance(on_bench, OnBench):
        says_so = any(one.code == Unseen.NEVER for one in on_bench.measured.could_show)
        labels = _with_hidden(case, run, labels, says_so)
    base = plant_for(case.line, case.made)
    for sheet in case.sheets:
        answer = judged_run(on_bench, sheet.change(base).text, folder)
        for reel, label in labels.items():
            wanted, why = sheet.labels(label)
            reasons = (answer.refused,) if answer.refused else answer.reasons.get(reel, ())
            yield Found(case.kind, case.size, sheet.name, reel, wanted, why, outcome(answer, reel), reasons)


def numbered(cases: Iterable[Case], first_seed: int) -> list[Case]:
    """The cases, each with a seed of its own."""
    return [
        replace(case, plan=replace(case.plan, seed=first_seed + number)) for number, case in enumerate(cases)
    ]
