"""Serve a store's review site until somebody stops it: at which address, under which names, with which certificate."""

from __future__ import annotations

import ipaddress
import signal
import ssl
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from threading import Event, Thread
from typing import TYPE_CHECKING

import uvicorn

from dashboards.page_shelf import PageShelf
from pipeline.desk.accounts import Accounts
from pipeline.desk.application import application
from pipeline.desk.asked import Desk
from pipeline.desk.board import Board
from pipeline.desk.door import Cookies
from pipeline.desk.sessions import Sessions
from pipeline.desk.tries import Tries
from pipeline.errors import Complaint, ReelproofError, StoreError
from pipeline.record.access_log import Access, note_access, seal_access
from pipeline.record.plant_sheet_on_file import roles_of_plant
from pipeline.store.account_file import FOLDER, open_accounts, open_board
from pipeline.store.database import open_to_read, open_to_write

if TYPE_CHECKING:
    from argon2 import PasswordHasher
    from starlette.types import ASGIApp

PAGES = "pages"
STOPS_WITHIN_S = 30.0
_LOOPBACK_NAMES = ("localhost", "127.0.0.1", "::1")


@dataclass(frozen=True, slots=True)
class Served:
    """Where and how a site is served.

    Args:
        host: address it listens at.
        port: port.
        names: host names under which browsers ask for it; where it listens on the machine itself, that machine's too.
        certificate: file with its certificate and those above it (PEM); None without TLS of its own.
        key: file with its private key (PEM).
        behind: address of the proxy that it stands behind, which speaks TLS to browsers; "" for none.
    """

    host: str = "127.0.0.1"
    port: int = 8440
    names: tuple[str, ...] = ()
    certificate: Path | None = None
    key: Path | None = None
    behind: str = ""

    @property
    def is_secure(self) -> bool:
        """Whether browsers reach it over TLS."""
        return self.certificate is not None or bool(self.behind)

    @property
    def is_on_this_machine(self) -> bool:
        """Whether it listens to this machine alone."""
        try:
            return ipaddress.ip_address(self.host).is_loopback
        except ValueError:
            return self.host == "localhost"

    @property
    def all_names(self) -> frozenset[str]:
        """Every host name that is answered."""
        own = _LOOPBACK_NAMES if self.is_on_this_machine and not self.behind else ()
        return frozenset(name.casefold() for name in (*own, *self.names))

    @property
    def address(self) -> str:
        """What a browser is given."""
        scheme = "https" if self.is_secure else "http"
        name = self.names[0] if self.names else self.host
        return f"{scheme}://{f'[{name}]' if ':' in name else name}{'' if self.behind else f':{self.port}'}"

    def check(self) -> None:
        """Refuse what would send passwords in the clear, or answer to any name.

        Raises:
            ReelproofError: with what is missing.
        """
        if (self.certificate is None) != (self.key is None):
            raise ReelproofError(
                Complaint(
                    "--certificate", "only one of certificate and key was given", "Give both, as PEM files"
                )
            )
        if not self.is_on_this_machine and not self.is_secure:
            raise ReelproofError(
                Complaint(
                    f"--host {self.host}",
                    "other machines would send their passwords in the clear",
                    "Give --certificate and --key, or --behind with the address of a proxy that speaks TLS",
                )
            )
        if not self.all_names:
            raise ReelproofError(
                Complaint(
                    f"--host {self.host}",
                    "the name under which browsers ask for the site is not given",
                    "Give it with --name, as the certificate has it",
                )
            )
        if self.certificate is not None and self.key is not None:
            try:
                ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(self.certificate, self.key)
            except (OSError, ssl.SSLError) as fault:
                raise ReelproofError(
                    Complaint(
                        str(self.certificate),
                        f"the certificate and its key cannot be used ({fault.strerror or fault})",
                        "Give both as PEM files, the key without a password",
                    )
                ) from None


@contextmanager
def opened_desk(
    store: Path, served: Served, hasher: PasswordHasher | None = None
) -> Iterator[tuple[Desk, ASGIApp]]:
    """What a site stands on, and the site, until the block ends.

    Args:
        store: the store's folder.
        served: how it is served.
        hasher: makes what is kept of a password; with the library's own cost where it is left out.

    Raises:
        StoreError: there is no store, or the accounts cannot be opened.
    """
    with open_to_read(store):
        pass  # a folder without a store is refused before anything is made in it
    with open_accounts(store) as file, open_board(store) as lists:
        accounts = Accounts(file, hasher=hasher)
        board = Board(store, lists)
        shelf = PageShelf(store, store / FOLDER / PAGES)
        shelf.begin()
        names = served.all_names
        desk = Desk(
            store, accounts, Sessions(accounts), shelf, board, Tries(), Cookies(served.is_secure), names
        )
        board.begin()
        try:
            yield desk, application(desk)
        finally:
            board.close()
            shelf.close()
            # Another writer may hold the store: then the next act or stop seals it.
            with (
                suppress(StoreError),
                open_to_write(store, 5.0, must_exist=True) as opened,
                opened.transaction(),
            ):
                seal_access(opened, file)


@contextmanager
def watched(inbox: Path | None, store: Path, told: Callable[[str], None]) -> Iterator[None]:
    """Watch an inbox in a process of its own until the block ends; nothing where there is none.

    Args:
        inbox: folder that runs arrive in.
        store: the store's folder.
        told: told where the watch stops by itself.
    """
    if inbox is None:
        yield
        return
    words = [sys.executable, "-m", "pipeline", "watch", str(inbox), "--store", str(store)]
    process = subprocess.Popen(words, start_new_session=True)
    is_over = Event()

    def wait() -> None:
        process.wait()
        if not is_over.is_set():
            told(f"The watch of {inbox} has stopped. The site goes on; start it anew to watch again.")

    Thread(target=wait, daemon=True).start()
    try:
        yield
    finally:
        is_over.set()
        process.terminate()
        try:
            process.wait(STOPS_WITHIN_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def role_links(store: Path) -> list[tuple[str, str, str]]:
    """A new account for each role of the plant's sheet: its name, its role, and the token of the link to its password.

    Args:
        store: the store's folder.
    """
    with open_to_read(store) as opened, open_accounts(store) as file:
        accounts = Accounts(file)
        names = [("".join(word[0] for word in role.split()).upper(), role) for role in roles_of_plant(opened)]
        return [(f"{name}-1", role, accounts.invite(f"{name}-1", role)) for name, role in names]


def serve(
    store: Path, served: Served, told: Callable[[str], None], inbox: Path | None = None, of_demo: bool = False
) -> None:
    """Serve the review site of a store until this process is stopped.

    Args:
        store: the store's folder.
        served: where and how.
        told: told what whoever started it must know.
        inbox: folder whose runs are reviewed as they arrive, by a process of its own; None for none.
        of_demo: whether an account is made for each role of the plant's sheet.

    Raises:
        ReelproofError: it cannot be served like that, or the address is taken.
    """
    served.check()
    with opened_desk(store, served) as (desk, site):
        server = uvicorn.Server(config_of(site, served))
        note_access(
            desk.accounts.file, Access.STARTED, "the site", desk.accounts.now(), {"address": served.address}
        )
        told(f"Serving {store} at {served.address}. Ctrl-C stops it.")
        for name, role, token in role_links(store) if of_demo else ():
            told(f"{name}, {role}: {served.address}/link/{token}")
        if not of_demo and (token := desk.accounts.first_link()):
            told(
                f"Nobody has an account yet. This link makes the first one, once: {served.address}/link/{token}"
            )
        # As Ctrl-C does: the server ends what is under way, and the access log is sealed.
        signal.signal(signal.SIGTERM, signal.default_int_handler)
        try:
            with watched(inbox, store, told):
                server.run()
        except SystemExit:
            raise ReelproofError(
                Complaint(
                    f"--port {served.port}",
                    f"{served.host} cannot be listened at",
                    "Choose another port or host",
                )
            ) from None


def config_of(site: ASGIApp, served: Served) -> uvicorn.Config:
    """How the server runs the site."""
    return uvicorn.Config(
        site,
        host=served.host,
        port=served.port,
        http="h11",
        ws="none",
        lifespan="off",
        log_level="error",
        access_log=False,
        server_header=False,
        proxy_headers=bool(served.behind),
        forwarded_allow_ips=served.behind or None,
        ssl_certfile=served.certificate,
        ssl_keyfile=served.key,
        timeout_keep_alive=10,
        timeout_graceful_shutdown=5,
        h11_max_incomplete_event_size=32_768,
        limit_concurrency=500,
    )
