"""Commands on what becomes of wire, as a person would type them: answers, JSON, refusals, exit codes."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from pipeline.cli.app import run
from tests.acts.decided_store import copied

ISSUER = """
[issuer]
name = "Demo plant"
address = "1 Example Road"
place = "Exampleton"
signatory = "A. Person"
function = "quality manager"
[[documents]]
name = "UL 44"
edition = "as adopted"
[naming]
base = "https://id.example.com"
"""


SENT = "Quality manager sent it all the same: the customer takes it as it is."


class Shell:
    """Commands on one store, in this process."""

    def __init__(self, store: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.store = store
        self.capsys = capsys

    def __call__(self, *words: str) -> tuple[int, str, str]:
        code = run([*words, "--store", str(self.store)])
        shown = self.capsys.readouterr()
        assert "Traceback" not in shown.err
        return code, shown.out, shown.err

    def plain(self, *words: str) -> tuple[int, str, str]:
        """A command that needs no store."""
        code = run(list(words))
        shown = self.capsys.readouterr()
        return code, shown.out, shown.err

    def answer(self, *words: str) -> Any:
        code, out, err = self(*words, "--json")
        assert code == 0, err
        return json.loads(out)


@pytest.fixture
def shell(judged_store: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Shell:
    return Shell(copied(judged_store, tmp_path / "store"), capsys)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("cut", "L1-0412-02", "--role", "quality engineer"), "--role was given and nothing is done. Give --accept"),
        (("cut", "L1-0412-02", "--reason", "a", "--person", "b"), "--reason and --person were given"),
        (("disposition", "R-0412-F02", "--evidence", "T-1"), "--evidence was given and nothing is done. Give the act"),
    ],
)  # fmt: skip
def test_words_of_an_act_without_the_act_are_refused(shell: Shell, words: tuple[str, ...], told: str) -> None:
    code, out, err = shell(*words)
    assert (code, out) == (2, "") and told in err


def test_a_decision_from_look_to_release(shell: Shell) -> None:
    code, out, _ = shell("disposition", "R-0412-F02")
    assert code == 0
    lines = out.splitlines()
    assert lines[0].startswith("Finding R-0412-F02: open. Thinnest wall ")
    assert lines[1].startswith("  Proposed, for a person to take or leave: Cut the length out")
    assert lines[2] == "  Acts so far: 0 (give --seen 0 when you act on this)."
    who = ("--role", "quality engineer", "--person", "QE-1", "--reason", "thin on a slice")
    code, out, _ = shell("disposition", "R-0412-F02", "decide", "scrap", *who)
    assert code == 0
    assert out.splitlines()[1] == "Complete it with --evidence once it is done and checked."
    code, _, err = shell("disposition", "R-0412-F02", "complete", *who)
    assert (code, err) == (
        2,
        "R-0412-F02: scrap is said to be done without evidence. Name the test, sample or cut record that shows it.\n",
    )
    assert shell("disposition", "R-0412-F02", "complete", "--evidence", "cut record 12", *who)[0] == 0
    code, out, _ = shell("disposition", "L1-0412-03", "decide", "release", *who)
    assert (
        out.splitlines()[1] == "The plant's rule asks for a second person: let another confirm or decline it."
    )
    done = shell.answer(
        "disposition",
        "L1-0412-03",
        "confirm",
        "--role",
        "quality manager",
        "--person",
        "QM-1",
        "--reason",
        "ok",
    )
    assert done["state"] == {"standing": "closed", "disposition": "release", "version": 2}
    shown = shell.answer("disposition", "L1-0412-03")
    assert [one["kind"] for one in shown["acts"]] == ["decide", "confirm"]
    assert shown["holding"]["R-0412-F02"]["standing"] == "closed"
    assert shell("verify")[0] == 0


def test_what_a_decision_lacks_is_told(shell: Shell) -> None:
    code, _, err = shell("disposition", "R-0412-F02", "decide", "scrap")
    assert (code, err) == (
        2,
        (
            "disposition R-0412-F02: the role of the person who acts is missing. Give --role.\n"
            "disposition R-0412-F02: the reason is missing. Give --reason.\n"
        ),
    )
    code, _, err = shell("disposition", "R-0412-F02", "burn")
    assert code == 2
    assert "'burn' is not one of 'decide', 'confirm', 'decline', 'complete', 'reopen'" in err
    code, _, err = shell("disposition", "R-0412-F99")
    assert code == 2
    assert err.startswith(
        "R-0412-F99: no finding, reel or cut length of this number is on file. The nearest on file: "
    )


def test_cut_and_ship_and_contain(shell: Shell, tmp_path: Path) -> None:
    code, out, _ = shell("cut", "L1-0412-02")
    assert code == 0
    assert "Run from 0.0 ft to 2,500.0 ft onto a package of 2,500.0 ft, and cut." in out
    assert "\nCaution: The plan is a proposal; the responsible person decides." in out
    plan = shell.answer("cut", "L1-0412-02")
    assert [one["finding_id"] for one in plan["must_go"]] == ["R-0412-F01"]
    assert plan["value"] >= plan["value_longest_first"] > 0
    listed = tmp_path / "shipped.csv"
    listed.write_text("reel,length,from_ft,to_ft,shipment,to\nL1-0412-02,A,0,2500,S-1,a customer\n")
    clerk = ("ship", str(listed), "--role", "shipping clerk")
    code, out, err = shell(*clerk)
    assert (code, out) == (2, "")
    assert err.startswith("shipment S-1: A may not leave: ")
    assert "Nothing of the list was put on file." in err
    assert shell.answer("reel", "L1-0412-02")["cut_lengths"] == []
    why = ("--override-reason", "the customer takes it as it is")
    assert shell(*clerk, "--override-role", "quality engineer", *why)[2] == (
        "A: by the plant's sheet the role 'quality engineer' may not ship wire that is held. It is for quality "
        "manager.\n"
    )
    code, out, _ = shell(*clerk, "--override-role", "quality manager", *why)
    assert code == 1  # it left although nobody had released it
    assert out.splitlines() == [
        "1 cut length and 1 shipped item put on file.",
        "ALARM: A left and nobody had released it: shipped in S-1 to a customer. " + SENT,
    ]
    assert shell("reel", "L1-0412-02")[1].startswith(
        "ALARM: A left and nobody had released it: shipped in S-1 to a customer."
    )
    code, out, _ = shell("contain", "reel", "L1-0412-02", "--from", "2,400ft", "--to", "2600ft")
    assert code == 0
    assert out.splitlines()[0] == (
        "ALARM: A left and nobody had released it: shipped in S-1 to a customer. " + SENT
    )
    assert out.splitlines()[1] == (
        "Reel L1-0412-02, 2,400.0 to 2,600.0 ft from the outer end: 2 reels and cut lengths touched, "
        "100.0 ft in house, 100.0 ft shipped."
    )
    assert "Shipment S-1 went to a customer." in out
    answer = shell.answer(
        "contain", "gauge", "L1-WG", "--from", "2026-03-04", "--role", "engineer", "--reason", "drifted"
    )
    # Midnight at the plant, 6:00 UTC: the night's last three runs.
    assert answer["runs"] == ["R-0419", "R-0420", "R-0421"]
    assert answer["containment_id"].startswith("C-")
    for words, sentence in (
        (("run", "R-0412", "--from", "5"), "--from: '5' is no length with a unit. "),
        (("run", "R-0412", "--from", "9m", "--to", "1m"), "--to: '1m' lies before '9m'. "),
        (("gauge", "L1-WG", "--from", "monday"), "--from: 'monday' is no day and no time. "),
        (("gauge", "L1-WG", "--role", "engineer"), "containment of gauge L1-WG: the reason is missing. "),
    ):
        code, _, err = shell("contain", *words)
        assert code == 2
        assert err.startswith(sentence)


def test_a_lot_is_handed_over_and_verified(shell: Shell, tmp_path: Path) -> None:
    folder = tmp_path / "lot-PVC-7741"
    code, out, _ = shell("lot", "PVC-7741", "--export", str(folder), "--role", "quality engineer")
    assert code == 0
    assert out.splitlines()[0].startswith(f"Written: {folder} and {folder}.zip, ")
    assert shell("verify", str(folder))[0] == shell("verify", f"{folder}.zip")[0] == 0
    events = folder / "data" / "events.csv"
    events.write_bytes(events.read_bytes().replace(b"R-0414", b"R-0415", 1))
    code, out, _ = shell("verify", str(folder))
    assert (code, out) == (1, "data/events.csv was changed\n")
    assert shell("lot", "PVC-7741", "--export", str(tmp_path / "again"))[0::2] == (
        2,
        "lot PVC-7741 --export: the role of the person who acts is missing. Give --role.\n",
    )
    assert "export  " in shell("journal", "lot PVC-7741")[1]


def test_an_auditor_proves_one_reel_and_signs_the_journal(shell: Shell, tmp_path: Path) -> None:
    key, proof = str(tmp_path / "quality.key"), str(tmp_path / "proof")
    code, _, err = shell.plain("key", str(shell.store / "readings" / "quality.key"))
    assert (code, err.partition(": ")[2]) == (
        2,
        (
            f"this lies inside the store {shell.store}. A key kept with what it signs proves nothing; give a place "
            "outside every store.\n"
        ),
    )
    code, out, _ = shell.plain("key", key)
    assert code == 0
    public = out.splitlines()[1].removeprefix("Public key: ")
    before = shell.answer("journal")
    root = f"{before['size']}:{before['root']}"
    assert shell("journal", "--sign", key)[2] == (
        "journal --sign: the role of the person who acts is missing. Give --role.\n"
    )
    assert shell.answer("journal", "--sign", key, "--role", "quality manager")["key"] == public
    assert shell("verify", "--root", root, "--key", f"{key}.pub")[0] == 0
    words = ("prove", "L1-0412-02", "--out", proof, "--since", root, "--key", key, "--role", "auditor")
    code, out, err = shell(*words)
    assert code == 0, err
    assert "Put into the journal as entry" in out
    for path in (proof, f"{proof}.zip"):
        code, out, _ = shell("verify", path, "--root", root, "--key", f"{key}.pub")
        assert (code, out) == (
            0,
            (
                "Whole: every entry, row and file is as it was written. It fits what was printed on the certificate. "
                "It was signed with the key given. This does not show that it was true then.\n"
            ),
        )
    code, out, _ = shell("verify", proof, "--root", f"{before['size']}:{'0' * 64}")
    assert (code, out) == (
        1,
        f"the first {before['size']} entries of its journal do not have the root that was given\n",
    )
    code, _, err = shell("verify", "--root", "120")
    assert (code, err.splitlines()[0][:46]) == (2, "'120': this is no journal size and root. Give ")
    shown = shell.answer("journal", "L1-0412-02")
    assert [one["kind"] for one in shown["entries"]] == ["reel", "export"]
    assert shell.answer("journal", "--day", "2020-01-01")["size"] == 0


def test_a_declaration_is_checked_refused_and_drafted(shell: Shell, tmp_path: Path) -> None:
    issuer = tmp_path / "issuer.toml"
    issuer.write_text(ISSUER)
    words = ("declare", "L2-0511-01", "--issuer", str(issuer))
    code, out, err = shell(*words, "--check")
    assert (code, out) == (2, "")
    assert err.endswith(
        "reel L2-0511-01: nobody has released it. Have it released by the person responsible.\n"
    )
    code, _, err = shell(*words)
    assert (code, err) == (
        2,
        "declare: the role of the person who drafts it is missing. Give --role, or --check.\n",
    )
    for act, role in (("decide", "quality engineer"), ("confirm", "quality manager")):
        shell(
            "disposition",
            "L2-0511-01",
            act,
            *(["release"] if act == "decide" else []),
            *("--role", role, "--person", role, "--reason", "seen"),
        )
    pdf, events = tmp_path / "d.pdf", tmp_path / "e.json"
    code, out, err = shell(*words, "--role", "quality manager", "--pdf", str(pdf), "--epcis", str(events))
    assert code == 0, err
    assert out.startswith("Declaration of conformity, number:\n  ")
    assert "A draft until the person named has signed it." in out
    assert pdf.read_bytes().startswith(b"%PDF-")
    assert json.loads(events.read_text())["schemaVersion"] == "2.0"
    code, _, err = shell(*words, "--check", "--pdf", str(pdf))
    assert (code, err) == (
        2,
        f"{pdf}: there is a file of that name already. Name another file, or move it.\n",
    )
    assert shell.answer(*words, "--check")["journal_entry"] is None
    assert shell("verify")[0] == 0


def test_a_complaint_with_a_footage_mark(shell: Shell) -> None:
    code, out, _ = shell("reel", "L1-0412-02", "--at", "4520ft")
    assert code == 0
    assert "Findings on this wire: R-0412-F01." in out
    assert out.splitlines()[-1] == (
        "Caution: This program decides nothing about wire in service and has not seen the wire."
    )
    by_metre = shell.answer("reel", "L1-0412-02", "--at", f"{4520 * 0.3048}m")
    assert by_metre["findings"]["here"] == ["R-0412-F01"]
    assert by_metre["wall_readings"]
    falling = shell.answer(
        "reel", "L1-0412-02", "--at", "5480ft", "--outer-mark", "10000", "--falling", "--reach", "2m"
    )
    assert falling["wire_m"] == pytest.approx(by_metre["wire_m"])
    assert len(falling["wall_readings"]) < len(by_metre["wall_readings"])
    code, _, err = shell("reel", "L1-0412-02", "--at", "12")
    assert (code, err) == (
        2,
        "--at: '12' is no length with a unit. Write it like 123ft or 37.5m, without a minus.\n",
    )
