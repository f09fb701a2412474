"""Withdraw a laboratory sample that was handed in wrongly: it stays on file and no longer judges.

A withdrawal is an entry of the journal, under the run of the sample. What the sample said is never taken away.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pipeline.errors import Complaint
from pipeline.messages import said
from pipeline.nonconformance.disposition import DispositionRefused, Person, check_power
from pipeline.record.entry_kinds import SAMPLE_WITHDRAWN
from pipeline.record.journal_on_file import note
from pipeline.record.not_found import not_on_file
from pipeline.record.plant_sheet_on_file import plant_sheet_of
from pipeline.record.samples_on_file import samples_of_run, told_as, withdrawn_of_run
from pipeline.why import SampleSays
from pipeline.wording.say import plain

if TYPE_CHECKING:
    from pipeline.store.database import Store


def withdraw_sample(store: Store, sample_id: str, by: Person, reason: str) -> int:
    """Withdraw a laboratory sample; the journal entry that keeps who did it and why.

    Args:
        store: the store, open to write.
        sample_id: the sample.
        by: who.
        reason: why, in their words.

    Raises:
        NotFoundError: there is no such sample; the nearest numbers are named.
        DispositionRefused: the plant's sheet does not let the role withdraw a sample, it is withdrawn already, or the
            role, the person or the reason is missing.
    """
    if not (by.role.strip() and by.person.strip() and reason.strip()):
        raise DispositionRefused(
            Complaint(
                sample_id,
                "the role, the person or the reason is missing",
                "Give --role, --person and --reason",
            )
        )
    with store.transaction():
        row = _sample(store, sample_id)
        run_id = row["run_id"]
        plant, _ = plant_sheet_of(store, run_id)
        allowed = plant.may_decide.get("withdraw sample", ())
        check_power(sample_id, "withdraw sample", by, allowed, "withdraw a sample")
        before = withdrawn_of_run(store, run_id)
        if sample_id in before:
            raise DispositionRefused(
                Complaint(
                    sample_id,
                    f"it is withdrawn already. {plain(before[sample_id], plant.system).rstrip('.')}",
                    "Nothing is left to do",
                )
            )
        told = {"sample": told_as(row), "by": str(by), "reason": reason.strip().rstrip(".")}
        record = {
            "said": said(SampleSays.WITHDRAWN, **told),
            "withdraws": sample_id,
            "role": by.role,
            "person": by.person,
            "reason": reason,
        }
        return note(store, SAMPLE_WITHDRAWN, run_id, record)


def _sample(store: Store, sample_id: str) -> dict[str, Any]:
    run_id = sample_id.rpartition("-S")[0]
    on_file = samples_of_run(store, run_id)
    found = [row for row in on_file if row["sample_id"] == sample_id]
    if not found:
        raise not_on_file("sample", sample_id, [row["sample_id"] for row in on_file])
    return found[0]
