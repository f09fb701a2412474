"""Who may sign in to the review site, in which role, and with which password?

Passwords are kept as Argon2id (RFC 9106) and set by the person with a link that works once. A name that was given is
never given again, so that two persons in the journal are never one mark.
"""

from __future__ import annotations

import hashlib
import secrets
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from threading import BoundedSemaphore
from typing import TYPE_CHECKING

from argon2 import PasswordHasher
from argon2.exceptions import Argon2Error, InvalidHashError

from pipeline.errors import Complaint, ReelproofError
from pipeline.nonconformance.mark import mark_of
from pipeline.record.access_log import Access, note_access, utc_now

if TYPE_CHECKING:
    from pipeline.store.account_file import AccountFile

# OWASP ASVS 4.0.3, 2.1.1 and 2.1.2 (from memory): 12 characters at least, 64 allowed, no more than 128.
SHORTEST, LONGEST = 12, 128
LONGEST_NAME = 60
# Common practice, no source.
WRONG_IN_A_ROW = 5
LOCKED_FOR = timedelta(minutes=15)
LINK_STANDS = timedelta(hours=24)
_FORGOTTEN_AFTER = timedelta(days=1)
UNKNOWN = "a name that is no account"


@dataclass(frozen=True, slots=True)
class Account:
    """A person who may sign in.

    Args:
        key: the name as it is compared: without case and outer spaces.
        name: the plant's mark of the person, as the journal has it.
        role: their role by the plant's sheet; "" for reading only.
        has_password: whether they set one.
        ended: whether the account was ended.
    """

    key: str
    name: str
    role: str
    has_password: bool
    ended: bool


def key_of(name: str) -> str:
    """A name as it is compared, the same way the second person's mark is."""
    return unicodedata.normalize("NFKC", name).strip().casefold()


def sha256_of(token: str) -> str:
    """What is kept of a token that somebody else has."""
    return hashlib.sha256(token.encode()).hexdigest()


class Accounts:
    """The accounts beside a store.

    Args:
        file: where they are kept.
        now: the clock.
        hasher: makes what is kept of a password; with the library's own cost where it is left out.
    """

    def __init__(
        self,
        file: AccountFile,
        now: Callable[[], datetime] = utc_now,
        hasher: PasswordHasher | None = None,
    ) -> None:
        self.file = file
        self.now = now
        self._hasher = hasher or PasswordHasher()
        # A password takes 64 MB to check: more at once than this would take the machine's memory.
        self._checking = BoundedSemaphore(2)
        self._nobody = ""

    def _at(self, later: timedelta = timedelta(0)) -> str:
        return (self.now() + later).replace(tzinfo=None).isoformat(timespec="microseconds")

    def all(self) -> tuple[Account, ...]:
        """Every account, ended ones too."""
        return tuple(
            Account(row["key"], row["name"], row["role"], row["password"] is not None, bool(row["ended_utc"]))
            for row in self.file.ask("accounts")
        )

    def of(self, name: str) -> Account | None:
        """The account of a name; None where there is none."""
        return next((one for one in self.all() if one.key == key_of(name)), None)

    def first_link(self) -> str:
        """A link's token with which the first account is made; earlier ones end. "" where somebody has a password."""
        with self.file.transaction():
            if any(one.has_password and not one.ended for one in self.all()):
                return ""
            self.file.do("end_links", key=None, at_utc=self._at())
            return self._link(None)

    def _link(self, key: str | None) -> str:
        token = secrets.token_urlsafe(32)
        self.file.do("add_link", token_sha256=sha256_of(token), key=key, until_utc=self._at(LINK_STANDS))
        return token

    def invite(self, name: str, role: str) -> str:
        """Make an account, or let the person of one set a new password; the token of the link for it.

        Args:
            name: the person's mark.
            role: their role; an account that stands takes it.

        Raises:
            ReelproofError: the name cannot be one, or was an account that ended.
        """
        name = name_or_refused(name)
        with self.file.transaction():
            known = self.of(name)
            if known is None:
                self._refuse_alike(name)
                self.file.do("add_account", key=key_of(name), name=name, role=role, at_utc=self._at())
                self._note(Access.ACCOUNT_MADE, name, role=role or "reading only")
            elif known.ended:
                raise ReelproofError(
                    Complaint(
                        f"account {name}",
                        "an account of this name was ended, and its acts stay on file",
                        "Give another name, so that nobody is taken for that person",
                    )
                )
            elif known.role != role:
                self.file.do("set_role", key=known.key, role=role)
                self.file.do("end_sessions_of", key=known.key)
                self._note(Access.ROLE_GIVEN, known.name, role=role or "reading only")
            self.file.do("end_links", key=key_of(name), at_utc=self._at())
            self._note(Access.LINK_GIVEN, name)
            return self._link(key_of(name))

    def _refuse_alike(self, name: str) -> None:
        """Refuse a name that the rule of the second person takes for another account's."""
        known = [(one.name, f"account {one.name}") for one in self.all()]
        known += [(row["name"], f"service {row['name']}") for row in self.file.ask("service_tokens")]
        alike = next((told for one, told in known if mark_of(one) == mark_of(name)), None)
        if alike is not None:
            raise ReelproofError(
                Complaint(
                    f"account {name}",
                    f"it cannot be told from {alike}: spaces, hyphens and case make no other person",
                    "Give a name that differs in a letter or digit",
                )
            )

    def end(self, name: str) -> None:
        """End an account and everything it has open.

        Raises:
            ReelproofError: there is no such account that stands.
        """
        with self.file.transaction():
            known = self.of(name)
            if known is None or known.ended:
                others = ", ".join(one.name for one in self.all() if not one.ended) or "none"
                raise ReelproofError(
                    Complaint(f"account {name}", "there is no such account", f"Accounts: {others}")
                )
            self.file.do("end_account", key=known.key, at_utc=self._at())
            self.file.do("end_sessions_of", key=known.key)
            self.file.do("end_links", key=known.key, at_utc=self._at())
            self._note(Access.ACCOUNT_ENDED, known.name)

    def whose_link(self, token: str) -> tuple[bool, Account | None]:
        """Whether a link may be used, and whose it is; nobody's for the first account's."""
        rows = self.file.ask("link", token_sha256=sha256_of(token), at_utc=self._at())
        if not rows:
            return False, None
        if rows[0]["key"] is None:
            return True, None
        account = next((one for one in self.all() if one.key == rows[0]["key"]), None)
        return account is not None and not account.ended, account

    def set_password(self, token: str, password: str, name: str = "", role: str = "") -> Account:
        """Use a link: set a person's password, or make the first account.

        Args:
            token: the link's.
            password: the new password.
            name: name of the first account; not read for a link that is somebody's.
            role: its role.

        Raises:
            ReelproofError: the link was used or has run out, the password is weak, or the name cannot be one.
        """
        stands, account = self.whose_link(token)
        if not stands:
            raise link_refused()
        wanted = account.name if account is not None else name_or_refused(name)
        refuse_weak(password, wanted)
        with self._checking:
            kept = self._hasher.hash(unicodedata.normalize("NFKC", password))
        with self.file.transaction():
            if not self.file.do("use_link", token_sha256=sha256_of(token), at_utc=self._at()):
                raise link_refused()
            if account is None:
                if self.of(wanted) is None:
                    self._refuse_alike(wanted)
                    self.file.do("add_account", key=key_of(wanted), name=wanted, role=role, at_utc=self._at())
                    self._note(Access.ACCOUNT_MADE, wanted, role=role or "reading only")
                else:
                    raise ReelproofError(
                        Complaint("name", "there is an account of this name", "Give another name")
                    )
            self.file.do("set_password", key=key_of(wanted), password=kept)
            self.file.do("end_sessions_of", key=key_of(wanted))
            self.file.do(
                "forget_tried", key=sha256_of(key_of(wanted)), before_utc=self._at(-_FORGOTTEN_AFTER)
            )
            self._note(Access.PASSWORD_SET, wanted)
        made = self.of(wanted)
        if made is None:
            raise link_refused()
        return made

    def signed_in(self, name: str, password: str, address: str) -> Account | None:
        """The account of a name and password; None where they are wrong or it is locked, whichever of these.

        Args:
            name: as typed.
            password: as typed.
            address: where it came from, for the access log.
        """
        key = key_of(name)[:LONGEST_NAME]
        account = next((row for row in self.file.ask("account", key=key) if not row["ended_utc"]), None)
        # A name that is none may be a password typed in the wrong place: it is not kept.
        shown = account["name"] if account is not None else UNKNOWN
        tried_as = sha256_of(key)
        kept = account["password"] if account is not None else None
        # The same work is done for a name that is none, so that nobody learns from the time which names there are.
        fits = self._fits(kept or self._nobody_hash(), password) and kept is not None
        with self.file.transaction():
            tried = self.file.ask("tried", key=tried_as)
            locked_until = tried[0]["locked_until_utc"] if tried else None
            is_locked = locked_until is not None and locked_until > self._at()
            if account is not None and fits and not is_locked:
                self.file.do("forget_tried", key=tried_as, before_utc=self._at(-_FORGOTTEN_AFTER))
                self._note(Access.SIGNED_IN, account["name"], address=address)
                if kept is not None and self._hasher.check_needs_rehash(kept):
                    self.file.do(
                        "set_password",
                        key=key,
                        password=self._hasher.hash(unicodedata.normalize("NFKC", password)),
                    )
                return Account(key, account["name"], account["role"], True, False)
            self._note(Access.SIGN_IN_REFUSED, shown, address=address)
            if not is_locked:
                # A lock that has run out begins anew.
                wrong = 1 if locked_until is not None or not tried else tried[0]["wrong"] + 1
                until = self._at(LOCKED_FOR) if wrong >= WRONG_IN_A_ROW else None
                self.file.do(
                    "note_tried", key=tried_as, wrong=wrong, at_utc=self._at(), locked_until_utc=until
                )
                if until is not None:
                    self._note(Access.LOCKED, shown, until=until[:16].replace("T", " "), wrong=wrong)
        return None

    def _fits(self, kept: str, password: str) -> bool:
        if len(password) > LONGEST:
            return False
        with self._checking:
            try:
                return self._hasher.verify(kept, unicodedata.normalize("NFKC", password))
            except (Argon2Error, InvalidHashError):
                return False

    def _nobody_hash(self) -> str:
        if not self._nobody:
            self._nobody = self._hasher.hash(secrets.token_urlsafe(16))
        return self._nobody

    def _note(self, code: Access, who: str, **more: object) -> None:
        note_access(self.file, code, who, self.now(), more)


def name_or_refused(name: str) -> str:
    """A name that an account or a service may have.

    Raises:
        ReelproofError: it cannot be one.
    """
    told = unicodedata.normalize("NFKC", name).strip()
    if not told or len(told) > LONGEST_NAME or not told.isprintable() or "  " in told:
        raise ReelproofError(
            Complaint(
                "name",
                "this cannot be the name of an account",
                f"Give the plant's mark of the person, in 1 to {LONGEST_NAME} printable characters",
            )
        )
    return told


def refuse_weak(password: str, name: str) -> None:
    """Refuse a password that is easily guessed.

    Args:
        password: as typed.
        name: name of the account.

    Raises:
        ReelproofError: it is too short or long, has few different characters, or holds the name.
    """
    if not SHORTEST <= len(password) <= LONGEST:
        found = f"it has {len(password)} characters"
    elif len(set(password.casefold())) < 5:
        found = "it has fewer than five different characters"
    elif key_of(name) in password.casefold() and len(name) > 2:
        found = "it holds the name of the account"
    else:
        return
    raise ReelproofError(
        Complaint(
            "password", found, f"Give {SHORTEST} to {LONGEST} characters; several words are easy to remember"
        )
    )


def link_refused() -> ReelproofError:
    """The complaint about a link that may not be used."""
    return ReelproofError(
        Complaint(
            "link",
            "it was used already, has run out, or is none",
            "Ask whoever runs the site for a new one: reelproof account NAME",
        )
    )
