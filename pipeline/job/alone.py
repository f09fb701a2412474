"""One run, page or look that cannot be done is told in words, and the others go on."""

from __future__ import annotations

import os

from pipeline.errors import Complaint, ReelproofError, StoreError
from pipeline.store.damage import is_full_disk


def refusal_of(fault: Exception, where: str) -> ReelproofError:
    """What is told of one run or page whose work ended in `fault`.

    Args:
        fault: what ended it.
        where: the run or page.

    Raises:
        Exception: `fault` itself, where it is the store's or everybody's: the disk is full, or somebody stopped it.
    """
    if isinstance(fault, StoreError) or is_full_disk(fault) or os.environ.get("REELPROOF_TRACE"):
        raise fault
    if isinstance(fault, ReelproofError):
        return fault
    if str(fault) == "Query interrupted":
        raise fault
    if isinstance(fault, MemoryError):
        return ReelproofError(
            Complaint(
                where,
                "this machine has not memory enough for it",
                "The others go on; close other programs, or load it on a machine with more memory",
            )
        )
    told = " ".join(str(fault).split())[:300]
    return ReelproofError(
        Complaint(
            where,
            f"a fault of this program, not of your data ({type(fault).__name__}: {told})",
            "The others go on; run the same command with REELPROOF_TRACE=1 set and report what it prints",
        )
    )
