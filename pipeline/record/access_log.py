"""What happened at the door of the review site: who signed in, who was refused, and which acts were refused.

Entries have the form of the journal's and a chain of their own, for a wrong password must not cost a writing of the
store. The journal keeps the chain's head (`seal_access`), so that whoever changes an entry later is found out.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from pipeline.found import Noted
from pipeline.lots.journal import Entry, check_journal, next_entry
from pipeline.messages import Code, said
from pipeline.record.entry_kinds import ACCESS
from pipeline.record.journal_on_file import entry_of, note
from pipeline.store.account_file import has_accounts, open_accounts

if TYPE_CHECKING:
    from pipeline.store.account_file import AccountFile
    from pipeline.store.database import Store

Row = dict[str, Any]


class Access(Code):
    """What an entry of the access log says of itself."""

    STARTED = "access/started"
    ACCOUNT_MADE = "access/account made"
    ROLE_GIVEN = "access/role given"
    ACCOUNT_ENDED = "access/account ended"
    LINK_GIVEN = "access/link given"
    PASSWORD_SET = "access/password set"  # noqa: S105 - a code
    SIGNED_IN = "access/signed in"
    SIGN_IN_REFUSED = "access/sign-in refused"
    LOCKED = "access/locked"
    SIGNED_OUT = "access/signed out"
    ACT_REFUSED = "access/act refused"
    ACT_LATE = "access/act late"
    FORM_REFUSED = "access/form refused"
    TOKEN_MADE = "access/token made"  # noqa: S105 - a code
    TOKEN_ENDED = "access/token ended"  # noqa: S105 - a code
    TOKEN_REFUSED = "access/token refused"  # noqa: S105 - a code


def note_access(
    file: AccountFile, code: Access, who: str, now: datetime, more: Mapping[str, Any] | None = None
) -> None:
    """Append an entry to the access log.

    Args:
        file: the accounts.
        code: what happened.
        who: name of the account, or the name that was given.
        now: the instant, UTC.
        more: what its words name besides.
    """
    with file.transaction():
        last = file.ask("last_access")
        told = said(code, who=who, **(more or {}))
        entry = next_entry(_entry(last[0]) if last else None, now, str(code), who, {"said": told})
        file.do(
            "add_access",
            entry_no=entry.entry_no,
            at_utc=entry.at_utc.replace(tzinfo=None).isoformat(),
            kind=entry.kind,
            subject=entry.subject,
            record=entry.record,
            record_sha256=entry.record_sha256,
            chain_sha256=entry.chain_sha256,
        )


def _entry(row: Row) -> Entry:
    return entry_of({**row, "at_utc": datetime.fromisoformat(row["at_utc"])})


def access_entries(file: AccountFile) -> tuple[Entry, ...]:
    """The access log, in order."""
    return tuple(_entry(row) for row in file.ask("access_entries"))


def seal_access(store: Store, file: AccountFile) -> None:
    """Keep in the journal how far the access log goes, inside the caller's transaction; nothing where it did not grow.

    Args:
        store: the store, open to write.
        file: the accounts beside it.
    """
    last = file.ask("last_access")
    sealed = store.ask("questions/entries_of_kind", kind=ACCESS)
    if not last or (sealed and entry_of(sealed[-1]).content.get("entries") == last[0]["entry_no"]):
        return
    entries = int(last[0]["entry_no"])
    record = {
        "said": said(Noted.ACCESS_SEALED, entries=entries),
        "entries": entries,
        "chain": last[0]["chain_sha256"],
    }
    note(store, ACCESS, "access log", record)


def access_faults(store: Store) -> Iterator[str]:
    """In what the access log is not as it was written, or not as the journal knows it; a sentence each.

    Args:
        store: the store, open to read.
    """
    sealed = [entry_of(row) for row in store.ask("questions/entries_of_kind", kind=ACCESS)]
    if not has_accounts(store.folder):
        if sealed:
            yield "The access log of the review site is not beside the store, and the journal knows of it."
        return
    with open_accounts(store.folder) as file:
        entries = access_entries(file)
    for fault in check_journal(entries):
        yield f"Access log, {fault.sentence}."
    for seal in sealed:
        size = int(seal.content.get("entries", 0))
        if not 0 < size <= len(entries) or entries[size - 1].chain_sha256 != seal.content.get("chain"):
            yield f"Access log: its first {size} entries are not those that entry {seal.entry_no} of the journal knows."
            return


def utc_now() -> datetime:
    """The clock's instant, UTC."""
    return datetime.now(UTC)
