"""Commands of the review site: serve, account, token."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from pipeline.cli.showing import JSON, STORE, print_json, print_table
from pipeline.errors import Complaint, ReelproofError

if TYPE_CHECKING:
    from pipeline.desk.accounts import Accounts
    from pipeline.desk.tokens import Tokens


def add_to(app: typer.Typer) -> None:
    """Add these commands to `app`."""
    app.command()(serve)
    app.command()(account)
    app.command()(token)


def serve(
    store: Path = STORE,
    inbox: Path | None = typer.Option(
        None, "--inbox", help="Review each run that arrives in this folder, in a process of its own."
    ),
    host: str = typer.Option(
        "127.0.0.1", "--host", help="Address to listen at; this machine alone by default."
    ),
    port: int = typer.Option(8440, "--port", min=1, max=65535, help="Port to listen at."),
    name: list[str] | None = typer.Option(
        None, "--name", help="Host name under which browsers ask for the site; may be given again."
    ),
    certificate: Path | None = typer.Option(
        None, "--certificate", help="The site's certificate and those above it, as a PEM file."
    ),
    key: Path | None = typer.Option(None, "--key", help="Its private key, as a PEM file without a password."),
    behind: str = typer.Option(
        "", "--behind", help="Address of the proxy before the site that speaks TLS to browsers, as 127.0.0.1."
    ),
) -> int:
    """Serve the pages to people who sign in. Ctrl-C stops it.

    The first start prints a link that makes the first account, once. Others are made with 'reelproof account'.

    Example: reelproof serve --store store

    Example: reelproof serve --store store --host 0.0.0.0 --name review.example --certificate site.pem --key site.key
    """
    from pipeline.desk.serving import Served
    from pipeline.desk.serving import serve as serve_site

    def told(sentence: str) -> None:
        print(sentence, flush=True)

    serve_site(store, Served(host, port, tuple(name or ()), certificate, key, behind), told, inbox)
    return 0


def account(
    name: str = typer.Argument("", metavar="NAME", help="The plant's mark of the person."),
    role: str | None = typer.Option(None, "--role", help="Their role, as the plant's sheet names it."),
    reads_only: bool = typer.Option(False, "--reads-only", help="They read and decide nothing."),
    end: bool = typer.Option(False, "--end", help="End the account; its name stays taken."),
    log: bool = typer.Option(False, "--log", help="Print what happened at the site's door."),
    address: str = typer.Option(
        "", "--address", help="Address of the site, put before the link, as https://review.example."
    ),
    store: Path = STORE,
    as_json: bool = JSON,
) -> int:
    """List the accounts of the review site, make one or end one. It prints a link with which the person sets a
    password, once. For an account that stands it is a new link, and a new role where one is given.

    Example: reelproof account QE-1 --role "quality engineer" --store store

    Example: reelproof account QE-1 --end --store store
    """
    from pipeline.desk.accounts import Accounts
    from pipeline.store.account_file import open_accounts
    from pipeline.store.database import open_to_read

    if (role is not None) + reads_only + end > 1:
        raise ReelproofError(
            Complaint("account", "two of --role, --reads-only and --end were given", "Give one of them")
        )
    with open_to_read(store) as opened, open_accounts(store) as file:
        accounts = Accounts(file)
        if log:
            return _print_log(accounts, as_json)
        if not name:
            if role is not None or reads_only or end:
                raise ReelproofError(Complaint("account", "nobody was named", "Give the person's mark"))
            return _print_accounts(accounts, as_json)
        if end:
            accounts.end(name)
            print(f"Account {name} is ended. Its acts stay on file, and its name is not given again.")
            return 0
        known = accounts.of(name)
        if role is None and not reads_only:
            if known is None:
                raise ReelproofError(
                    Complaint(f"account {name}", "it has no role", "Give --role or --reads-only")
                )
            role = known.role
        _check_role(opened, role or "")
        token = accounts.invite(name, role or "")
    link = f"{address.rstrip('/')}/link/{token}"
    if as_json:
        print_json({"name": name, "role": role or "", "link": link})
    else:
        print(f"Give {name} this link within a day; it sets a password once: {link}")
    return 0


def token(
    service: str = typer.Argument("", metavar="SERVICE", help="The service that asks."),
    role: str = typer.Option(
        "", "--role", help="Role of the plant's sheet in which it acts in its own name."
    ),
    person: str = typer.Option("", "--account", help="The account in whose name it acts instead."),
    may: list[str] | None = typer.Option(
        None,
        "--may",
        help="An act it is for besides reading: hold, lift, decide, confirm, ship, ship held or sample; may be given "
        "again.",
    ),
    days: int = typer.Option(90, "--days", min=1, max=366, help="How long the token stands."),
    end: bool = typer.Option(False, "--end", help="End the service's token at once."),
    store: Path = STORE,
    as_json: bool = JSON,
) -> int:
    """List, make or end tokens of services for the site's API. A new one is printed once. A service
    that has one gets a new one, and the old one ends.

    Example: reelproof token press-3 --role "line operator" --may hold --store store

    Example: reelproof token press-3 --end --store store
    """
    from pipeline.desk.accounts import Accounts
    from pipeline.desk.tokens import Tokens
    from pipeline.store.account_file import open_accounts
    from pipeline.store.database import open_to_read

    with open_to_read(store) as opened, open_accounts(store) as file:
        tokens = Tokens(Accounts(file))
        if not service:
            if role or person or may or end:
                raise ReelproofError(Complaint("token", "no service was named", "Give the service's name"))
            return _print_tokens(tokens, as_json)
        if end:
            tokens.end(service)
            print(f"The token of {service} is ended.")
            return 0
        _check_role(opened, role)
        made = tokens.make(service, role, person, may or (), days)
    if as_json:
        print_json({"service": service, "token": made, "days": days})
    else:
        print(f"Give {service} this token; it is not shown again and stands {days} days: {made}")
    return 0


def _print_tokens(tokens: Tokens, as_json: bool) -> int:
    rows = tokens.all()
    if as_json:
        print_json(
            [
                {
                    "service": one.name,
                    "account": one.person,
                    "role": one.role,
                    "may": list(one.may),
                    "until_utc": one.until_utc,
                    "used_utc": one.used_utc,
                    "ended": one.ended,
                }
                for one in rows
            ]
        )
    elif rows:
        print_table(
            ("Service", "Acts as", "Role", "May besides reading", "State", "Last used (UTC)"),
            [
                (
                    one.name,
                    one.person or one.name,
                    one.role or "reading only",
                    ", ".join(one.may) or "nothing",
                    "ended" if one.ended else f"until {one.until_utc:%Y-%m-%d}",
                    f"{one.used_utc:%Y-%m-%d %H}:00" if one.used_utc else "never",
                )
                for one in rows
            ],
        )
    else:
        print("No service has a token yet.")
    return 0


def _check_role(opened: object, role: str) -> None:
    from typing import cast

    from pipeline.record.plant_sheet_on_file import roles_of_plant
    from pipeline.store.database import Store

    roles = roles_of_plant(cast(Store, opened))
    if role and role not in roles:
        raise ReelproofError(
            Complaint(
                f"--role {role}",
                "the plant's sheet names no such role",
                f"It names {', '.join(roles) or 'none'}; a new one is entered in the sheet first",
            )
        )


def _print_accounts(accounts: Accounts, as_json: bool) -> int:
    rows = accounts.all()
    if as_json:
        print_json(
            [
                {"name": one.name, "role": one.role, "has_password": one.has_password, "ended": one.ended}
                for one in rows
            ]
        )
    elif rows:
        print_table(
            ("Name", "Role", "State"),
            [
                (
                    one.name,
                    one.role or "reading only",
                    "ended" if one.ended else "stands" if one.has_password else "no password yet",
                )
                for one in rows
            ],
        )
    else:
        print("There is no account yet. 'reelproof serve' prints a link that makes the first one.")
    return 0


def _print_log(accounts: Accounts, as_json: bool) -> int:
    from pipeline.record.access_log import access_entries
    from pipeline.wording.say import plain

    entries = access_entries(accounts.file)
    if as_json:
        print_json(
            [
                {
                    "entry": one.entry_no,
                    "at_utc": one.at_utc.replace(tzinfo=None),
                    "kind": one.kind,
                    "said": plain(one.told),
                }
                for one in entries
            ]
        )
    else:
        for one in entries:
            print(f"{one.entry_no}  {one.at_utc:%Y-%m-%d %H:%M:%S} UTC  {plain(one.told)}")
    return 0
