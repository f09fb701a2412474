"""Note: what happens to the store is written in its journal, each entry chained to the one before."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import polars as pl

if TYPE_CHECKING:
    from pipeline.store.database import Store


def note(store: Store, kind: str, subject: str, record: Mapping[str, Any]) -> int:
    """Append an entry to the journal inside the caller's transaction; its number.

    Args:
        store: the store, open to write.
        kind: what happened: ``load``, ``assessment`` or a decision.
        subject: the run, reel or lot it happened to.
        record: what is kept of it: text, whole numbers and lists of these; no fractions.
    """
    last = store.ask("questions/last_entry")
    entry_no = last[0]["entry_no"] + 1 if last else 1
    before = last[0]["chain_sha256"] if last else ""
    at = datetime.now(UTC).replace(tzinfo=None)
    whole = {
        "entry_no": entry_no,
        "at_utc": at.isoformat(timespec="microseconds") + "Z",
        "kind": kind,
        "subject": subject,
        "record": dict(record),
    }
    text = json.dumps(whole, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    digest = hashlib.sha256(text.encode())
    chain = hashlib.sha256(bytes.fromhex(before) + digest.digest()).hexdigest()
    store.append(
        "journal.entry",
        pl.DataFrame(
            {
                "entry_no": entry_no,
                "at_utc": at,
                "kind": kind,
                "subject": subject,
                "record": text,
                "record_sha256": digest.hexdigest(),
                "chain_sha256": chain,
            }
        ),
    )
    return entry_no
