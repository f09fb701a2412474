"""Comments, owners, evidence, cutting and rewinding in the browser: the commands' rules, kept by the same journal.

The files that are attached are made here byte by byte: PNG by ISO/IEC 15948 (with `zlib`), JPEG's size marker by
ISO/IEC 10918-1, and PDF's first and last line by ISO 32000-1; all three from memory.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import struct
import zlib
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from pipeline.acts.attaching import MOST_BYTES, EvidenceFile, kind_of_file
from pipeline.cli.app import run
from pipeline.errors import ReelproofError
from pipeline.record.attached import evidence_path
from pipeline.record.standing import standing_of
from pipeline.store.database import open_to_read
from tests.desk.site import Browser, Form, Site, read_whole
from tests.desk.test_start_page import names, section

REEL, FINDING = "L1-0412-03", "R-0412-F02"
PAGE = f"/findings/{FINDING}.html"
ENGINEER, MANAGER, OPERATOR, PROCESS = (
    "quality engineer",
    "quality manager",
    "line operator",
    "process engineer",
)


def form_of(browser: Browser, page: str, action: str) -> Form:
    return next(one for one in browser.forms(page) if one.action == f"/acts/{action}")


def entries(site: Site, kind: str) -> list[dict[str, Any]]:
    with open_to_read(site.store) as store:
        return [
            json.loads(one["record"])["record"] for one in store.ask("questions/entries_of_kind", kind=kind)
        ]


def png(width: int = 2, height: int = 2, rest: bytes = b"") -> bytes:
    def chunk(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    pixels = zlib.compress(
        b"".join(b"\0" + os.urandom(width) for _ in range(height)) if height < 100 else b""
    )
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", pixels + rest) + chunk(b"IEND", b"")


JPEG = b"\xff\xd8\xff\xe0\x00\x04ab\xff\xc0\x00\x0b\x08\x00\x10\x00\x20\x01\x01\x11\x00\xff\xd9"
PDF = b"%PDF-1.4\n1 0 obj<<>>endobj\ntrailer<<>>\n%%EOF\n"


def send(browser: Browser, page: str, name: str, content: bytes, reason: str = "the spool's flange") -> Any:
    form = form_of(browser, page, "attach")
    data = {key: value[0] for key, value in form.fields.items() if key != "file"}
    return browser.post("/acts/attach", data={**data, "reason": reason}, files={"file": (name, content)})


def test_a_comment_reaches_the_role_it_is_for(site: Site) -> None:
    read_whole(site)
    with site.signed_in("LO-1", OPERATOR) as operator, site.signed_in("PE-1", PROCESS) as engineer:
        done = operator.fill(
            form_of(operator, PAGE, "comment"), reason="The die\nwas changed.", mention=PROCESS
        )
        assert done.status_code == 200 and "The comment on R-0412-F02 is on file." in done.text
        shown = engineer.get("/").text
        assert names(shown, "mention") == [FINDING]
        assert "Comment on R-0412-F02 by line operator (LO-1), for process engineer: The die" in section(
            shown, "waits"
        )
        assert names(operator.get("/").text, "mention") == []
        (looked,) = [one for one in engineer.forms("/") if one.action == "/looked"]
        assert names(engineer.fill(looked).text, "mention") == []
        refused = operator.fill(form_of(operator, PAGE, "comment"), reason="x", mention="king")
        assert refused.status_code == 403 and "which is no role here" in refused.text
        hostile = "<img src=x onerror=alert(1)>{{ 7*7 }}"
        assert hostile not in operator.fill(form_of(operator, PAGE, "comment"), reason=hostile).text
        assert "{{ 7*7 }}" in operator.get(PAGE).text
    assert [one["person"] for one in entries(site, "comment")] == ["LO-1", "LO-1"]
    assert run(["verify", "--store", str(site.store)]) == 0


def test_a_finding_is_given_to_a_person_with_a_time_of_its_own(site: Site) -> None:
    read_whole(site)
    with (
        site.signed_in("QE-1", ENGINEER) as one,
        site.signed_in("QE-2", ENGINEER) as other,
        site.signed_in("PE-1", PROCESS) as process,
    ):
        assert FINDING in names(one.get("/").text, "decide")
        late = form_of(other, PAGE, "assign")
        given = {"to_role": PROCESS, "to_person": "PE-1", "due": "2026-01-05T10:00"}
        done = one.fill(form_of(one, PAGE, "assign"), reason="the die is yours", **given)
        assert done.status_code == 200 and "was given to process engineer (PE-1)" in done.text
        assert FINDING not in names(one.get("/").text, "decide")
        shown = section(process.get("/").text, "waits")
        assert names(process.get("/").text, "decide") == [FINDING]
        assert 'class="late"' in shown and "2026-01-05 10:00 CST" in shown  # 10:00 on the plant's clocks
        # The other had seen no owner: theirs is not done, and they are told what happened.
        lost = other.fill(late, reason="mine", to_role=ENGINEER)
        assert lost.status_code == 409 and "somebody gave it to somebody meanwhile" in lost.text
        for wrong, said in (
            ({"due": "9999-12-31T23:59"}, "the year 9999 is no time to decide by"),
            ({"due": "soon"}, "is no day and time"),
            ({"to_person": "x" * 61}, "is too long or cannot be printed"),
            ({"to_person": "QE\x1b[2J"}, "is too long or cannot be printed"),
        ):
            refused = one.fill(form_of(one, PAGE, "assign"), reason="y", **{"to_role": ENGINEER, **wrong})
            assert refused.status_code == 403 and said in refused.text, wrong
    (kept,) = entries(site, "assignment")
    assert kept["due_utc"] == "2026-01-05T16:00:00" and kept["to_person"] == "PE-1"
    who = ["--role", OPERATOR, "--reason", "x", "--to-role", ENGINEER, "--store", str(site.store)]
    assert run(["note", FINDING, *who]) == 2  # a role that neither decides nor owns findings


def test_evidence_is_kept_as_it_came_and_missed_when_it_is_changed(
    site: Site, capsys: pytest.CaptureFixture[str]
) -> None:
    photo = png(40, 40)
    digest = hashlib.sha256(photo).hexdigest()
    with site.signed_in("QE-1", ENGINEER) as browser:
        done = send(browser, PAGE, "../../etc/flange.png", photo)
        assert done.status_code == 200 and "is attached to R-0412-F02" in done.text
        assert f'src="/evidence/{digest}"' in done.text
        shown = browser.get(f"/evidence/{digest}")
        assert shown.content == photo and shown.headers["content-type"] == "image/png"
        assert shown.headers["content-disposition"].startswith("inline")
        assert shown.headers["x-content-type-options"] == "nosniff"
        assert send(browser, PAGE, "report.pdf", PDF).status_code == 200
        saved = browser.get(f"/evidence/{hashlib.sha256(PDF).hexdigest()}")
        assert saved.content == PDF and saved.headers["content-disposition"].startswith("attachment")
        for name, content, told in (
            ("page.png", b"<html><script>alert(1)</script></html>", "it is no whole PNG, JPEG or PDF"),
            ("cut.png", photo[:-20], "it is no whole PNG, JPEG or PDF"),
            ("bomb.png", png(60000, 60000), "60,000 by 60,000 points"),
            ("long.pdf", PDF[:9] + b"0" * MOST_BYTES + PDF[9:], "bytes"),
            ("none.pdf", b"", "none was sent|it has 0 bytes"),
        ):
            answer = send(browser, PAGE, name, content)
            assert answer.status_code in (403, 413) and re.search(told, answer.text), name
        assert browser.get(f"/evidence/{'0' * 64}").status_code == 404
        assert browser.get("/evidence/..%2f..%2freelproof.duckdb").status_code == 404
        forged = form_of(browser, PAGE, "attach").fields | {"form_token": ["x" * 43]}
        data = {key: value[0] for key, value in forged.items()}
        assert browser.post("/acts/attach", data=data, files={"file": ("a.png", photo)}).status_code == 403
    with site.browser() as nobody:
        assert nobody.get(f"/evidence/{digest}").url.path == "/sign-in"
        assert nobody.post("/acts/attach", data={"x": "y"}, files={"file": ("a.png", photo)}).status_code in (
            403,
            415,
        )
    assert [one["type"] for one in entries(site, "evidence")] == ["png", "pdf"]
    assert entries(site, "evidence")[0]["name"] == "flange.png"
    assert run(["verify", "--store", str(site.store)]) == 0
    capsys.readouterr()
    path = evidence_path(site.store, digest)
    path.write_bytes(png(40, 40))
    assert run(["verify", "--store", str(site.store)]) == 1
    assert "was changed." in capsys.readouterr().out
    path.unlink()
    assert run(["verify", "--store", str(site.store)]) == 1
    assert "is not there." in capsys.readouterr().out


@pytest.mark.parametrize(
    ("content", "kind"),
    [(png(), "png"), (JPEG, "jpeg"), (PDF, "pdf"), (png(3, 3, bytes(range(256)) * 9), "png")],
    ids=("photo", "jpeg", "pdf", "photo with more in it"),
)
def test_a_file_is_what_its_content_says(content: bytes, kind: str) -> None:
    assert kind_of_file(EvidenceFile("x.exe", content)) == kind
    for spoilt in (content[1:], content[:-9], b"", b"MZ" + content, content[:16] + b"IEND"):
        with pytest.raises(ReelproofError):
            kind_of_file(EvidenceFile("x.png", spoilt))


def test_a_reel_is_cut_by_its_plan_rewound_and_shipped(site: Site) -> None:
    """From scrap to shipment: the plan accepted, its pieces put on file, one of them rewound."""
    read_whole(site)
    where = f"/cutting/{REEL}"
    with site.signed_in("QE-1", ENGINEER) as one, site.signed_in("QM-1", MANAGER) as manager:
        decide = form_of(one, PAGE, "decide")
        assert one.fill(decide, deed="decide scrap", reason="thin").status_code == 200
        assert names(manager.get("/").text, "plan") == [REEL]
        accept = form_of(one, where, "accept")
        stale = Form(accept.action, accept.fields | {"plan": ["0" * 64]})
        lost = one.fill(stale, reason="as planned")
        assert lost.status_code == 409 and "its cutting plan is another one now" in lost.text
        done = one.fill(accept, reason="as planned")
        assert (
            done.status_code == 200
            and done.url.path == where
            and "was accepted by quality engineer" in done.text
        )
        assert names(manager.get("/").text, "plan") == []
        early, cut = form_of(manager, where, "cut"), form_of(one, where, "cut")
        wrong = one.fill(cut, **{"to-1": "much"})
        assert wrong.status_code == 403 and "Give its number, and its places as figures" in wrong.text
        done = one.fill(cut)
        assert done.status_code == 200, done.text[done.text.index("<main") :][:3000]
        late = manager.fill(early)
        assert late.status_code == 409 and "it is not as you saw it any more" in late.text
        with open_to_read(site.store) as store:
            now = standing_of(store, REEL)
        assert {length.use for length in now.lengths} >= {"package", "scrap"}
        assert now.where == "cut"
        source = next(length for length in now.lengths if length.use == "package")
        rewind = next(form for form in one.forms(where) if form.fields.get("source") == [source.length_id])
        assert one.fill(rewind, onto="P-1").status_code == 200
        with open_to_read(site.store) as store:
            assert "P-1" in {length.length_id for length in standing_of(store, REEL).lengths}
    kept = entries(site, "cutting plan")
    assert len(kept) == 1 and kept[0]["steps"] and (kept[0]["role"], kept[0]["person"]) == (ENGINEER, "QE-1")
    assert run(["verify", "--store", str(site.store)]) == 0


def test_the_command_line_does_the_same(
    site: Site, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    store = ["--store", str(site.store)]
    who = ["--role", ENGINEER, "--person", "QE-1", *store]
    assert run(["note", FINDING, *store]) == 0
    assert capsys.readouterr().out == f"Nobody added anything to {FINDING}.\n"
    assert run(["note", FINDING, "--reason", "look at the die", "--for", PROCESS, *who]) == 0
    photo = tmp_path / "flange.png"
    photo.write_bytes(png())
    assert run(["note", FINDING, "--reason", "the flange", "--attach", str(photo), *who]) == 0
    given = ["--to-role", MANAGER, "--due", "2026-03-05T10:00"]
    assert run(["note", FINDING, "--reason", "your turn", *given, *who]) == 0
    capsys.readouterr()
    assert run(["note", FINDING, "--json", *store]) == 0
    told = json.loads(capsys.readouterr().out)
    assert [one["kind"] for one in told] == ["comment", "evidence", "assignment"]
    assert told[2]["due_utc"] == datetime(2026, 3, 5, 16, tzinfo=UTC).isoformat()[:19]
    # Given again after it was killed: it is put on file once.
    assert run(["note", FINDING, "--reason", "your turn", *given, *who]) == 0
    assert len(entries(site, "assignment")) == 1
    assert run(["note", FINDING, "--reason", "x", "--for", PROCESS, "--to-role", MANAGER, *who]) == 2
    assert run(["note", "R-9999", "--reason", "x", *who]) == 2
    capsys.readouterr()
    for wrong, said in (
        (["--reason", "x", "--to-person", "PE-1", *who], "--to-person goes with a finding that is given"),
        (["--reason", "x", "--due", "2026-03-05", *who], "--due goes with a finding that is given"),
        (["--attach", str(photo), *store], "the reason is missing"),
        (["--reason", "x", "--to-role", MANAGER, "--due", "9999-12-31T23:59", *who], "is no day and no time"),
        (["--reason", "x", "--to-role", MANAGER, "--due", "0001-01-01T00:00", *who], "the year 1 is no time"),
    ):
        assert run(["note", FINDING, *wrong]) == 2
        assert said in capsys.readouterr().err
    assert [len(entries(site, kind)) for kind in ("comment", "evidence", "assignment")] == [1, 1, 1]
    assert run(["cut", REEL, "--accept", "--reason", "as planned", *who]) == 0
    assert len(entries(site, "cutting plan")) == 1
    assert run(["cut", REEL, "--accept", *store]) == 2
