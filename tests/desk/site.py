"""A review site served on this machine's loopback, and a browser without scripts that fills its forms."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from html import escape
from html.parser import HTMLParser
from pathlib import Path
from threading import Thread
from time import monotonic, sleep
from typing import Any

import httpx
import uvicorn
from argon2 import PasswordHasher

from pipeline.desk.asked import Desk
from pipeline.desk.serving import Served, config_of, opened_desk

PASSWORD = "four plain words here"
# A page of who is signed in that costs nothing to make.
NONE = "/no-such-page"
# The least that Argon2 allows: what a password costs is tried in `test_door.py`, with the product's own.
CHEAP = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)


class Clock:
    """A clock that a test sets on."""

    def __init__(self) -> None:
        self.ahead = timedelta(0)

    def __call__(self) -> datetime:
        return datetime.now(UTC) + self.ahead


@dataclass
class Form:
    """A form of a page: where it goes, and what it would send."""

    action: str
    fields: dict[str, list[str]] = field(default_factory=dict)
    buttons: list[tuple[str, str]] = field(default_factory=list)
    boxes: dict[str, list[str]] = field(default_factory=dict)
    choices: dict[str, list[str]] = field(default_factory=dict)


class Forms(HTMLParser):
    """Every form of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: list[Form] = []
        self._form: Form | None = None
        self._select = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = {name: value or "" for name, value in attrs}
        if tag == "form":
            self._form = Form(told.get("action", ""))
            self.found.append(self._form)
        if self._form is None:
            return
        if tag == "select":
            self._select = told["name"]
        elif tag == "option" and self._select:
            self._form.choices.setdefault(self._select, []).append(told.get("value", ""))
            if self._select not in self._form.fields or "selected" in told:
                self._form.fields[self._select] = [told.get("value", "")]
        elif tag in ("input", "textarea") and "name" in told:
            kind = told.get("type", "text")
            if kind in ("checkbox", "radio"):
                self._form.boxes.setdefault(told["name"], []).append(told.get("value", "on"))
                if "checked" in told:
                    self._form.fields.setdefault(told["name"], []).append(told.get("value", "on"))
            else:
                self._form.fields[told["name"]] = [told.get("value", "")]
        elif tag == "button" and "name" in told:
            self._form.buttons.append((told["name"], told.get("value", "")))

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._form = None
        if tag == "select":
            self._select = ""


class Browser(httpx.Client):
    """One person's browser."""

    def __init__(self, base: str, **more: Any) -> None:
        super().__init__(base_url=base, follow_redirects=True, timeout=60.0, trust_env=False, **more)

    def forms(self, path: str) -> list[Form]:
        return Forms(self.get(path).text).found

    def fill(self, form: Form, **given: str | list[str]) -> httpx.Response:
        """Send a form with some of its fields filled in."""
        data = {
            **form.fields,
            **{name: one if isinstance(one, list) else [one] for name, one in given.items()},
        }
        return self.post(form.action, data=data)

    def sign_in(self, name: str, password: str = PASSWORD, to: str = NONE) -> httpx.Response:
        """Sign in; the answer is the page where that leads."""
        (form,) = [one for one in self.forms("/sign-in") if one.action == "/sign-in"]
        return self.fill(form, name=name, password=password, to=to)


@dataclass
class Site:
    """A site that is being served."""

    desk: Desk
    base: str
    clock: Clock
    served: Served

    @property
    def store(self) -> Path:
        return self.desk.store

    def browser(self, **more: Any) -> Browser:
        return Browser(self.base, **more)

    def account(self, name: str, role: str = "") -> None:
        """Make an account with the usual password."""
        self.desk.accounts.set_password(self.desk.accounts.invite(name, role), PASSWORD)

    @contextmanager
    def signed_in(self, name: str, role: str = "") -> Iterator[Browser]:
        """A browser in which a person is signed in, whose account is made where it is not there."""
        if self.desk.accounts.of(name) is None:
            self.account(name, role)
        with self.browser() as browser:
            answer = browser.sign_in(name)
            assert answer.status_code == 404 and answer.url.path == NONE, answer.text
            assert escape(name).replace("&#x27;", "&#39;") in answer.text
            yield browser


def read_whole(site: Site) -> None:
    """Have the board read every run that it knows to be out of date."""
    site.desk.board.catch_up()
    while site.desk.board._read_stale():
        pass


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


@contextmanager
def site_of(store: Path, **more: Any) -> Iterator[Site]:
    """The site of a store, served until the block ends."""
    served = Served(port=free_port(), **more)
    served.check()
    with opened_desk(store, served, CHEAP) as (desk, app):
        clock = Clock()
        desk.accounts.now = clock  # type: ignore[method-assign]
        desk.sessions.now = clock
        server = uvicorn.Server(config_of(app, served))
        thread = Thread(target=server.run)
        thread.start()
        try:
            until = monotonic() + 20.0
            while not server.started:
                assert thread.is_alive() and monotonic() < until
                sleep(0.01)
            scheme = "https" if served.certificate else "http"
            yield Site(desk, f"{scheme}://127.0.0.1:{served.port}", clock, served)
        finally:
            server.should_exit = True
            thread.join()
