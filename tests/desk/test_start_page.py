"""What waits for whom, what is new to them, and lists over everything on file: what the store says, and nothing else.

Who is to decide, confirm, lift or complete is written in the demo's plant sheet (`sample_runs/plant.toml`); how every
reel stands is asked of the store by the functions that the commands use.
"""

from __future__ import annotations

import csv
import io
import json
import re
import zipfile
from datetime import timedelta
from typing import Any
from xml.etree import ElementTree

import pyarrow.parquet as pq
import pytest

from pipeline.cli.app import run
from pipeline.desk.board import Board
from pipeline.desk.waiting import since_then, waiting_for
from pipeline.messages import Message, message_of
from pipeline.nonconformance.disposition import Person
from pipeline.record.standing import standing_of, standings_of_run
from pipeline.store.account_file import open_board
from pipeline.store.database import open_to_read
from tests.desk.site import Browser, Form, Site, read_whole

REEL, FINDING = "L1-0412-03", "R-0412-F02"
ENGINEER, MANAGER, OPERATOR, TECHNICIAN = (
    "quality engineer",
    "quality manager",
    "line operator",
    "shift quality technician",
)


def section(text: str, name: str) -> str:
    found = re.search(rf'<section id="{name}".*?</section>', text, re.DOTALL)
    assert found is not None
    return found[0]


def names(text: str, group: str) -> list[str]:
    """What waits in a group of the start page, in its order."""
    found = re.search(rf'<h3 id="waits-{group}">.*?(?=<h3|</section>)', section(text, "waits"), re.DOTALL)
    return re.findall(r'<a class="id"[^>]*>([^<]+)</a>', found[0]) if found else []


def bell(text: str) -> int:
    found = re.search(r"<span data-bell[^>]*>(\d+)</span>", text)
    assert found is not None
    return int(found[1])


def form_of(browser: Browser, page: str, action: str, subject: str) -> Form:
    found = [one for one in browser.forms(page) if one.action == action]
    return next(one for one in found if subject in one.fields.get("subject", []))


def open_findings(site: Site, *severities: str) -> set[str]:
    with open_to_read(site.store) as store:
        return {
            row["finding_id"]
            for head in store.ask("questions/current_runs")
            if head["assessment_id"]
            for row in store.ask("questions/findings_of_assessment", assessment_id=head["assessment_id"])
            if row["severity"] in severities
        }


def test_each_role_is_told_what_the_sheet_gives_it(read_site: Site) -> None:
    read_whole(read_site)
    with read_site.signed_in("QE-8", ENGINEER) as browser:
        page = browser.get("/").text
    assert set(names(page, "decide")) == open_findings(read_site, "critical")
    assert bell(page) == len(open_findings(read_site, "critical")) > 5
    with read_site.signed_in("SQT-8", TECHNICIAN) as browser:
        page = browser.get("/").text
    assert set(names(page, "decide")) == open_findings(read_site, "major", "minor")
    for name, role in (("LO-8", OPERATOR), ("AU-8", "")):
        with read_site.signed_in(name, role) as browser:
            page = browser.get("/").text
        assert names(page, "decide") == [] and bell(page) == 0
    assert "Your account reads only. Nothing waits for it." in page


def test_what_is_due_first_stands_first_and_says_when_it_is_late(site: Site) -> None:
    read_whole(site)
    with site.signed_in("SQT-1", TECHNICIAN) as browser:
        page = section(browser.get("/").text, "waits")
        assert "Overdue since" not in page and "Due <time" in page
        site.clock.ahead = timedelta(
            hours=9
        )  # major findings are to be decided within 8 hours, minor within 24
        with site.signed_in("SQT-2", TECHNICIAN) as later:
            page = later.get("/").text
    told = re.findall(r"(major|minor), line \w+[. ]*<span class=\"(late)?\"", section(page, "waits"))
    assert told and all((grade == "major") == (late == "late") for grade, late in told)
    assert [grade for grade, _ in told] == sorted(grade for grade, _ in told)  # the earliest time first


def test_a_decision_waits_for_another_person_until_it_is_confirmed(site: Site) -> None:
    page = f"/findings/{FINDING}.html"
    read_whole(site)
    with site.signed_in("QE-1", ENGINEER) as engineer, site.signed_in("QM-1", MANAGER) as manager:
        before = bell(engineer.get("/").text)
        decide = form_of(engineer, page, "/acts/decide", FINDING)
        engineer.fill(decide, deed="decide concession", reason="the customer takes it")
        shown = engineer.get("/").text
        assert FINDING not in names(shown, "decide") and names(shown, "confirm") == []
        assert bell(shown) == before - 1
        shown = manager.get("/").text
        assert names(shown, "confirm") == [FINDING] and bell(shown) == 1
        assert "Concession, decided by quality engineer (QE-1)" in section(shown, "waits")
        with site.signed_in(
            "SQT-1", TECHNICIAN
        ) as technician:  # the sheet lets this role decide no concession
            assert names(technician.get("/").text, "confirm") == []
        manager.fill(form_of(manager, page, "/acts/decide", FINDING), deed="confirm", reason="agreed")
        assert names(manager.get("/").text, "confirm") == []
        # Scrap is to be completed, and asks for a cutting plan.
        other = "R-0412-F01"
        engineer.fill(
            form_of(engineer, f"/findings/{other}.html", "/acts/decide", other),
            deed="decide scrap",
            reason="thin",
        )
        shown = manager.get("/").text
        assert names(shown, "complete") == [other]
        with open_to_read(site.store) as store:
            assert names(shown, "plan") == [store.ask("questions/finding", finding_id=other)[0]["reel_id"]]


def test_a_hold_by_command_waits_for_who_may_lift_it(site: Site) -> None:
    read_whole(site)
    with site.signed_in("QE-1", ENGINEER) as engineer, site.signed_in("LO-1", OPERATOR) as operator:
        who = ["--role", OPERATOR, "--person", "LO-2", "--reason", "scuffed by the clamp"]
        assert run(["hold", "L1-0412-01", *who, "--store", str(site.store)]) == 0
        assert run(["hold", "PVC-7741", *who, "--store", str(site.store)]) == 0
        shown = engineer.get("/").text
        assert names(shown, "lift") == ["L1-0412-01", "PVC-7741"]
        assert "scuffed by the clamp" in section(shown, "waits")
        assert names(operator.get("/").text, "lift") == []
        # Every reel of the lot stands otherwise: the acts of others, and what became of the reels.
        with open_to_read(site.store) as store:
            reached = {row["reel_id"] for row in store.ask("questions/reels_of_lot_ever", lot="PVC-7741")}
            turned = {one for one in {*reached, "L1-0412-01"} if standing_of(store, one).code == "held"}
        since = section(shown, "since")
        was = set(re.findall(r'">(L\d-[\d-]+)</a> (?:(?!<li>).)*?Was: releasable', since, re.DOTALL))
        assert was and was <= turned
        assert "Acts of others" in since
        (form,) = [one for one in engineer.forms("/") if one.action == "/looked"]
        assert "Nothing new." in section(engineer.fill(form).text, "since")
        assert "Nothing new." not in section(operator.get("/").text, "since")  # each looks for themselves
        engineer.fill(
            form_of(engineer, "/reels/L1-0412-01.html", "/acts/lift", "L1-0412-01"), reason="cut out"
        )
        assert "cut out" not in section(engineer.get("/").text, "since")  # one's own act is not news
        assert "cut out" in section(operator.get("/").text, "since")


def test_the_board_says_of_every_reel_what_the_store_says(site: Site) -> None:
    """After acts, and made anew: no list may have a standing of its own."""
    who = ["--role", ENGINEER, "--person", "QE-2", "--reason", "for the test", "--store", str(site.store)]
    read_whole(site)
    before = board_of(site)
    assert run(["hold", "PVC-7741", *who]) == 0
    assert run(["disposition", FINDING, "decide", "scrap", *who]) == 0
    read_whole(site)
    followed = board_of(site)
    assert followed != before
    with open_to_read(site.store) as store:
        said = {
            name: (now.code, now.may_leave)
            for head in store.ask("questions/current_runs")
            for name, now in standings_of_run(store, head["run_id"]).items()
        }
    assert followed == said
    for name in ("mark", "reel"):
        site.desk.board.file.do(f"drop_{name}")
    site.desk.board.file.lay_out()
    site.desk.board._copy = None
    read_whole(site)
    assert board_of(site) == said


def board_of(site: Site) -> dict[str, tuple[str, bool]]:
    """How the reels stand on the board, and which may leave, as it is."""
    rows = site.desk.board.file.ask(
        "list_reels", words="[]", standing="", leave="", line="", product="", sort="reel", down=False, most=9999,
        skip=0, **{"from": "", "to": ""},
    )  # fmt: skip
    return {row["reel_id"]: (row["standing"], bool(row["may_leave"])) for row in rows}


def _is_the_same_in_other_files(browser: Any, what: str, rows: list[dict[str, str]]) -> None:
    """As Apache Arrow reads Parquet, and as the parts of a workbook are named in ECMA-376 part 1, 18.3."""
    kept = pq.read_table(io.BytesIO(browser.get(f"/lists/{what}.parquet").content))
    assert kept.column_names == list(rows[0])
    book = zipfile.ZipFile(io.BytesIO(browser.get(f"/lists/{what}.xlsx").content))
    sheet = ElementTree.fromstring(book.read("xl/worksheets/sheet1.xml"))
    name = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
    assert len(sheet.findall(f".//{name}row")) == kept.num_rows + 1 == len(rows) + 1
    assert sheet.find(f".//{name}pane").get("ySplit") == "1" and sheet.find(f".//{name}f") is None
    for column in ("length_m", "made_m"):
        if column in rows[0]:
            assert kept[column].to_pylist() == pytest.approx([float(one[column]) for one in rows])
            letter = chr(ord("A") + list(rows[0]).index(column))
            cells = [one for one in sheet.iter(f"{name}c") if one.get("r").rstrip("0123456789") == letter]
            assert [float(one.find(f"{name}v").text) for one in cells[1:]] == pytest.approx(
                kept[column].to_pylist()
            )


@pytest.mark.parametrize("what", ["reels", "findings", "runs", "acts"])
def test_a_list_is_narrowed_sorted_and_saved_as_a_file(read_site: Site, what: str) -> None:
    read_whole(read_site)
    with read_site.signed_in("QE-8", ENGINEER) as browser:
        first = browser.get(f"/lists/{what}")
        assert first.status_code == 200
        table = browser.get(f"/lists/{what}.csv")
        assert table.headers["content-disposition"] == f'attachment; filename="{what}.csv"'
        rows = list(csv.DictReader(io.StringIO(table.content.decode("utf-8-sig"))))
        told = re.search(r"(\d+) rows? fits?", first.text)
        assert told is not None and int(told[1]) == len(rows)
        _is_the_same_in_other_files(browser, what, rows)
        if what == "acts":
            return
        only = list(
            csv.DictReader(io.StringIO(browser.get(f"/lists/{what}.csv?line=L2").content.decode("utf-8-sig")))
        )
        assert only and len(only) == sum(one["line"] == "L2" for one in rows) < len(rows)
        key = {"reels": "reel", "findings": "finding", "runs": "run"}[what]
        up, down = (
            [
                one[key]
                for one in csv.DictReader(
                    io.StringIO(
                        browser.get(f"/lists/{what}.csv?sort={key}&down={way}").content.decode("utf-8-sig")
                    )
                )
            ]
            for way in (0, 1)
        )
        assert up == sorted(one[key] for one in rows) == down[::-1]


def test_days_of_acts_are_the_plants(site: Site) -> None:
    """The evening of a day in Chicago is the next day in UTC (six hours later in March before the 8th, 2026)."""
    read_whole(site)
    said = site.desk.board.file.ask("events_since", entry_no=0, most=1)[0]["told"]
    for entry_no, at in (
        (9001, "2026-03-03T05:59:59"),
        (9002, "2026-03-04T01:30:00"),
        (9003, "2026-03-04T06:00:00"),
    ):
        site.desk.board.file.do(
            "put_event", entry_no=entry_no, at_utc=at, kind="hold", subject="L1-0412-01", role=ENGINEER,
            person="", told=said, mention="", find="evening",
        )  # fmt: skip
    with site.signed_in("QE-8", ENGINEER) as browser:
        shown = browser.get("/lists/acts?q=evening&from=2026-03-03&to=2026-03-03").text
        assert "1 row fits" in shown and "2026-03-03 19:30 CST" in shown
        assert "3 rows fit" in browser.get("/lists/acts?q=evening&from=2026-03-02&to=2026-03-04").text
        for nonsense in ("from=0001-01-01", "to=9999-12-31"):
            assert "3 rows fit" in browser.get(f"/lists/acts?q=evening&{nonsense}").text


def test_a_list_goes_on_from_page_to_page_and_takes_no_nonsense(read_site: Site) -> None:
    read_whole(read_site)
    with read_site.signed_in("QE-8", ENGINEER) as browser:
        whole = re.findall(
            r'<th scope="row"[^>]*><a[^>]*>([^<]+)<', browser.get("/lists/reels?size=200").text
        )
        first = browser.get("/lists/reels").text
        (more,) = re.findall(r'rel="next" href="([^"]+)"', first)
        pages = [
            re.findall(r'<th scope="row"[^>]*><a[^>]*>([^<]+)<', one)
            for one in (first, browser.get(more.replace("&amp;", "&")).text)
        ]
        assert len(whole) == 61 and pages[0] + pages[1] == whole
        for query in (
            "sort=told;drop",
            "page=-1",
            "page=99999999999999999999",
            "size=7",
            "from=2026-13-40",
            "down=x",
        ):
            assert browser.get(f"/lists/reels?{query}").status_code == 200, query
        assert "Nothing on file fits" in browser.get("/lists/reels?q=%25' OR 1=1 --").text
        hostile = browser.get('/lists/reels?q="><script>alert(1)</script>').text
        assert "<script>alert" not in hostile
        assert browser.get("/lists/none").status_code == 404


def test_what_is_named_is_found(read_site: Site) -> None:
    read_whole(read_site)
    with read_site.signed_in("QE-8", ENGINEER) as browser:
        for named, where in (
            (REEL, f"/reels/{REEL}.html"),
            (FINDING, f"/findings/{FINDING}.html"),
            ("R-0412", "/runs/R-0412.html"),
        ):
            assert browser.get("/find", params={"q": named}).url.path == where
        found = browser.get("/find", params={"q": "xhhw-2 held"})
        assert (
            found.url.path == "/lists/reels"
            and "L2-0517-01" in found.text
            and "L1-" not in section_of_list(found.text)
        )
        assert browser.get("/find", params={"q": "splice"}).url.path.startswith("/lists/")


def section_of_list(text: str) -> str:
    return text[text.index("<tbody>") : text.index("</tbody>")]


def test_a_view_is_kept_for_who_kept_it(site: Site) -> None:
    with site.signed_in("QE-1", ENGINEER) as engineer, site.signed_in("QM-1", MANAGER) as manager:
        where = "/lists/reels?standing=held&line=L1"
        (form,) = [one for one in engineer.forms(where) if one.action == "/views"]
        kept = engineer.fill(form, name="Line 1, held")
        assert ">Line 1, held</a>" in kept.text and kept.url.params["line"] == "L1"
        assert "Line 1, held" not in manager.get("/lists/reels").text
        away = [one for one in engineer.forms("/lists/reels") if one.fields.get("name") == ["Line 1, held"]]
        assert "Line 1, held" not in engineer.fill(away[0], drop="1").text
        (form,) = [one for one in engineer.forms("/lists/reels") if one.action == "/views"]
        for elsewhere in ("https://x.example/", "//x.example", "/sign-out"):
            engineer.fill(form, name="elsewhere", address=elsewhere)
        assert engineer.get("/lists/reels").text.count("elsewhere") == 0


def test_a_board_that_is_behind_says_so(site: Site) -> None:
    """A store that the board does not know is read run by run; until then no list passes for whole."""
    site.desk.board.close()
    read_whole(site)
    with site.signed_in("QE-1", ENGINEER) as browser:
        site.desk.board.file.do("mark_stale", run_id="R-0411")
        assert "1 run still to be read" in browser.get("/").text
        assert "1 run still to be read" in browser.get("/lists/reels").text
        assert site.desk.board._read_stale()
        assert "still to be read" not in browser.get("/").text


def test_a_damaged_board_is_no_reason_to_be_silent(site: Site) -> None:
    site.desk.board.close()
    site.desk.board.file.path.write_bytes(b"no database" * 1000)
    with site.browser() as browser:
        browser.get("/")
    with (
        pytest.raises(Exception, match="Move it away and start 'reelproof serve' again"),
        open_board(site.store),
    ):
        pass


def test_nobody_is_told_twice_of_their_own(site: Site) -> None:
    board: Board = site.desk.board
    board.catch_up()
    since = since_then(board, Person(ENGINEER, "QE-1"), 0)
    assert {one.subject for one in since.runs} == {row["run_id"] for row in board.file.ask("bases")}
    assert waiting_for(board, Person("", "AU-1"), 0, site.clock()) == ()
    shown: list[Any] = [
        json.loads(row["told"]) for row in board.file.ask("events_since", entry_no=0, most=500)
    ]
    assert all(isinstance(message_of(one), Message) for one in shown)
