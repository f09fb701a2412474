"""The whole job of a review: what it came to, as the few lines a person reads."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from pipeline.job.assessing import AssessOutcome
from pipeline.job.load_on_file import LoadOutcome
from pipeline.messages import Message
from pipeline.wording.say import plain
from pipeline.words import counted


@dataclass(frozen=True, slots=True)
class ReviewOutcome:
    """What a review came to.

    Args:
        loads: one a run that could be loaded.
        assessments: one a run that was judged, or refused a conclusion.
        refused: sentences about runs that could not be loaded.
        pages_written: pages that changed.
        index: the page to open first.
        plant_told: plant sheets that are not those the runs are judged by.
        alarms: wire of these runs that is out and might not have left.
    """

    loads: tuple[LoadOutcome, ...]
    assessments: tuple[AssessOutcome, ...]
    refused: list[str]
    pages_written: int
    index: Path
    plant_told: tuple[Message, ...] = ()
    alarms: tuple[Message, ...] = ()

    def lines(self) -> list[str]:
        """A handful of lines: alarms, what was read, what may leave, what may not and why, and what to open."""
        read = sum(load.rows_read for load in self.loads)
        kept = sum(load.rows_kept for load in self.loads)
        aside = sum(load.rows_set_aside for load in self.loads)
        new = sum(load.was_new for load in self.loads)
        judged = [one for one in self.assessments if one.outcome == "judged"]
        open_runs = [one for one in self.assessments if one.outcome != "judged"]
        lines = [
            *(f"ALARM: {plain(one)}" for one in self.alarms),
            (
                f"{counted(self.loads, 'run')}, {new} of them new: {counted(read, 'row')} read = {kept:,} kept + "
                f"{aside:,} set aside."
            ),
            (
                f"{counted(sum(one.releasable for one in judged), 'reel')} releasable on the evidence, "
                f"{sum(one.held for one in judged)} held, with "
                f"{counted(sum(one.findings for one in judged), 'finding')}."
            ),
        ]
        samples = sum(load.samples for load in self.loads)
        if samples:
            lines.append(f"{counted(samples, 'laboratory sample')} put on file.")
        lines.extend(f"{load.run_id}: {plain(one)}" for load in self.loads for one in load.told)
        lines.extend(map(plain, self.plant_told))
        lines.extend(f"{one.run_id}: {one.outcome}. {plain(one.reason or '')}" for one in open_runs)
        lines.append(f"Open {self.index} (pages changed: {self.pages_written}).")
        lines.append(
            "In-line evidence supports and does not replace the adopted standard's own tests; "
            "release is a qualified person's decision."
        )
        return lines
