"""Who gets in, and what every answer carries. Points of OWASP ASVS 4.0.3 are named from memory."""

from __future__ import annotations

import json
import re
import shutil
import sqlite3
import stat
import subprocess
from datetime import timedelta
from http.client import HTTPConnection
from pathlib import Path

import pytest

from pipeline.cli.app import run
from pipeline.desk.accounts import LOCKED_FOR, WRONG_IN_A_ROW, Accounts
from pipeline.desk.door import BY_ITSELF, local_path
from pipeline.desk.sessions import IDLE, LONGEST
from pipeline.desk.tries import MOST, WITHIN_S, Tries
from pipeline.record.access_log import access_entries
from pipeline.store.account_file import open_accounts
from pipeline.store.database import open_to_read
from tests.acts.decided_store import copied
from tests.desk.site import NONE, PASSWORD, Browser, Form, Site, site_of

REFUSED = "The name or the password is wrong, or the account is locked."


def kinds(site: Site) -> list[str]:
    return [one.kind for one in access_entries(site.desk.accounts.file)]


def cookie(browser: Browser) -> str:
    return browser.cookies["reelproof"]


@pytest.mark.parametrize(
    "path",
    [
        "/",
        "/index.html",
        "/reels/L1-0412-03.html",
        "/data/index.js",
        "/shifts/",
        "/no-such-page",
        "/%2e%2e/x",
    ],
)
def test_who_is_not_signed_in_sees_nothing_of_the_plant(read_site: Site, path: str) -> None:
    with read_site.browser() as browser:
        answer = browser.get(path, follow_redirects=False)
        assert answer.status_code == 303
        assert answer.headers["location"].startswith("/sign-in")
        assert answer.text == ""
        page = browser.get(path)
        assert "Demo plant" not in page.text and "<nav" in page.text and "Capability" not in page.text
        assert browser.post(path, data={"form_token": "x"}).status_code in (401, 403)
        assert browser.post("/sign-out", data={"form_token": "x"}).status_code == 403


def test_the_first_link_makes_one_account_once(site: Site) -> None:
    token = site.desk.accounts.first_link()
    earlier, token = token, site.desk.accounts.first_link()
    with site.browser() as browser:
        assert browser.get(f"/link/{earlier}").status_code == 404  # a newer link ends the earlier
        (form,) = browser.forms(f"/link/{token}")
        assert form.choices["role"][0] == "shift quality technician" and form.choices["role"][-1] == ""
        weak = browser.fill(form, name="QM-1", role="quality manager", password="short", again="short")
        assert weak.status_code == 400 and "password: it has 5 characters." in weak.text
        other = browser.fill(form, name="QM-1", role="quality manager", password=PASSWORD, again=PASSWORD[1:])
        assert other.status_code == 400
        no_role = browser.fill(form, name="QM-1", role="king", password=PASSWORD, again=PASSWORD)
        assert no_role.status_code == 400 and "names no such role" in no_role.text
        made = browser.fill(form, name="QM-1", role="quality manager", password=PASSWORD, again=PASSWORD)
        assert made.status_code == 200 and made.url.path == "/" and "QM-1" in made.text
    with site.browser() as browser:
        assert browser.get(f"/link/{token}").status_code == 404
    assert site.desk.accounts.first_link() == ""
    assert kinds(site) == ["access/account made", "access/password set"]


def test_nobody_learns_from_a_refusal_which_names_there_are_and_five_wrong_lock(site: Site) -> None:
    site.account("QE-1", "quality engineer")
    with site.browser() as browser:
        texts = set()
        for name in ("QE-1", "nobody", "qe-1 "):
            answer = browser.sign_in(name, "not the password")
            assert answer.status_code == 403 and REFUSED in answer.text
            texts.add(re.sub(r'value="[^"]*"', "", answer.text))
        assert len(texts) == 1
        for _ in range(WRONG_IN_A_ROW - 2):
            browser.sign_in("QE-1", "not the password")
        locked = browser.sign_in("QE-1")
        assert locked.status_code == 403 and REFUSED in locked.text
        assert kinds(site).count("access/locked") == 1
        site.clock.ahead = LOCKED_FOR + timedelta(seconds=1)
        assert browser.sign_in("QE-1").url.path == NONE
    told = [one.told.arguments["who"] for one in access_entries(site.desk.accounts.file)]
    assert "nobody" not in told  # it may have been a password in the wrong place
    kept = site.desk.accounts.file.path.read_bytes()
    assert PASSWORD.encode() not in kept and b"not the password" not in kept


def test_a_lock_that_has_run_out_begins_anew(site: Site) -> None:
    site.account("QE-1")
    accounts = site.desk.accounts
    for _ in range(WRONG_IN_A_ROW):
        assert accounts.signed_in("QE-1", "wrong", "here") is None
    site.clock.ahead += LOCKED_FOR + timedelta(seconds=1)
    assert accounts.signed_in("QE-1", "wrong", "here") is None
    assert accounts.signed_in("QE-1", PASSWORD, "here") is not None


def test_a_session_is_new_at_each_sign_in_and_ends(site: Site) -> None:
    site.account("QE-1", "quality engineer")
    planted = "planted-by-somebody-else-0123456789012345678"
    with site.browser() as browser:
        (form,) = browser.forms("/sign-in")
        door = browser.cookies["reelproof-door"]
        given = {**form.fields, "name": ["QE-1"], "password": [PASSWORD]}
        sent = {"cookie": f"reelproof={planted}; reelproof-door={door}"}
        answer = browser.post("/sign-in", data=given, headers=sent, follow_redirects=False)
        assert answer.status_code == 303 and planted not in answer.headers["set-cookie"]
        assert site.desk.sessions.of(planted) is None and site.desk.sessions.of(cookie(browser)) is not None
    with site.signed_in("QE-1") as browser:
        before = cookie(browser)
        assert browser.get(NONE).status_code == 404
        (out,) = [one for one in browser.forms(NONE) if one.action == "/sign-out"]
        assert browser.fill(out).url.path == "/sign-in"
        browser.cookies.set("reelproof", before)
        assert (
            browser.get(NONE, follow_redirects=False).status_code == 303
        )  # ended at the server, not only here
    with site.signed_in("QE-1") as browser:
        site.clock.ahead += IDLE + timedelta(seconds=1)
        assert browser.get(NONE, follow_redirects=False).status_code == 303
    with site.signed_in("QE-1") as browser:
        for _ in range(int(LONGEST / (IDLE / 2))):
            assert browser.get("/assets/page.js").status_code == 200
            answer = browser.get(NONE, follow_redirects=False)
            site.clock.ahead += IDLE / 2
        assert answer.status_code == 404
        site.clock.ahead += timedelta(seconds=1)
        assert (
            browser.get(NONE, follow_redirects=False).status_code == 303
        )  # used all the time, yet at its end
    with site.signed_in("QE-1") as browser:
        for status in (404, 404, 303):  # an open page that asks for itself anew is no person who uses it
            by_itself = browser.get(NONE, headers={BY_ITSELF: "1"}, follow_redirects=False)
            assert by_itself.status_code == status
            site.clock.ahead += IDLE / 2 + timedelta(seconds=1)


def test_an_account_that_ends_or_changes_ends_its_sessions(site: Site) -> None:
    with site.signed_in("T-17", "line operator") as browser:
        site.desk.accounts.invite("T-17", "quality engineer")
        assert browser.get(NONE, follow_redirects=False).status_code == 303
        assert "quality engineer" in browser.sign_in("T-17").text
        site.desk.accounts.end("t-17")
        assert browser.get(NONE, follow_redirects=False).status_code == 303
        assert browser.sign_in("T-17").status_code == 403
    with pytest.raises(Exception, match="an account of this name was ended"):
        site.desk.accounts.invite("T-17", "")


def test_no_second_account_for_what_the_second_person_rule_takes_for_one_mark(site: Site) -> None:
    site.desk.accounts.invite("QE-1", "quality engineer")
    for alike in ("QE 1", "qe1", "QE\u20111", "\uff31\uff251"):
        with pytest.raises(Exception, match="it cannot be told from account QE-1"):
            site.desk.accounts.invite(alike, "quality manager")
    site.desk.accounts.end("QE-1")
    with pytest.raises(Exception, match="it cannot be told from account QE-1"):
        site.desk.accounts.invite("QE 1", "quality manager")
    assert site.desk.accounts.invite("QE-2", "quality manager")


def test_a_form_of_another_site_is_refused_and_noted(site: Site) -> None:
    with site.signed_in("QE-1", "quality engineer") as browser:
        (form,) = [one for one in browser.forms(NONE) if one.action == "/sign-out"]
        for wrong in (
            browser.fill(form, form_token="x" * 43),
            browser.fill(Form("/sign-out", {"name": ["QE-1"]})),
            browser.post("/sign-out", data=form.fields, headers={"origin": "https://elsewhere.example"}),
            browser.post("/sign-out", data=form.fields, headers={"origin": "null"}),
            browser.post("/sign-out", data=form.fields, headers={"sec-fetch-site": "cross-site"}),
        ):
            assert wrong.status_code == 403
        assert browser.post("/sign-out", json={"form_token": "x"}).status_code == 415
        assert (
            browser.post(
                "/sign-out",
                content=b"a=" + b"x" * 70_000,
                headers={"content-type": "application/x-www-form-urlencoded"},
            ).status_code
            == 413
        )
        assert browser.put("/sign-out", data=form.fields).status_code == 405
        assert browser.get(NONE).status_code == 404  # still signed in
        assert kinds(site).count("access/form refused") == 5
        assert (
            browser.post("/sign-out", data=form.fields, headers={"origin": site.base}).url.path == "/sign-in"
        )
    with site.browser() as browser:  # signing somebody in as another is refused the same way
        assert browser.post("/sign-in", data={"name": "QE-1", "password": PASSWORD}).status_code == 403


def test_every_answer_is_as_strict_as_the_pages_allow(read_site: Site) -> None:
    with read_site.signed_in("reader") as browser:
        answers = [
            browser.get(path) for path in ("/", "/sign-in", "/nothing", "/assets/page.js", "/data/index.js")
        ]
        answers.append(browser.get("/", headers={"host": "elsewhere.example"}))
        for answer in answers:
            policy = answer.headers["content-security-policy"]
            assert "script-src 'self';" in policy and "frame-ancestors 'none'" in policy
            assert answer.headers["x-content-type-options"] == "nosniff"
            assert answer.headers["referrer-policy"] == "same-origin"
            assert "server" not in answer.headers and "strict-transport-security" not in answer.headers
            if "/assets/" not in str(answer.url):
                assert answer.headers["cache-control"] == "no-store"
        assert not re.search(
            r"<script(?![^>]*(?:src=|type=\"(?:application/json|text/plain)\"))", answers[0].text
        )
        assert not re.search(r"\son\w+=", answers[0].text)


@pytest.mark.parametrize(
    "host", ["elsewhere.example", "127.0.0.1.elsewhere.example", "", "[", "a@127.0.0.1.x"]
)
def test_another_hosts_name_is_not_answered(read_site: Site, host: str) -> None:
    with read_site.browser() as browser:
        answer = browser.get("/sign-in", headers={"host": host})
        assert answer.status_code == 400
        assert "Sign in" not in answer.text


@pytest.mark.parametrize(
    ("wanted", "goes"),
    [
        ("/reels/A.html?x=1", "/reels/A.html?x=1"),
        ("//elsewhere.example", "/"),
        ("/\\elsewhere.example", "/"),
        ("https://elsewhere.example", "/"),
        ("/a\r\nset-cookie: x", "/"),
        ("javascript:alert(1)", "/"),
        ("", "/"),
        ("/", "/"),
    ],
)
def test_signing_in_leads_to_this_site_alone(wanted: str, goes: str) -> None:
    assert local_path(wanted) == goes


@pytest.mark.parametrize(
    "path",
    [
        "/../accounts.sqlite",
        "/%2e%2e/accounts.sqlite",
        "/..%2faccounts.sqlite",
        "/assets/..%2f..%2faccounts.sqlite",
        "/assets/%2e%2e/%2e%2e/%2e%2e/reelproof.duckdb",
        "/.made.json",
        "/etc/passwd",
        "/reels/%00",
        "/reels/L1-0412-03.html/..",
        "/runs/..%5c..%5caccounts.sqlite",
    ],
)
def test_no_address_leads_out_of_the_pages(read_site: Site, path: str) -> None:
    with read_site.signed_in("reader") as browser:
        line = HTTPConnection("127.0.0.1", read_site.served.port, timeout=60)
        line.request(
            "GET", path, headers={"cookie": f"reelproof={cookie(browser)}"}
        )  # as it is, nothing resolved
        answer = line.getresponse()
        assert answer.status == 404
        assert b"There is no such" in answer.read()
        line.close()


def test_names_are_shown_as_they_are_written(site: Site) -> None:
    with site.signed_in("<b>{{ 7 * 7 }}</b>' OR 1=1 --") as browser:
        text = browser.get(NONE).text
        assert "&lt;b&gt;{{ 7 * 7 }}&lt;/b&gt;&#39; OR 1=1" in text and "<b>{{" not in text


def test_a_password_costs_what_the_library_advises(judged_store: Path, tmp_path: Path) -> None:
    """RFC 9106, section 4: the second recommended option is Argon2id, t=3, p=4, 64 MiB (from memory)."""
    store = copied(judged_store, tmp_path / "store")
    with open_accounts(store) as file:
        accounts = Accounts(file)
        accounts.set_password(accounts.invite("QE-1", ""), PASSWORD)
        (kept,) = file.ask("account", key="qe-1")
        assert kept["password"].startswith("$argon2id$v=19$m=65536,t=3,p=4$")
        assert accounts.signed_in("QE-1", PASSWORD, "here") is not None


def test_accounts_are_for_their_owner_alone(site: Site) -> None:
    path = site.store / "desk" / "accounts.sqlite"
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700


def test_the_access_log_is_sealed_and_a_change_is_found(
    judged_store: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    store = copied(judged_store, tmp_path / "store")
    with site_of(store) as site:
        site.account("QE-1", "quality engineer")
        with site.browser() as browser:
            browser.sign_in("QE-1", "wrong password")
            browser.sign_in("QE-1")
    assert run(["verify", "--store", str(store)]) == 0
    with open_to_read(store) as opened:
        (sealed,) = opened.ask("questions/entries_of_kind", kind="access log")
    assert json.loads(sealed["record"])["record"]["entries"] == 5
    assert run(["account", "--log", "--store", str(store)]) == 0
    assert "Sign-in as QE-1 from 127.0.0.1 was refused." in capsys.readouterr().out
    path = store / "desk" / "accounts.sqlite"
    with sqlite3.connect(path) as changed:
        changed.execute("DELETE FROM access_entry WHERE kind = 'access/sign-in refused'")
    changed.close()
    assert run(["verify", "--store", str(store)]) == 1
    assert "Access log: its first" in capsys.readouterr().out
    path.unlink()
    assert run(["verify", "--store", str(store)]) == 1
    assert "the journal knows of it" in capsys.readouterr().out


def test_tries_are_counted_by_address() -> None:
    now = [0.0]
    tries = Tries(lambda: now[0])
    assert all(tries.may_try("a") for _ in range(MOST))
    assert not tries.may_try("a") and tries.may_try("b")
    now[0] = WITHIN_S
    assert tries.may_try("a")


def test_too_many_tries_are_told_so(site: Site) -> None:
    with site.browser() as browser:
        (form,) = browser.forms("/sign-in")
        for _ in range(MOST):
            site.desk.tries.may_try("127.0.0.1")
        assert browser.fill(form, name="x", password="y").status_code == 429


def test_behind_a_proxy_cookies_go_over_tls_alone_and_only_it_names_addresses(
    judged_store: Path, tmp_path: Path
) -> None:
    store = copied(judged_store, tmp_path / "store")
    through = {"host": "review.example", "x-forwarded-for": "192.0.2.7", "x-forwarded-proto": "https"}
    with site_of(store, behind="127.0.0.1", names=("review.example",)) as site:
        site.account("QE-1")
        with site.browser() as browser:
            page = browser.get("/sign-in", headers=through)
            assert page.headers["strict-transport-security"] == "max-age=31536000"
            set_cookie = page.headers["set-cookie"]
            assert set_cookie.startswith("__Host-reelproof-door=")
            assert all(one in set_cookie for one in ("; Secure", "; HttpOnly", "; Path=/", "; SameSite=lax"))
            assert (
                browser.get("/sign-in").status_code == 400
            )  # the proxy's own address is no name of the site
            assert site.desk.accounts.signed_in("QE-1", "wrong", "192.0.2.7") is None
            door = re.search(r"door=([\w-]+)", set_cookie)
            assert door is not None
            browser.post(
                "/sign-in",
                data={"form_token": door[1], "name": "QE-1", "password": "wrong"},
                headers={**through, "cookie": f"__Host-reelproof-door={door[1]}"},
            )
        said = [one.told.arguments.get("address") for one in access_entries(site.desk.accounts.file)]
        assert said[-1] == "192.0.2.7"
    with site_of(store) as site, site.browser() as browser:
        (form,) = browser.forms("/sign-in")
        browser.post(
            "/sign-in", data={**form.fields, "name": ["QE-1"]}, headers={"x-forwarded-for": "192.0.2.8"}
        )
        said = [one.told.arguments.get("address") for one in access_entries(site.desk.accounts.file)]
        assert said[-1] == "127.0.0.1"


@pytest.mark.skipif(
    shutil.which("openssl") is None, reason="no openssl on this machine to make a certificate"
)
def test_with_a_certificate_of_its_own(judged_store: Path, tmp_path: Path) -> None:
    certificate, key = tmp_path / "site.pem", tmp_path / "site.key"
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=127.0.0.1",
         "-addext", "subjectAltName=IP:127.0.0.1", "-keyout", str(key), "-out", str(certificate)],
        check=True,
        capture_output=True,
    )  # fmt: skip
    store = copied(judged_store, tmp_path / "store")
    with site_of(store, certificate=certificate, key=key) as site:
        site.account("QE-1")
        with site.browser(verify=str(certificate)) as browser:
            assert browser.sign_in("QE-1").url.path == NONE
            assert "__Host-reelproof" in browser.cookies
            assert browser.get(NONE).headers["strict-transport-security"] == "max-age=31536000"
