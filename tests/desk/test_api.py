"""The API: reads as the pages have them, acts by the same rules, tokens that end, and answers as described."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from pipeline.cli.app import run
from pipeline.desk.api.openapi import description
from pipeline.desk.tokens import SCOPES, Tokens
from pipeline.record.access_log import access_entries
from pipeline.record.standing import standing_of
from pipeline.store.database import open_to_read
from tests.desk.api_client import Client
from tests.desk.site import PASSWORD, Site

REEL, FINDING = "L1-0412-03", "R-0412-F02"  # the finding is all that holds the reel
ENGINEER, MANAGER, OPERATOR = "quality engineer", "quality manager", "line operator"
ALONE = tuple(one for one in SCOPES if one != "confirm")


@contextmanager
def client(
    site: Site, name: str, role: str = "", account: str = "", may: tuple[str, ...] = ALONE
) -> Iterator[Client]:
    if account and site.desk.accounts.of(account) is None:
        site.account(account, role)
    may = may if role else ()
    token = Tokens(site.desk.accounts).make(name, "" if account else role, account, may, 30)
    with Client(site.base, token) as made:
        yield made


def seen(asked: Client, kind: str, name: str) -> dict[str, str]:
    return {"id": name, "seen": asked.get(kind, **{f"{kind}_id": name})["seen"]}


def records(site: Site, kind: str) -> list[dict[str, Any]]:
    with open_to_read(site.store) as store:
        return [
            json.loads(one["record"])["record"] for one in store.ask("questions/entries_of_kind", kind=kind)
        ]


def test_every_read_answers_as_described_and_as_the_store_has_it(read_site: Site) -> None:
    with client(read_site, "reader-1") as asked, open_to_read(read_site.store) as store:
        runs = asked.all("runs", runs=3)
        assert [one["run_id"] for one in runs] == [
            row["run_id"] for row in reversed(store.ask("questions/current_runs"))
        ]
        assert runs == asked.all("runs", runs=64)
        reels = {one["reel_id"]: one for one in asked.all("reels", runs=2)}
        assert set(reels) == {row["reel_id"] for row in store.ask("questions/reel_ids")}
        for name, one in reels.items():
            assert one["standing"] == standing_of(store, name).code
        held = asked.all("reels", standing="held")
        assert {one["reel_id"] for one in held} == {
            n for n, one in reels.items() if one["standing"] == "held"
        }
        leaving = {one["item"] for one in asked.all("may_leave")}
        assert leaving == {name for name in reels if standing_of(store, name).may_leave}
        findings = asked.all("findings", status="open")
        for one in findings[:10]:
            shown = asked.get("finding", finding_id=one["finding_id"])
            assert shown["finding"] == one and shown["state"]["standing"] != "closed"
        reel = asked.get("reel", reel_id=REEL)
        assert reel["standing"]["code"] == standing_of(store, REEL).code
        assert FINDING in [one["finding_id"] for one in reel["findings"]]
        told = [str(one["told"]["text"]) for one in reel["standing"]["against"]]
        assert told and all(told)
        lots = asked.all("lots")
        shown = asked.get("lot", lot_id=lots[0]["lot_id"])
        assert shown["lot"]["lot_id"] == lots[0]["lot_id"]
        entries = asked.all("journal", most=100)
        assert [one["entry"]["entry_no"] for one in entries] == list(range(1, len(entries) + 1))
        assert entries[-1]["entry"]["chain_sha256"] == store.ask("questions/last_entry")[0]["chain_sha256"]
        assert asked.get("run", run_id="R-0412")["reels"]
        assert asked.get("runs", run="R-0412")["items"][0]["run_id"] == "R-0412"
        day = runs[0]["day"]
        assert all(one["day"] == day for one in asked.all("runs", from_day=day, to_day=day))
        assert asked.all("runs", line="no-such-line") == []
        assert asked.ask("reel", reel_id="L1-0412-99").status_code == 404
        assert asked.ask("finding", finding_id=REEL).status_code == 404
        assert asked.ask("length", length_id=REEL).status_code == 404
        assert asked.ask("lot", lot_id=REEL).status_code == 404
        assert asked.ask("runs", after="R-none").status_code == 404


def test_the_description_is_one(read_site: Site) -> None:
    told = description()
    for schema in told["components"]["schemas"].values():
        Draft202012Validator.check_schema(schema)
    assert told["openapi"] == "3.1.0"
    with client(read_site, "reader-2") as asked:
        assert asked.described == json.loads(json.dumps(told))
        assert set(asked.get("problems")) >= {"not-allowed", "changed-meanwhile"}


def test_from_a_finding_to_a_shipment_by_two_persons(site: Site) -> None:
    everything = SCOPES
    with (
        client(site, "bench", ENGINEER, "QE-1", everything) as engineer,
        client(site, "office", MANAGER, "QM-1", everything) as manager,
    ):
        finding = seen(engineer, "finding", FINDING)
        decide = {"kind": "decide", "disposition": "scrap", "reason": "thin on a slice"}
        done = engineer.ask("decide", {"subjects": [finding], **decide})
        assert done.status_code == 200 and done.json()["did"]["text"].startswith(
            f"Done: decide scrap, {FINDING}."
        )
        late = manager.ask(
            "decide", {"subjects": [finding], **decide, "entry_no": done.json()["entry_no"] - 2}
        )
        assert late.status_code == 409
        assert "it is not as you saw it any more" in late.json()["detail"]
        assert any("scrap" in one["text"] for one in late.json()["happened"])
        complete = {"kind": "complete", "reason": "cut out", "evidence": "cut record 12"}
        bare = engineer.ask(
            "decide", {"subjects": [seen(engineer, "finding", FINDING)], **complete, "evidence": ""}
        )
        assert bare.status_code == 403 and "without evidence" in bare.json()["detail"]
        assert (
            engineer.ask("decide", {"subjects": [seen(engineer, "finding", FINDING)], **complete}).status_code
            == 200
        )
        release = {
            "kind": "decide",
            "disposition": "release",
            "reason": "the rest conforms",
            "evidence": "test 12",
        }
        assert (
            engineer.ask("decide", {"subjects": [seen(engineer, "reel", REEL)], **release}).status_code == 200
        )
        confirm = {"kind": "confirm", "reason": "agreed"}
        own = engineer.ask("decide", {"subjects": [seen(engineer, "reel", REEL)], **confirm})
        assert own.status_code == 403 and "cannot be the second person as well" in own.json()["detail"]
        ship = {"shipment": "S-1", "to": "a customer"}
        early = engineer.ask("ship", {**ship, "items": [seen(engineer, "reel", REEL)]})
        assert early.status_code == 403 and f"{REEL} may not leave" in early.json()["detail"]
        assert (
            manager.ask("decide", {"subjects": [seen(manager, "reel", REEL)], **confirm}).status_code == 200
        )
        assert REEL in {one["item"] for one in manager.all("may_leave")}
        assert engineer.ask("ship", {**ship, "items": [seen(engineer, "reel", REEL)]}).status_code == 200
        assert [one["item"] for one in engineer.all("shipments")] == [REEL]
    by = [(one["role"], one["person"], one["kind"]) for one in records(site, "disposition")]
    assert by == [
        (ENGINEER, "QE-1", "decide"),
        (ENGINEER, "QE-1", "complete"),
        (ENGINEER, "QE-1", "decide"),
        (MANAGER, "QM-1", "confirm"),
    ]
    refusals = [one.told.code for one in access_entries(site.desk.accounts.file) if "/act " in one.told.code]
    assert refusals == ["access/act late", "access/act refused", "access/act refused", "access/act refused"]
    assert run(["verify", "--store", str(site.store)]) == 0


def test_a_service_holds_in_its_own_name_and_samples(site: Site) -> None:
    with client(site, "press-3", ENGINEER) as service:
        bad = service.ask("hold", {"subject": REEL, "reason": "scuffed", "from_outer_m": 1.0})
        assert bad.status_code == 403 and "one end of the stretch is missing" in bad.json()["detail"]
        held = service.ask(
            "hold", {"subject": REEL, "reason": "scuffed", "from_outer_m": 1.5, "to_outer_m": 20.0}
        )
        assert held.status_code == 200, held.text
        again = service.ask(
            "hold", {"subject": REEL, "reason": "scuffed", "from_outer_m": 1.5, "to_outer_m": 20.0}
        )
        assert again.json() == held.json()  # an answer was lost and it was sent anew: one hold
        reel = service.get("reel", reel_id=REEL)
        (hold,) = reel["standing"]["holds"]
        assert (hold["from_outer_m"], hold["to_outer_m"]) == (1.5, 20.0)
        assert hold["by"] == {"role": ENGINEER, "person": "press-3"}
        lift = {"number": hold["number"], "reason": "buffed"}
        assert service.ask("lift", {"subject": {"id": REEL, "seen": reel["seen"]}, **lift}).status_code == 200
        assert service.ask("lift", {"subject": {"id": REEL, "seen": reel["seen"]}, **lift}).status_code == 409
        assert service.get("reel", reel_id=REEL)["standing"]["holds"] == []
        sample = {"reel": REEL, "from_outer_m": 3.0, "quantity": "mean_wall_mm", "value": 0.9, "unit": "mm"}
        first = service.ask("sample", sample)
        assert first.status_code == 200, first.text
        assert service.ask("sample", sample).json()["did"]["code"] == "did/known"
        confirm = {"subjects": [seen(service, "reel", REEL)], "kind": "confirm", "reason": "agreed"}
        refused = service.ask("decide", confirm)
        assert refused.status_code == 403 and "it was not made for 'confirm'" in refused.json()["detail"]


def test_the_plant_sheet_and_the_scope_bind_a_token(site: Site) -> None:
    with (
        client(site, "gate", OPERATOR) as operator,
        client(site, "scanner", ENGINEER, may=("hold",)) as scanner,
        client(site, "screen") as screen,
    ):
        decide = {"kind": "decide", "disposition": "scrap", "reason": "thin"}
        body = {"subjects": [seen(operator, "finding", FINDING)], **decide}
        refused = operator.ask("decide", body)
        assert (
            refused.status_code == 403
            and "the role 'line operator' may not decide scrap" in refused.json()["detail"]
        )
        assert scanner.ask("decide", body).status_code == 403
        assert scanner.ask("hold", {"subject": REEL, "reason": "scuffed"}).status_code == 200
        assert screen.ask("hold", {"subject": REEL, "reason": "scuffed"}).status_code == 403
        ship = {"shipment": "S-1", "to": "x", "items": [seen(operator, "reel", REEL)], "held_reason": "sold"}
        assert operator.ask("ship", ship).status_code == 403
    assert records(site, "disposition") == [] and records(site, "shipment") == []


def test_a_token_ends_by_its_day_its_account_its_command_and_its_successor(site: Site) -> None:
    tokens = Tokens(site.desk.accounts)
    site.account("QE-1", ENGINEER)

    def status(token: str) -> int:
        with site.browser(headers={"authorization": f"Bearer {token}"}) as browser:
            answer = browser.get("/api/runs")
            if answer.status_code == 401:
                assert answer.headers["www-authenticate"] == 'Bearer realm="reelproof"'
                assert answer.headers["content-type"] == "application/problem+json"
            return answer.status_code

    first = tokens.make("scale", ENGINEER, "", ["hold"], 2)
    assert status(first) == 200
    second = tokens.make("scale", ENGINEER, "", ["hold"], 2)
    assert (status(first), status(second)) == (401, 200)
    site.clock.ahead = timedelta(days=2, seconds=5)
    assert status(second) == 401
    hers = tokens.make("bench", "", "QE-1", ["hold"], 2)
    assert status(hers) == 200
    site.desk.accounts.end("QE-1")
    assert status(hers) == 401
    third = tokens.make("scale", "", "", [], 2)
    assert run(["token", "scale", "--end", "--store", str(site.store)]) == 0
    assert status(third) == 401
    assert [status(one) for one in ("none", "reelproof_none", "x" * 200, PASSWORD)] == [401] * 4
    kept = site.desk.accounts.file.path.read_bytes()
    assert not any(one.encode() in kept for one in (first, second, hers, third))
    log = json.dumps([one.record for one in access_entries(site.desk.accounts.file)])
    assert not any(one in log for one in (first, second, hers, third))
    assert "access/token refused" in log and "access/token made" in log


def test_what_a_token_may_not_be(site: Site, capsys: pytest.CaptureFixture[str]) -> None:
    store = ["--store", str(site.store)]
    site.account("QE-1", ENGINEER)
    told = [
        (
            ["QE 1", "--role", ENGINEER],
            "token QE 1: account QE-1 has that name. Name the service, not a person.\n",
        ),
        (
            ["a", "--may", "hold"],
            "--may: no role was given in which it would act. Give --role, or leave --may out.\n",
        ),
        (
            ["a", "--role", ENGINEER, "--may", "confirm"],
            "--may confirm: a service is no second person. Give --account: the person who confirms.\n",
        ),
        (["a", "--account", "QE-7"], "--account: there is no account QE-7. Make it first.\n"),
        (
            ["a", "--account", "QE-1", "--role", ENGINEER],
            "--role: the account has a role already. Leave --role or --account out.\n",
        ),
        (["a", "--end"], "token a: no such service has a token. Services: none.\n"),
        (["--end"], "token: no service was named. Give the service's name.\n"),
    ]
    for words, said in told:
        assert run(["token", *words, *store]) == 2
        assert capsys.readouterr().err == said
    assert run(["token", "a", "--role", "king", *store]) == 2
    assert run(["token", "a", "--role", ENGINEER, "--may", "burn", *store]) == 2
    assert "--may: 'burn' is no act. Give one of hold, lift," in capsys.readouterr().err
    assert run(["token", *store]) == 0
    assert capsys.readouterr().out == "No service has a token yet.\n"
    assert run(["token", "a", "--role", ENGINEER, "--may", "hold", "--days", "7", *store]) == 0
    assert "it is not shown again and stands 7 days: reelproof_" in capsys.readouterr().out
    assert run(["token", *store]) == 0
    assert capsys.readouterr().out.splitlines()[2].startswith("a        a        quality engineer  hold")
    with pytest.raises(Exception, match="it cannot be told from service a:"):
        site.desk.accounts.invite("A", "")


def test_what_cannot_be_read_is_a_problem_in_words(read_site: Site) -> None:
    with client(read_site, "prober", ENGINEER) as asked:
        http = asked.http
        wrong = [
            ("GET", "/api/none", {}, 404),
            ("GET", "/api/reels/..%2F..%2Fdesk%2Faccounts.sqlite", {}, 404),
            ("POST", "/api/runs", {"content": b"{}"}, 405),
            ("DELETE", "/api/runs", {}, 405),
            ("GET", "/api/acts/hold", {}, 405),
            ("GET", "/api/runs?runs=0", {}, 422),
            ("GET", "/api/runs?runs=1&runs=2", {}, 422),
            ("GET", "/api/runs?runs=١", {}, 422),
            ("GET", "/api/runs?from_day=2026-13-01", {}, 422),
            ("GET", "/api/runs?secret=1", {}, 422),
            ("GET", "/api/reels?standing=fine", {}, 422),
            ("GET", "/api/journal?after=-1", {}, 422),
            ("GET", "/api/runs?line=%00", {}, 422),
            ("POST", "/api/acts/hold", {"content": b"{"}, 415),
            ("POST", "/api/acts/hold", {"json": []}, 422),
            ("POST", "/api/acts/hold", {"json": {"subject": REEL}}, 422),
            ("POST", "/api/acts/hold", {"json": {"subject": REEL, "reason": " "}}, 422),
            ("POST", "/api/acts/hold", {"json": {"subject": REEL, "reason": "x", "more": 1}}, 422),
            ("POST", "/api/acts/hold", {"json": {"subject": REEL, "reason": "x\x07"}}, 403),
            ("POST", "/api/acts/hold", {"json": {"subject": f"{REEL}' OR 1=1 --", "reason": "x"}}, 422),
            ("POST", "/api/acts/hold", {"json": {"subject": "none", "reason": "x"}}, 404),
            ("POST", "/api/acts/hold", {"json": {"subject": REEL, "reason": "x", "from_outer_m": "1"}}, 422),
        ]
        for method, path, more, status in wrong:
            answer = http.request(method, path, **more)
            assert answer.status_code == status, (method, path, more, answer.text)
            told = answer.json()
            assert answer.headers["content-type"] == "application/problem+json"
            assert told["status"] == status and told["complaints"], path
            asked.valid({"$ref": "#/components/schemas/Problem"}, told)
        for query, remedy in (
            ("runs=0", "Give a whole number from 1 to 64"),
            ("from_day=2026-13-01", "Give a day like 2026-03-31"),
            ("line=%00", "Give up to 200 characters that can be printed"),
        ):
            (told,) = http.get(f"/api/runs?{query}").json()["complaints"]
            assert told["remedy"] == remedy
        (told,) = http.get("/api/reels?standing=fine").json()["complaints"]
        assert told["remedy"].startswith("Give one of ") and "held" in told["remedy"]
        kind = {"content-type": "application/json"}
        assert http.post("/api/acts/hold", content=b"{", headers=kind).status_code == 400
        assert http.post("/api/acts/hold", content=b"x" * 70_000, headers=kind).status_code == 413
        nested = b'{"subject":' + b"[" * 20_000 + b"]" * 20_000 + b"}"
        assert http.post("/api/acts/hold", content=nested, headers=kind).status_code in (400, 422)
        other = http.get("/api/runs", headers={"host": "elsewhere.example"})
        assert other.status_code == 400
        assert http.get("/api/runs").headers["cache-control"] == "no-store"
    assert [json.loads(one["record"]) for one in _holds(read_site)] == []


def _holds(site: Site) -> list[dict[str, Any]]:
    with open_to_read(site.store) as store:
        return store.ask("questions/entries_of_kind", kind="hold")


def test_a_session_reads_and_acts_only_by_forms(site: Site) -> None:
    with site.signed_in("QE-1", ENGINEER) as browser:
        assert browser.get("/api/reels").status_code == 200
        body = {"subject": REEL, "reason": "scuffed"}
        assert browser.post("/api/acts/hold", json=body).status_code == 401
    with site.browser() as nobody:
        assert nobody.get("/api/reels", follow_redirects=False).status_code == 401
    assert records(site, "hold") == []


def test_wrong_tokens_and_a_flood_are_slowed(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    with site.browser(headers={"authorization": "Bearer reelproof_wrong"}) as browser:
        statuses = [browser.get("/api/runs").status_code for _ in range(32)]
    assert statuses == [401] * 30 + [429] * 2
    with client(site, "good") as asked:  # one that stands is not locked out by others' tries
        assert asked.ask("runs").status_code == 200
    monkeypatch.setattr("pipeline.desk.api.surface.Tries.may_try", lambda *_: False)
    with site.browser(headers={"authorization": asked.http.headers["authorization"]}) as browser:
        slowed = browser.get("/api/runs")
    assert slowed.status_code == 429 and slowed.headers["retry-after"] == "60"
