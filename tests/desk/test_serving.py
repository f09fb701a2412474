"""The site's pages are the static site's, as of now; its commands refuse what would not be safe."""

from __future__ import annotations

import json
import re
import signal
import subprocess
import sys
from pathlib import Path
from time import monotonic, sleep

import pytest

from dashboards.page_planning import planned_pages
from dashboards.site import Site
from pipeline.cli.app import run
from pipeline.desk.serving import role_links, watched
from pipeline.store.database import open_to_read, open_to_write
from tests.acts.decided_store import copied
from tests.conftest import ROOT
from tests.desk import site as served
from tests.desk.site import PASSWORD, Browser, free_port


def same_but_for_the_door(text: str) -> str:
    """A page without what only one of the two sites has."""
    text = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", text)
    text = re.sub(r'<script defer src="[^"]*desk\.js[^"]*"></script>\n?', "", text)
    text = re.sub(r'<div class="signed">.*?</form>\s*</div>', "", text, flags=re.DOTALL)
    text = re.sub(r'<section class="acts".*?</section>', "", text, flags=re.DOTALL)
    text = re.sub(r'<a class="brand" href="[^"]*">', '<a class="brand">', text)
    return re.sub(r"\s+", " ", text).replace("> <", "><")


def test_pages_are_those_of_the_static_site(read_site: served.Site, tmp_path: Path) -> None:
    wanted = ["index.html", "reels/L1-0412-03.html", "findings/R-0412-F02.html", "runs/R-0412.html"]
    with open_to_read(read_site.store) as store:
        _, planned = planned_pages(store)
        static = Site(tmp_path, frozenset(one.address for one in planned))
        for one in planned:
            if one.address in wanted:
                assert not one.written(static).refused
    with read_site.signed_in("reader") as browser:
        for where in wanted:
            shown = browser.get(f"/{where}")
            assert shown.status_code == 200, where
            kept = (tmp_path / where).read_text(encoding="utf-8")
            assert same_but_for_the_door(shown.text) == same_but_for_the_door(kept), where
        # What a page needs besides: the index's search, a run's readings.
        needs = re.findall(r'src="(data/[^"?]+)', (tmp_path / "index.html").read_text(encoding="utf-8"))
        assert needs
        for where in needs:
            assert browser.get(f"/{where}").content == (tmp_path / where).read_bytes()


def test_a_command_shows_on_the_page_at_once(site: served.Site) -> None:
    with site.signed_in("reader") as browser:
        before = browser.get("/reels/L1-0412-01.html").text
        assert "scuffed by the clamp" not in before
        who = ["--role", "quality engineer", "--reason", "scuffed by the clamp"]
        assert run(["hold", "L1-0412-01", *who, "--store", str(site.store)]) == 0
        assert "scuffed by the clamp" in browser.get("/reels/L1-0412-01.html").text


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (
            ["--host", "0.0.0.0"],
            (
                "--host 0.0.0.0: other machines would send their passwords in the clear. Give --certificate and "
                "--key, or --behind with the address of a proxy that speaks TLS.\n"
            ),
        ),
        (
            ["--host", "0.0.0.0", "--behind", "127.0.0.1"],
            (
                "--host 0.0.0.0: the name under which browsers ask for the site is not given. Give it with --name, as "
                "the certificate has it.\n"
            ),
        ),
        (
            ["--certificate", "site.pem"],
            "--certificate: only one of certificate and key was given. Give both, as PEM files.\n",
        ),
        (
            ["--certificate", "none.pem", "--key", "none.key"],
            (
                "none.pem: the certificate and its key cannot be used (No such file or directory). Give both as PEM "
                "files, the key without a password.\n"
            ),
        ),
    ],
)
def test_what_would_not_be_safe_is_refused(
    judged_store: Path, words: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["serve", "--store", str(judged_store), *words]) == 2
    assert capsys.readouterr().err == told
    assert not (judged_store / "desk").exists()


def test_a_folder_without_a_store_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["serve", "--store", str(tmp_path / "none")]) == 3
    assert "there is no store here" in capsys.readouterr().err
    assert not (tmp_path / "none").exists()


def test_accounts_at_the_command_line(
    judged_store: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    store = str(copied(judged_store, tmp_path / "store"))
    assert run(["account", "--store", store]) == 0
    assert capsys.readouterr().out == (
        "There is no account yet. 'reelproof serve' prints a link that makes the first one.\n"
    )
    assert run(["account", "QE-1", "--store", store]) == 2
    assert capsys.readouterr().err == "account QE-1: it has no role. Give --role or --reads-only.\n"
    assert run(["account", "QE-1", "--role", "king", "--store", store]) == 2
    assert capsys.readouterr().err.startswith(
        "--role king: the plant's sheet names no such role. It names shift quality technician, "
    )
    assert (
        run(
            [
                "account",
                "QE-1",
                "--role",
                "quality engineer",
                "--address",
                "https://r.example",
                "--store",
                store,
            ]
        )
        == 0
    )
    assert re.fullmatch(
        r"Give QE-1 this link within a day; it sets a password once: https://r\.example/link/[\w-]{43}\n",
        capsys.readouterr().out,
    )
    assert run(["account", "AU-1", "--reads-only", "--json", "--store", store]) == 0
    assert json.loads(capsys.readouterr().out)["role"] == ""
    assert run(["account", "AU-1", "--end", "--store", store]) == 0
    assert run(["account", "AU-1", "--end", "--store", store]) == 2
    capsys.readouterr()
    assert run(["account", "--store", store]) == 0
    assert capsys.readouterr().out.splitlines()[2:] == [
        "AU-1  reading only      ended",
        "QE-1  quality engineer  no password yet",
    ]


def test_started_as_a_command_it_prints_its_link_and_stops_when_asked(
    judged_store: Path, tmp_path: Path
) -> None:
    store = copied(judged_store, tmp_path / "store")
    port = free_port()
    with (tmp_path / "out").open("w") as out:
        process = subprocess.Popen(
            [sys.executable, "-m", "pipeline", "serve", "--store", str(store), "--port", str(port)],
            stdout=out,
            stderr=subprocess.STDOUT,
            cwd=ROOT,
        )
    try:
        until, link = monotonic() + 60.0, None
        while link is None:
            assert process.poll() is None and monotonic() < until
            sleep(0.1)
            link = re.search(r"once: (\S+/link/\S+)", (tmp_path / "out").read_text())
        with Browser(f"http://127.0.0.1:{port}") as browser:
            while True:
                try:
                    (form,) = browser.forms(link[1])
                    break
                except OSError as fault:
                    raise AssertionError from fault
                except Exception:
                    assert monotonic() < until
                    sleep(0.1)
            made = browser.fill(form, name="QM-1", role="quality manager", password=PASSWORD, again=PASSWORD)
            assert "What waits for you" in made.text
    finally:
        process.send_signal(signal.SIGTERM)
        assert process.wait(60) == 130
    with open_to_read(store) as opened:
        assert opened.ask("questions/entries_of_kind", kind="access log")


def test_an_inbox_is_watched_by_a_process_of_its_own(
    judged_store: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    told: list[str] = []
    store = copied(judged_store, tmp_path / "store")
    inbox = tmp_path / "inbox"
    inbox.mkdir()
    (inbox / "R-1").mkdir()
    (inbox / "R-1" / "run.toml").write_text("no sheet")
    with watched(inbox, store, told.append):
        until = monotonic() + 60.0
        while not (store / "watched.json").exists():  # what the watch remembers of the inbox
            assert monotonic() < until
            sleep(0.1)
    assert told == []
    assert "R-1/run.toml" in json.loads((store / "watched.json").read_text())
    monkeypatch.setattr(sys, "executable", "/bin/false")  # a watch that ends by itself
    with watched(inbox, store, told.append):
        until = monotonic() + 60.0
        while not told:
            assert monotonic() < until
            sleep(0.1)
    assert told == [f"The watch of {inbox} has stopped. The site goes on; start it anew to watch again."]


def test_the_demo_has_an_account_for_each_role(judged_store: Path, tmp_path: Path) -> None:
    store = copied(judged_store, tmp_path / "store")
    links = role_links(store)
    assert [(name, role) for name, role, _ in links] == [
        ("SQT-1", "shift quality technician"),
        ("QE-1", "quality engineer"),
        ("QM-1", "quality manager"),
        ("LO-1", "line operator"),
        ("PE-1", "process engineer"),
    ]
    with served.site_of(store) as site, site.browser() as browser:
        (form,) = browser.forms(f"/link/{links[1][2]}")
        assert "name" not in form.fields  # it is hers already
        made = browser.fill(form, password=PASSWORD, again=PASSWORD)
        assert "QE-1" in made.text and "quality engineer" in made.text


def test_an_act_waits_for_another_writer_and_says_who_it_is(
    site: served.Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("pipeline.desk.acting.WAIT_S", 0.2)
    with site.signed_in("QE-1", "quality engineer") as browser, open_to_write(site.store):
        page = "/reels/L1-0412-03.html"
        (form,) = [one for one in browser.forms(page) if one.action == "/acts/hold"]
        answer = browser.fill(form, reason="scuffed by the clamp")
        assert answer.status_code == 503 and "is writing to this store" in answer.text
        assert "scuffed by the clamp</textarea>" in answer.text
