"""Which services may ask the site over its API, in whose name, for which acts and until when?

A token is shown once, when it is made, and kept by its SHA-256. It has 256 random bits, so that no slow digest is
needed (OWASP ASVS 4.0.3, 2.9 and 3.5, from memory). A service acts in its own name with a role of the plant's sheet,
or in the name of a person who has an account; only a person is a second person.
"""

from __future__ import annotations

import secrets
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from pipeline.desk.accounts import name_or_refused, sha256_of
from pipeline.errors import Complaint, ReelproofError
from pipeline.nonconformance.disposition import Person
from pipeline.nonconformance.mark import mark_of
from pipeline.record.access_log import Access, note_access

if TYPE_CHECKING:
    from pipeline.desk.accounts import Accounts

# What a token may be made for besides reading; each is an act, or the part of one that weighs more.
SCOPES = ("hold", "lift", "decide", "confirm", "ship", "ship held", "sample")
# Told of in no secret of anybody else's, so that one that strays is found by a search.
PREFIX = "reelproof_"
# Common practice, no source.
LONGEST_DAYS = 366
_LONGEST_TOKEN = 100
_SEEN_EVERY = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class Service:
    """A service that asks with a token that stands.

    Args:
        token_sha256: by which the token is kept.
        name: the service.
        person: the person in whose name it acts; "" for its own.
        role: the role it acts in; "" for reading only.
        may: of `SCOPES`, what the token was made for.
    """

    token_sha256: str
    name: str
    person: str
    role: str
    may: frozenset[str]

    @property
    def by(self) -> Person:
        """Who acts, as the journal has it."""
        return Person(self.role, self.person or self.name)


@dataclass(frozen=True, slots=True)
class TokenRow:
    """A token as it is listed: its service, in whose name and role it acts, for what, until when, and when it ended."""

    name: str
    person: str
    role: str
    may: tuple[str, ...]
    until_utc: datetime
    used_utc: datetime | None
    ended: bool


class Tokens:
    """The tokens beside a store."""

    def __init__(self, accounts: Accounts) -> None:
        self.accounts = accounts
        self.file = accounts.file

    def _at(self, later: timedelta = timedelta(0)) -> str:
        return (self.accounts.now() + later).replace(tzinfo=None).isoformat(timespec="microseconds")

    def make(self, name: str, role: str, account: str, may: Collection[str], days: int) -> str:
        """Make a token; those that the service had end. It is given once.

        Args:
            name: the service.
            role: role in which it acts in its own name; "" for reading only, and for a person's.
            account: account in whose name it acts; "" for its own.
            may: of `SCOPES`, what it is for besides reading.
            days: how long it stands.

        Raises:
            ReelproofError: it may not be made so.
        """
        name = name_or_refused(name)
        known = self.accounts.of(account) if account else None
        with self.file.transaction():
            self._check(name, role, account, may, days)
            self.file.do("end_service_tokens", name=name, at_utc=self._at())
            token = PREFIX + secrets.token_urlsafe(32)
            self.file.do(
                "add_service_token",
                token_sha256=sha256_of(token),
                name=name,
                key=known.key if known is not None else None,
                role=role,
                may="\n".join(one for one in SCOPES if one in may),
                at_utc=self._at(),
                until_utc=self._at(timedelta(days=days)),
            )
            acts = ", ".join(one for one in SCOPES if one in may) or "reading only"
            who = known.name if known is not None else name
            self._note(Access.TOKEN_MADE, name, person=who, acts=acts, days=days)
        return token

    def _check(self, name: str, role: str, account: str, may: Collection[str], days: int) -> None:
        complaints = []
        known = self.accounts.of(account) if account else None
        if account and (known is None or known.ended):
            complaints.append(Complaint("--account", f"there is no account {account}", "Make it first"))
        if account and role:
            complaints.append(
                Complaint("--role", "the account has a role already", "Leave --role or --account out")
            )
        unknown = [one for one in may if one not in SCOPES]
        if unknown:
            complaints.append(
                Complaint("--may", f"'{unknown[0]}' is no act", f"Give one of {', '.join(SCOPES)}")
            )
        acts_as = known.role if known is not None else role
        if may and not acts_as:
            complaints.append(
                Complaint(
                    "--may", "no role was given in which it would act", "Give --role, or leave --may out"
                )
            )
        if "confirm" in may and not account:
            complaints.append(
                Complaint(
                    "--may confirm",
                    "a service is no second person",
                    "Give --account: the person who confirms",
                )
            )
        if not 1 <= days <= LONGEST_DAYS:
            complaints.append(
                Complaint("--days", f"{days} is no time for a token", f"Give 1 to {LONGEST_DAYS}")
            )
        alike = next((one.name for one in self.accounts.all() if mark_of(one.name) == mark_of(name)), None)
        if alike is not None:
            complaints.append(
                Complaint(f"token {name}", f"account {alike} has that name", "Name the service, not a person")
            )
        if complaints:
            raise ReelproofError(complaints)

    def end(self, name: str) -> None:
        """End a service's token.

        Raises:
            ReelproofError: it has none that stands.
        """
        with self.file.transaction():
            if not self.file.do("end_service_tokens", name=name, at_utc=self._at()):
                others = ", ".join(dict.fromkeys(one.name for one in self.all() if not one.ended)) or "none"
                raise ReelproofError(
                    Complaint(f"token {name}", "no such service has a token", f"Services: {others}")
                )
            self._note(Access.TOKEN_ENDED, name)

    def all(self) -> tuple[TokenRow, ...]:
        """Every token, ended ones too, oldest first."""
        now = self._at()
        return tuple(
            TokenRow(
                row["name"],
                row["person"] or "",
                row["role"],
                tuple(row["may"].split("\n")) if row["may"] else (),
                datetime.fromisoformat(row["until_utc"]),
                datetime.fromisoformat(row["used_utc"]) if row["used_utc"] else None,
                bool(row["ended_utc"] or row["account_ended_utc"]) or row["until_utc"] <= now,
            )
            for row in self.file.ask("service_tokens")
        )

    def of(self, token: str) -> Service | None:
        """The service of a token that stands now; None for anything else."""
        if not token.startswith(PREFIX) or len(token) > _LONGEST_TOKEN:
            return None
        rows = self.file.ask("service_token", token_sha256=sha256_of(token), at_utc=self._at())
        return self._service(rows[0]) if rows else None

    def _service(self, row: dict[str, Any]) -> Service:
        if row["used_utc"] is None or row["used_utc"] < self._at(-_SEEN_EVERY):
            self.file.do("see_service_token", token_sha256=row["token_sha256"], at_utc=self._at())
        may = frozenset(row["may"].split("\n")) if row["may"] else frozenset[str]()
        return Service(row["token_sha256"], row["name"], row["person"] or "", row["role"], may)

    def _note(self, code: Access, who: str, **more: object) -> None:
        note_access(self.file, code, who, self.accounts.now(), more)
