"""Acts from the browser: the commands' rules, the person on each act, and nothing done on what was not seen.

Every refusal of an act is one that the acts' own functions give; what is tried here is that no form comes past them.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from threading import Thread
from typing import Any

import pytest

from pipeline.acts.deciding import subject_on_file
from pipeline.acts.holding import holds_on
from pipeline.cli.app import run
from pipeline.desk.offers import sight_of
from pipeline.record.access_log import access_entries
from pipeline.record.samples_on_file import samples_of_run
from pipeline.record.standing import standing_of
from pipeline.store.database import open_to_read, open_to_write
from tests.acts.decided_store import copied
from tests.desk.site import NONE, Browser, Form, Site, site_of

REEL, FINDING = "L1-0412-03", "R-0412-F02"  # the finding is all that holds the reel
ENGINEER, MANAGER, OPERATOR = "quality engineer", "quality manager", "line operator"


def form_of(browser: Browser, page: str, action: str, subject: str = "") -> Form:
    found = [one for one in browser.forms(page) if one.action == f"/acts/{action}"]
    found = [one for one in found if not subject or subject in one.fields.get("subject", [])]
    assert found, f"{page} offers no {action}"
    return found[0]


def entries(site: Site, kind: str) -> list[dict[str, Any]]:
    with open_to_read(site.store) as store:
        return [json.loads(one["record"]) for one in store.ask("questions/entries_of_kind", kind=kind)]


def stands(site: Site, reel: str = REEL) -> str:
    with open_to_read(site.store) as store:
        return standing_of(store, reel).code


def told(answer: Any) -> str:
    """What a page says first about an act that was refused."""
    found = re.search(r'<main.*?(?=<section class="acts")', answer.text, re.DOTALL)
    assert found is not None
    return found[0]


def decide(browser: Browser, deed: str, reason: str = "thin on a slice", **more: Any) -> Any:
    """Act on the one finding of the reel, from its own page."""
    return browser.fill(
        form_of(browser, f"/findings/{FINDING}.html", "decide"), deed=deed, reason=reason, **more
    )


def test_from_a_finding_to_a_shipment_by_two_persons(site: Site) -> None:
    page = f"/reels/{REEL}.html"
    with site.signed_in("QE-1", ENGINEER) as engineer, site.signed_in("QM-1", MANAGER) as manager:
        done = decide(engineer, "decide scrap")
        assert done.status_code == 200 and done.url.path == f"/findings/{FINDING}.html"
        assert f"Done: decide scrap, {FINDING}. Journal " in done.text
        assert "Done: decide scrap" not in engineer.get(page).text  # told once
        refused = decide(engineer, "complete")
        assert refused.status_code == 403
        assert (
            "scrap is said to be done without evidence. Name the test, sample or cut record that shows it."
            in refused.text
        )
        assert "thin on a slice</textarea>" in refused.text  # what was typed is not lost
        assert decide(engineer, "complete", evidence="cut record 12").status_code == 200
        release = form_of(engineer, page, "decide", REEL)
        assert engineer.fill(release, deed="decide release", reason="the rest conforms").status_code == 200
        assert stands(site) == "awaiting a second person"
        waits = re.search(r"<strong>Reel L1-0412-03:</strong>(.*?)</p>", engineer.get(page).text)
        assert waits is not None
        once = r" Release decided by quality engineer on [\d-]{10}\. It waits for a second person\."
        assert re.fullmatch(once, waits[1])
        own = engineer.fill(form_of(engineer, page, "decide", REEL), deed="confirm", reason="agreed")
        assert own.status_code == 403 and "cannot be the second person as well" in own.text
        ship = {"item": [REEL], "shipment": "S-1", "to": "a customer"}
        early = engineer.fill(form_of(engineer, page, "ship"), **ship)
        assert early.status_code == 403 and f"{REEL} may not leave" in early.text
        confirmed = manager.fill(form_of(manager, page, "decide", REEL), deed="confirm", reason="agreed")
        assert confirmed.status_code == 200 and stands(site) == "released"
        sent = engineer.fill(form_of(engineer, page, "ship"), **ship)
        assert sent.status_code == 200 and f"Shipped in S-1 to a customer: {REEL}." in sent.text
        assert stands(site) == "shipped"
    by = [
        (one["record"]["role"], one["record"]["person"], one["record"]["kind"])
        for one in entries(site, "disposition")
    ]
    assert by == [
        (ENGINEER, "QE-1", "decide"),
        (ENGINEER, "QE-1", "complete"),
        (ENGINEER, "QE-1", "decide"),
        (MANAGER, "QM-1", "confirm"),
    ]
    (shipment,) = entries(site, "shipment")
    assert (shipment["record"]["role"], shipment["record"]["person"]) == (ENGINEER, "QE-1")
    refusals = [
        one.told.arguments["act"]
        for one in access_entries(site.desk.accounts.file)
        if one.kind == "access/act refused"
    ]
    assert refusals == ["decide", "decide", "ship"]
    assert run(["verify", "--store", str(site.store)]) == 0


def test_a_hold_is_put_shown_and_lifted(site: Site) -> None:
    page = f"/reels/{REEL}.html"
    with site.signed_in("OP-1", OPERATOR) as operator, site.signed_in("QE-1", ENGINEER) as engineer:
        bad = operator.fill(form_of(operator, page, "hold"), reason="scuffed", **{"from": "1,200"})
        assert bad.status_code == 403 and "one end of the stretch is missing" in bad.text
        worse = operator.fill(
            form_of(operator, page, "hold"), reason="scuffed", **{"from": "a", "to_place": "b"}
        )
        assert "from: 'a' is no place. Give a figure from 0 up, like 1,200." in worse.text.replace(
            "&#39;", "'"
        )
        done = operator.fill(
            form_of(operator, page, "hold"), reason="scuffed", **{"from": "1,200", "to_place": "1,260"}
        )
        assert done.status_code == 200 and "1,200" in done.text and "scuffed" in done.text
        with open_to_read(site.store) as store:
            (hold,) = holds_on(store, REEL).in_force
        assert (round(hold.from_outer_m or 0, 2), str(hold.by)) == (365.76, "line operator (OP-1)")
        assert not [one for one in operator.forms(page) if one.action == "/acts/lift"]
        lift = form_of(engineer, page, "lift")
        # The form of somebody else, sent by who may not lift: the sheet's rule refuses it.
        forged = Form(
            "/acts/lift", {**lift.fields, "form_token": operator.forms(page)[0].fields["form_token"]}
        )
        stolen = operator.fill(forged, reason="let it go")
        assert stolen.status_code == 403 and "may not lift a hold" in stolen.text
        assert engineer.fill(lift, reason="cut out").status_code == 200
    with open_to_read(site.store) as store:
        assert holds_on(store, REEL).in_force == ()


def test_a_lot_is_held_from_its_page(site: Site) -> None:
    with site.signed_in("QE-1", ENGINEER) as browser:
        page = "/lots/PVC-7741.html"
        assert browser.fill(form_of(browser, page, "hold"), reason="supplier's notice").status_code == 200
        assert "supplier" in browser.get("/reels/L1-0414-02.html").text
        lift = form_of(browser, "/reels/L1-0414-02.html", "lift")
        assert lift.fields["subject"] == ["PVC-7741"]
        assert browser.fill(lift, reason="the supplier's test conforms").status_code == 200


def test_several_findings_are_decided_with_one_reason_or_none_is(site: Site) -> None:
    with open_to_read(site.store) as store:
        reel = store.ask("questions/finding", finding_id="R-0412-F01")[0]["reel_id"]
        rows = store.ask(
            "questions/findings_of_assessment",
            assessment_id=store.ask("questions/reel", reel_id=reel)[0]["assessment_id"],
        )
        names = [row["finding_id"] for row in rows if row["reel_id"] == reel]
    with site.signed_in("QE-1", ENGINEER) as browser:
        form = form_of(browser, f"/reels/{reel}.html", "decide", "")
        assert form.boxes["subject"] == names and "subject" not in form.fields
        nothing = browser.fill(form, deed="decide scrap", reason="all of it")
        assert nothing.status_code == 403 and "nothing was chosen" in nothing.text
        both = browser.fill(form, subject=[*names, "R-0412-F99"], deed="decide scrap", reason="all of it")
        assert both.status_code in (403, 404, 400) and entries(site, "disposition") == []
        alike = browser.get("/findings/R-0412-F01.html").text
        assert 'value="R-0412-F01" checked' in alike.replace(" checked", " checked")
        done = browser.fill(form, subject=names, deed="decide scrap", reason="all of it")
        assert done.status_code == 200
    found = entries(site, "disposition")
    assert [one["subject"] for one in found] == names
    assert {one["record"]["reason"] for one in found} == {"all of it"}


def test_one_refusal_keeps_the_others_from_being_done(site: Site) -> None:
    with site.signed_in("QE-1", ENGINEER) as browser:
        decide(browser, "decide scrap")
        form = form_of(browser, f"/findings/{FINDING}.html", "decide")
        with open_to_read(site.store) as store:
            other = next(
                row["finding_id"]
                for row in store.ask("questions/finding_ids")
                if row["finding_id"] == "R-0412-F01"
            )
        seen = form_of(browser, f"/findings/{other}.html", "decide").fields["seen"]
        answer = browser.fill(
            form,
            subject=[FINDING, other],
            seen=[*form.fields["seen"], *seen],
            deed="decide rework",
            reason="both",
        )
        assert answer.status_code == 403
        assert "scrap by quality engineer (QE-1) stands on it" in answer.text
        assert f"Open {FINDING} again on its page first." in answer.text and "reelproof" not in told(answer)
    assert len(entries(site, "disposition")) == 1


def test_of_two_persons_on_one_finding_one_wins_and_the_other_sees_what_happened(site: Site) -> None:
    with (
        site.signed_in("QE-1", ENGINEER) as first,
        site.signed_in("T-17", "shift quality technician") as second,
    ):
        page = f"/findings/{FINDING}.html"
        seen_by_second = form_of(second, page, "decide")
        assert decide(first, "decide scrap", "thin on a slice").status_code == 200
        late = second.fill(seen_by_second, deed="decide rework", reason="wind it again")
        assert late.status_code == 409
        assert f"{FINDING}: it is not as you saw it any more. Nothing of yours was done." in late.text
        assert "decide scrap by quality engineer (QE-1)" in late.text and "thin on a slice" in late.text
        assert "wind it again</textarea>" in late.text
        assert second.fill(seen_by_second, deed="decide rework", reason="x", seen=[]).status_code == 409
        assert (
            second.fill(seen_by_second, deed="decide rework", reason="x", seen=[f"{FINDING}|"]).status_code
            == 409
        )
    assert len(entries(site, "disposition")) == 1
    kinds = [one.kind for one in access_entries(site.desk.accounts.file)]
    assert kinds.count("access/act late") == 3


def test_a_form_is_late_when_a_command_acted_or_a_hold_came(site: Site) -> None:
    with site.signed_in("QM-1", MANAGER) as browser:
        page = f"/reels/{REEL}.html"
        ship = form_of(browser, page, "ship")
        who = ["--role", ENGINEER, "--reason", "scuffed", "--store", str(site.store)]
        assert run(["hold", REEL, *who]) == 0
        late = browser.fill(
            ship, item=[REEL], shipment="S-1", to="a customer", override="1", reason="he wants it"
        )
        assert late.status_code == 409 and "scuffed" in late.text
        assert entries(site, "shipment") == []
        # Holding itself is never refused because something else happened.
        assert browser.fill(form_of(browser, page, "hold"), reason="me too").status_code == 200


def test_held_wire_leaves_only_by_who_may_send_it_and_every_page_says_so(site: Site) -> None:
    page = f"/reels/{REEL}.html"
    send = {
        "item": [REEL],
        "shipment": "S-1",
        "to": "a customer",
        "override": "1",
        "reason": "he takes it as it is",
    }
    with site.signed_in("QE-1", ENGINEER) as engineer, site.signed_in("QM-1", MANAGER) as manager:
        form = form_of(engineer, page, "ship")
        assert "override" not in form.boxes
        refused = engineer.fill(form, **send)
        assert refused.status_code == 403 and "may not ship wire that is held" in refused.text
        assert entries(site, "shipment") == []
        form = form_of(manager, page, "ship")
        assert form.boxes["override"] == ["1"] and "override" not in form.fields
        sent = manager.fill(form, **send)
        assert sent.status_code == 200
        assert (
            'class="alarm"' in sent.text
            and "Quality manager sent it all the same: he takes it as it is" in sent.text
        )
    assert stands(site) == "left while held"


def test_a_sample_judges_its_reel(site: Site) -> None:
    page = f"/reels/{REEL}.html"
    given = {"quantity": "thinnest_wall_mm", "place": "100", "value": "4.0", "value_unit": "mil", "sd": "0.1"}
    with site.signed_in("T-17", "shift quality technician") as browser:
        wrong = browser.fill(form_of(browser, page, "sample"), **{**given, "value": "thin"})
        assert wrong.status_code == 403 and "is no figure from 0 up" in wrong.text
        off = browser.fill(form_of(browser, page, "sample"), **{**given, "place": "99999999"})
        assert off.status_code == 403 and "is not on it" in off.text
        done = browser.fill(form_of(browser, page, "sample"), **given)
        assert done.status_code == 200 and "Put on file and judging its reel: sample R-0412-S" in done.text
        again = browser.fill(form_of(browser, page, "sample"), **given)
        assert "It was on file already." in again.text
    with open_to_read(site.store) as store:
        own = [
            one
            for one in samples_of_run(store, "R-0412")
            if one["reel_id"] == REEL and one["quantity"] == "thinnest_wall_mm"
        ]
        assert standing_of(store, REEL).samples.fails
    assert len(own) == 1
    assert entries(site, "sample")[-1]["record"]["person"] == "T-17"


@pytest.fixture(scope="module")
def shared(judged_store: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    with site_of(copied(judged_store, tmp_path_factory.mktemp("matrix") / "store")) as site:
        yield site


# By the demo's plant sheet (`sample_runs/plant.toml`): who may do what.
DECIDES = {"shift quality technician", ENGINEER, MANAGER}
MAY = {
    "decide": DECIDES,
    "concession": {ENGINEER, MANAGER},
    "hold": {OPERATOR, *DECIDES},
    "lift": {ENGINEER, MANAGER},
    "override": {MANAGER},
}
ROLES = ["", OPERATOR, "process engineer", "shift quality technician", ENGINEER, MANAGER]


def seen_now(site: Site, what: str) -> dict[str, list[str]]:
    """What a form made now would say of the reel; where a hold is to be lifted, of the first one too."""
    with open_to_read(site.store) as store:
        seen = {"seen": [f"{REEL}|{sight_of(store, REEL)}"]}
        return seen if what != "lift" else {**seen, "number": [str(holds_on(store, REEL).in_force[0].number)]}


def test_no_act_is_open_to_a_role_that_the_sheet_does_not_list(shared: Site) -> None:
    page = f"/reels/{REEL}.html"
    browsers: dict[str, Browser] = {}
    contexts = [shared.signed_in(f"P-{number}", role) for number, role in enumerate(ROLES)]
    try:
        for role, context in zip(ROLES, contexts, strict=True):
            browsers[role] = context.__enter__()
        manager = browsers[MANAGER]
        tokens = {role: one.forms(NONE)[0].fields["form_token"] for role, one in browsers.items()}
        refused: dict[tuple[str, str], bool] = {}
        for what in MAY:
            # What the manager's page offers, with what is so now, sent by each role with its own session.
            action = {"concession": "decide", "override": "ship"}.get(what, what)
            form = form_of(manager, page, action, REEL if action == "decide" else "")
            given: dict[str, dict[str, Any]] = {
                "decide": {"deed": "decide scrap"},
                "concession": {"deed": "decide concession", "evidence": "test 12"},
                "hold": {},
                "lift": {},
                "override": {"item": [REEL], "shipment": "S-1", "to": "x", "override": "1"},
            }
            for role in ROLES:
                form.fields |= {"form_token": tokens[role], "back": [NONE], **seen_now(shared, what)}
                answer = browsers[role].fill(form, reason=f"matrix {role}", **given[what])
                said = "" if answer.url.path == NONE else answer.text
                by_role = "by the plant&#39;s sheet the role" in said or "it reads only" in said
                assert by_role == (role not in MAY[what]), (
                    f"{what} by {role or 'who reads only'}: {said[-3000:]}"
                )
                refused[what, role] = by_role
                if what == "decide" and not said:
                    form.fields |= {"form_token": tokens[MANAGER], **seen_now(shared, what)}
                    assert manager.fill(form, deed="reopen", reason="next").url.path == NONE
        assert sum(refused.values()) == sum(len(set(ROLES) - who) for who in MAY.values())
    finally:
        for context in contexts[: len(browsers)]:
            context.__exit__(None, None, None)


def test_what_is_no_act_is_not_done(shared: Site) -> None:
    with shared.signed_in("P-9", ENGINEER) as browser:
        token = browser.forms(NONE)[0].fields["form_token"][0]
        assert browser.post("/acts/burn", data={"form_token": token}).status_code == 404
        assert browser.get("/acts/hold").status_code == 404
        for form in (
            {"subject": FINDING, "deed": "decide", "reason": "x"},
            {"subject": FINDING, "deed": "decide mercy", "reason": "x"},
            {"subject": FINDING, "deed": "", "reason": "x"},
        ):
            assert (
                browser.post("/acts/decide", data={"form_token": token, **form}).status_code == 409
            )  # nothing was seen
        answer = browser.post(
            "/acts/hold", data={"form_token": token, "subject": "no-such-reel", "reason": "x"}
        )
        assert answer.status_code == 403 and "no reel or lot of this number is on file" in answer.text
        empty = browser.post("/acts/hold", data={"form_token": token, "subject": REEL, "reason": " "})
        assert empty.status_code == 403
        assert f"{REEL}: the role or the reason is missing. Give a reason." in empty.text
        bell = browser.post("/acts/hold", data={"form_token": token, "subject": REEL, "reason": "a\x07"})
        assert bell.status_code == 403 and "cannot be printed" in bell.text


def test_two_at_the_same_instant_give_one_act(site: Site) -> None:
    with site.signed_in("QE-1", ENGINEER) as first, site.signed_in("QM-1", MANAGER) as second:
        forms = [form_of(one, f"/findings/{FINDING}.html", "decide") for one in (first, second)]
        codes: list[int] = []

        def send(browser: Browser, form: Form) -> None:
            codes.append(browser.fill(form, deed="decide scrap", reason="thin").status_code)

        threads = [Thread(target=send, args=pair) for pair in zip((first, second), forms, strict=True)]
        for one in threads:
            one.start()
        for one in threads:
            one.join()
    assert sorted(codes) == [200, 409]
    with open_to_read(site.store) as store:
        assert subject_on_file(store, FINDING).state.version == 1


@pytest.mark.parametrize("change", ["role", "end"])
def test_whose_role_changes_while_the_act_waits_for_the_store_does_nothing(change: str, site: Site) -> None:
    with site.signed_in("QE-1", ENGINEER) as browser:
        form = form_of(browser, f"/reels/{REEL}.html", "hold")
        answers: list[Any] = []
        with open_to_write(site.store):
            sender = Thread(target=lambda: answers.append(browser.fill(form, reason="scuffed")))
            sender.start()
            sender.join(1.5)
            assert sender.is_alive()  # it waits for the store
            if change == "role":
                site.desk.accounts.invite("QE-1", "line operator")
            else:
                site.desk.accounts.end("QE-1")
        sender.join(30.0)
        assert [one.status_code for one in answers] == [403]
        assert "the session was ended or its role changed meanwhile" in answers[0].text
        assert entries(site, "hold") == []
