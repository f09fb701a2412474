"""Who is signed in: sessions that end when nobody uses them, at the end of a shift, and with their account."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from pipeline.desk.accounts import sha256_of
from pipeline.nonconformance.disposition import Person
from pipeline.record.access_log import Access, note_access

if TYPE_CHECKING:
    from pipeline.desk.accounts import Account, Accounts

# OWASP ASVS 4.0.3, 3.3.2, level 2 (from memory): 30 minutes unused or 12 hours in all.
IDLE = timedelta(minutes=30)
LONGEST = timedelta(hours=12)
# A session that is used is noted no oftener: each note is a write to the disk.
_NOTED_EVERY = timedelta(seconds=30)
_LONGEST_TOKEN = 100


@dataclass(frozen=True, slots=True)
class Session:
    """One person signed in at one browser.

    Args:
        token_sha256: by which it is kept.
        key: key of the account.
        name: the person's mark.
        role: their role; "" for reading only.
        form_token: what each form must carry.
        told: what the next page tells once.
    """

    token_sha256: str
    key: str
    name: str
    role: str
    form_token: str
    told: str

    @property
    def by(self) -> Person:
        """The person, as acts have them."""
        return Person(self.role, self.name)


class Sessions:
    """The sessions beside a store."""

    def __init__(self, accounts: Accounts) -> None:
        self.file = accounts.file
        self.now = accounts.now

    def _at(self, later: timedelta = timedelta(0)) -> str:
        return (self.now() + later).replace(tzinfo=None).isoformat(timespec="microseconds")

    def begin(self, account: Account) -> str:
        """Begin a session for who just signed in; what the browser keeps. It is new each time."""
        token = secrets.token_urlsafe(32)
        self.file.do("sweep_sessions", seen_utc=self._at(-IDLE), begun_utc=self._at(-LONGEST))
        self.file.do(
            "add_session",
            token_sha256=sha256_of(token),
            key=account.key,
            form_token=secrets.token_urlsafe(32),
            at_utc=self._at(),
        )
        return token

    def of(self, token: str, *, is_used: bool = True) -> Session | None:
        """The session of what a browser sent; None where it is none, or has ended.

        Args:
            token: what it sent.
            is_used: whether a person asked, so that the session is in use; a page that listens does not use it.
        """
        if not token or len(token) > _LONGEST_TOKEN:
            return None
        digest = sha256_of(token)
        for row in self.file.ask("session", token_sha256=digest):
            if row["ended_utc"] or row["seen_utc"] < self._at(-IDLE) or row["begun_utc"] < self._at(-LONGEST):
                self.file.do("end_session", token_sha256=digest)
                return None
            if is_used and row["seen_utc"] < self._at(-_NOTED_EVERY):
                self.file.do("see_session", token_sha256=digest, at_utc=self._at(), told=row["told"])
            return Session(digest, row["key"], row["name"], row["role"], row["form_token"], row["told"])
        return None

    def tell(self, session: Session, told: str) -> None:
        """Keep what the next page of a session tells once; "" when it was told."""
        self.file.do("see_session", token_sha256=session.token_sha256, at_utc=self._at(), told=told)

    def looked(self, session: Session) -> int:
        """The newest journal entry that the person of a session has looked at; 0 where they never did."""
        rows = self.file.ask("looked", key=session.key)
        return int(rows[0]["entry_no"]) if rows else 0

    def look(self, session: Session, entry_no: int) -> None:
        """Note that the person of a session has looked at everything up to a journal entry."""
        self.file.do("set_looked", key=session.key, entry_no=entry_no)

    def end(self, session: Session) -> None:
        """End a session."""
        self.file.do("end_session", token_sha256=session.token_sha256)
        note_access(self.file, Access.SIGNED_OUT, session.name, self.now())

    def note_refused(self, session: Session, code: Access, **more: object) -> None:
        """Note in the access log that something of a session was refused."""
        note_access(self.file, code, session.name, self.now(), more)
