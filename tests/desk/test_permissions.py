"""Every address of the site, asked in every role, by services and by nobody: who is let in to what, with no surprise.

Who may do what is written out here by the demo's plant sheet (`sample_runs/plant.toml`) and compared with what the site
does; an address that is open to all and not listed here is a failure.
"""

from __future__ import annotations

import re
from typing import Any

from starlette.applications import Starlette

from pipeline.acts.holding import holds_on
from pipeline.desk.api.bodies import DEEDS
from pipeline.desk.api.reads import READS
from pipeline.desk.application import application
from pipeline.desk.door import LISTENS, Door
from pipeline.desk.offers import newest_entry, sight_of
from pipeline.desk.tokens import SCOPES, Tokens
from pipeline.store.database import open_to_read
from tests.desk.api_client import Client
from tests.desk.site import Site

REEL, FINDING = "L1-0412-03", "R-0412-F02"
TECHNICIAN, ENGINEER, MANAGER = "shift quality technician", "quality engineer", "quality manager"
OPERATOR, PROCESS = "line operator", "process engineer"
# The manager last: what they send has left.
PEOPLE = {
    "AU-1": "",
    "OP-1": OPERATOR,
    "PE-1": PROCESS,
    "T-17": TECHNICIAN,
    "QE-1": ENGINEER,
    "QM-1": MANAGER,
}
QUALITY = {TECHNICIAN, ENGINEER, MANAGER}
# By the plant's sheet; what it does not name is for every role, and for nobody who only reads.
MAY = {
    "hold": {OPERATOR, *QUALITY},
    "lift": {ENGINEER, MANAGER},
    "decide": QUALITY,
    "sample": {OPERATOR, PROCESS, *QUALITY},
    "ship": set(),  # the reel is held
    "ship held": {MANAGER},
}
OPEN = {"/sign-in", "/link/{token}", "/assets/{name}"}
STANDS_FOR = {
    "what": "hold",
    "token": "x" * 43,
    "name": "none.css",
    "where": "reels/L1-0412-03.html",
    "run_id": "R-0412",
    "reel_id": REEL,
    "finding_id": FINDING,
    "lot_id": "none",
    "length_id": "none",
}


def addresses(site: Site) -> list[tuple[str, str]]:
    """Every method and address of the site."""
    door = application(site.desk)
    assert isinstance(door, Door) and isinstance(door.site, Starlette)
    routes: list[Any] = [*door.site.routes, *(route for route, _ in door.api.routes)]  # type: ignore[attr-defined]
    return [(method, one.path) for one in routes for method in sorted(one.methods)]


def at(path: str) -> str:
    return re.sub(r"{(\w+)(?::\w+)?}", lambda found: STANDS_FOR.get(found[1], "none"), path)


def journal_size(site: Site) -> int:
    with open_to_read(site.store) as store:
        return newest_entry(store)


def test_whoever_is_not_signed_in_reaches_the_door_alone(read_site: Site) -> None:
    before = journal_size(read_site)
    with read_site.browser() as nobody:
        for method, path in addresses(read_site):
            answer = nobody.request(method, at(path), follow_redirects=False)
            if path in OPEN and method != "POST":
                assert answer.status_code in (200, 404), (method, path)
            elif path.startswith("/api/"):
                assert answer.status_code == 401, (method, path)
            elif method == "POST":  # a form that this site did not make
                assert answer.status_code in (401, 403, 415), (method, path)
            else:
                assert answer.status_code == 303, (method, path)
                assert answer.headers["location"].startswith("/sign-in"), (method, path)
    assert journal_size(read_site) == before


def test_the_api_has_the_addresses_that_it_describes(read_site: Site) -> None:
    found = {(method, path) for method, path in addresses(read_site) if path.startswith("/api/")}
    besides = {"/api/openapi.json", "/api/problems"}
    assert found == {
        *((method, path) for path in [*besides, *(one.path for one in READS)] for method in ("GET", "HEAD")),
        *(("POST", f"/api/acts/{what}") for what in DEEDS),
    }


def test_every_reader_reads_all_and_a_form_without_its_token_does_nothing(site: Site) -> None:
    for name, role in PEOPLE.items():
        with site.signed_in(name, role) as browser:
            before = journal_size(site)
            for method, path in addresses(site):
                if (method, path) == ("GET", LISTENS):  # told as long as the page is open
                    with browser.stream("GET", path) as stream:
                        assert stream.status_code == 200, name
                    continue
                answer = browser.request(method, at(path), follow_redirects=False)
                if path == "/find":  # leads to what is named, or to a list
                    assert answer.status_code == 303 and answer.headers["location"].startswith("/lists/"), (
                        name
                    )
                elif method == "POST":
                    assert answer.status_code in (401, 403, 415), (name, method, path)
                elif path not in OPEN:
                    assert answer.status_code in (200, 404), (name, method, path, answer.text[:300])
            assert journal_size(site) == before, name


def asked(site: Site, act: str, name: str) -> dict[str, Any]:
    """What the API is sent for an act."""
    with open_to_read(site.store) as store:
        finding = {"id": FINDING, "seen": sight_of(store, FINDING)}
        reel = {"id": REEL, "seen": sight_of(store, REEL)}
        holds = holds_on(store, REEL).in_force
    ship = {"shipment": f"S-{name}", "to": "a customer", "items": [reel]}
    bodies: dict[str, dict[str, Any]] = {
        "hold": {"subject": REEL, "reason": f"by {name}"},
        "lift": {"subject": reel, "number": holds[0].number if holds else 1, "reason": "buffed"},
        "decide": {"subjects": [finding], "kind": "decide", "disposition": "scrap", "reason": "thin"},
        "sample": {
            "reel": REEL,
            "from_outer_m": 3.0 + len(name) + ord(name[0]) / 100.0,
            "quantity": "mean_wall_mm",
            "value": 0.9,
            "unit": "mm",
        },
        "ship": ship,
        "ship held": {**ship, "held_reason": "sold as it is"},
    }
    return bodies[act]


def sent(client: Client, site: Site, act: str, name: str) -> int:
    answer = client.ask(act.partition(" ")[0], asked(site, act, name))
    if act == "decide" and answer.status_code == 200:  # as it was, for the next
        back = {**asked(site, act, name), "kind": "reopen", "disposition": None}
        assert client.ask("decide", back).status_code == 200
    return int(answer.status_code)


def test_each_act_is_for_the_roles_that_the_plant_sheet_lists(site: Site) -> None:
    with open_to_read(site.store) as store:
        assert not holds_on(store, REEL).in_force
    tokens = Tokens(site.desk.accounts)
    for act in ("hold", "lift", "decide", "sample", "ship", "ship held"):
        for name, role in PEOPLE.items():
            if act == "lift":
                first = tokens.make("first", MANAGER, "", ["hold"], 1)
                with Client(site.base, first) as holder:
                    assert sent(holder, site, "hold", "first") == 200
            if site.desk.accounts.of(name) is None:
                site.desk.accounts.invite(name, role)
            before = journal_size(site)
            with Client(site.base, tokens.make(f"of {name}", "", name, SCOPES if role else (), 1)) as client:
                status = sent(client, site, act, name)
            assert status == (200 if role in MAY[act] else 403), (act, name, role)
            assert (journal_size(site) > before) == (status == 200), (act, name)


def test_a_token_does_nothing_that_it_was_not_made_for(site: Site) -> None:
    tokens = Tokens(site.desk.accounts)
    before = journal_size(site)
    for act in ("hold", "lift", "decide", "sample", "ship", "ship held"):
        others = [one for one in SCOPES if one not in (act, "confirm")]
        with Client(site.base, tokens.make("service", MANAGER, "", others, 1)) as client:
            assert sent(client, site, act, "service") == 403, act
    assert journal_size(site) == before
