"""Every command that takes a place takes it from either end of the reel, and refuses in the plant's units.

The sample plant counts in feet and the reel holds 7,500 ft: a place from one end is 7,500 ft less that from the other.
"""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from pipeline.cli.app import run
from pipeline.record.holds_on_file import holds_in_force
from pipeline.record.lengths import lengths_of_reel
from pipeline.record.samples_on_file import samples_of_run
from pipeline.store.database import open_to_read
from pipeline.units import m_from_foot
from tests.acts.decided_store import copied

REEL = "L1-0412-02"
BY = ("--role", "line operator", "--reason", "scuffed")


@pytest.fixture
def folder(judged_store: Path, tmp_path: Path) -> Path:
    return copied(judged_store, tmp_path / "store")


def answer(capsys: pytest.CaptureFixture[str], folder: Path, *words: str) -> Any:
    assert run([*words, "--store", str(folder), "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def refusal(capsys: pytest.CaptureFixture[str], folder: Path, *words: str) -> str:
    assert run([*words, "--store", str(folder)]) == 2
    return capsys.readouterr().err


def test_a_hold_from_the_core_end_lies_where_it_would_from_the_outer_end(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run(["hold", REEL, "--from", "300ft", "--to", "340ft", *BY, "--store", str(folder)])
    run(["hold", REEL, "--from", "7160ft", "--to", "7,200ft", "--from-core", *BY, "--store", str(folder)])
    with open_to_read(folder) as store:
        one, other = (hold for hold in holds_in_force(store) if hold.subject == REEL)
    assert (one.from_outer_m, one.to_outer_m) == pytest.approx((m_from_foot(300), m_from_foot(340)))
    assert (other.from_outer_m, other.to_outer_m) == pytest.approx((one.from_outer_m, one.to_outer_m))
    capsys.readouterr()
    assert refusal(capsys, folder, "hold", REEL, "--from-core", *BY) == (
        "--from-core: no stretch was given. Give --from and --to, or leave it out.\n"
    )
    assert refusal(capsys, folder, "hold", REEL, "--from", "7600ft", "--to", "7700ft", *BY) == (
        f"{REEL}: 7,600.0 ft to 7,700.0 ft from the outer end is no stretch of its 7,500.0 ft. Places count from the "
        "end that comes off first; give the start before the end.\n"
    )


def test_containment_asks_from_either_end(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    def touched(*words: str) -> Any:
        (one,) = answer(capsys, folder, "contain", "reel", REEL, *words)["touched"]
        return one["spans_from_outer_end_m"]

    outer = touched("--from", "300ft", "--to", "340ft")
    assert touched("--from", "7160ft", "--to", "7200ft", "--from-core") == [pytest.approx(outer[0])]
    # An end that is left open stays open on the other side.
    assert touched("--from", "7160ft", "--from-core") == [pytest.approx([0.0, m_from_foot(340)])]
    assert refusal(capsys, folder, "contain", "lot", "PVC-7740", "--from-core") == (
        "--from-core: a lot has no core end. Give it for a reel or a length, or leave it out.\n"
    )
    assert refusal(capsys, folder, "contain", "reel", REEL, "--from-core") == (
        "--from-core: no place was given. Give --from or --to, or leave it out.\n"
    )


def test_samples_are_handed_in_from_either_end(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table = tmp_path / "of_today.csv"
    table.write_text(f"reel,at_ft,quantity,value_mil,sd_mil\n{REEL},7200,thinnest_wall_mm,15.2,0.1\n")
    pairs = answer(capsys, folder, "samples", str(table), "--from-core")[0]["pairs"]
    assert pairs[0]["from_outer_m"] == pytest.approx(m_from_foot(300))
    near = answer(capsys, folder, "samples", str(table), "--from-core", "--reach", "10ft")[0]["pairs"][0]
    assert near["readings"] > pairs[0]["readings"]
    run(["samples", str(table), "--from-core", "--role", "laboratory", "--store", str(folder)])
    with open_to_read(folder) as store:
        (kept,) = [row for row in samples_of_run(store, "R-0412") if row["source"].startswith("of_today.csv")]
    assert kept["from_outer_m"] == pytest.approx(m_from_foot(300))
    capsys.readouterr()
    table.write_text(f"reel,at_ft,quantity,value_mil\n{REEL},7600,thinnest_wall_mm,15.2\n")
    assert refusal(capsys, folder, "samples", str(table), "--from-core") == (
        f"{table}:2: 7,600.0 ft from the core end of reel {REEL} is not on it. It holds 7,500.0 ft; correct the "
        "place or its unit.\n"
    )
    assert refusal(capsys, folder, "samples", str(table), "--reach", "1") == (
        "--reach: '1' is no length with a unit. Write it like 123ft or 37.5m, without a minus.\n"
    )


def test_cuts_are_told_from_either_end(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    told = tmp_path / "cuts.toml"
    told.write_text(
        f'[[cuts]]\nreel = "{REEL}"\nlength = "A"\nfrom_ft = 7000\nto_ft = 7500\ncounted_from = "core end"\n'
    )
    assert run(["ship", str(told), "--role", "clerk", "--store", str(folder)]) == 0
    table = tmp_path / "cuts.csv"
    table.write_text(f"reel,length,from_ft,to_ft,use,counted_from\n{REEL},B,6500,7000,stock,core end\n")
    assert run(["ship", str(table), "--role", "clerk", "--store", str(folder)]) == 0
    with open_to_read(folder) as store:
        laid = {row["length_id"]: row for row in lengths_of_reel(store, REEL)}
    for name, start, end in (("A", 0.0, 500.0), ("B", 500.0, 1000.0)):
        assert (laid[name]["from_outer_m"], laid[name]["to_outer_m"]) == pytest.approx(
            (m_from_foot(start), m_from_foot(end)), abs=1e-6
        )
    capsys.readouterr()
    told.write_text(told.read_text().replace('"A"', '"C"').replace("7500", "7600"))
    assert refusal(capsys, folder, "ship", str(told), "--role", "clerk") == (
        f"length C: it ends at 7,600.0 ft from the core end and reel {REEL} holds 7,500.0 ft. Check the places and "
        "their unit.\n"
    )


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("from_ft = 100\nto_ft = 400", "it overlaps length A, 0.0 ft to 500.0 ft of reel"),
        ("from_ft = 7000\nto_ft = 9000", "it ends at 9,000.0 ft and reel L1-0412-02 holds 7,500.0 ft"),
    ],
)
def test_ship_refuses_in_the_plants_units(
    folder: Path, tmp_path: Path, text: str, sentence: str, capsys: pytest.CaptureFixture[str]
) -> None:
    told = tmp_path / "cuts.toml"
    told.write_text(f'[[cuts]]\nreel = "{REEL}"\nlength = "A"\nfrom_ft = 0\nto_ft = 500\n')
    assert run(["ship", str(told), "--role", "clerk", "--store", str(folder)]) == 0
    told.write_text(f'[[cuts]]\nreel = "{REEL}"\nlength = "B"\n{text}\n')
    capsys.readouterr()
    said = refusal(capsys, folder, "ship", str(told), "--role", "clerk")
    assert sentence in said
    # No figure is left in the other unit.
    assert not re.search(r"\d m\b", said)


def test_the_cutting_plan_is_refused_in_the_plants_units(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    told = tmp_path / "cuts.toml"
    told.write_text(f'[[cuts]]\nreel = "{REEL}"\nlength = "A"\nfrom_ft = 1000\nto_ft = 1500\n')
    assert run(["ship", str(told), "--role", "clerk", "--store", str(folder)]) == 0
    capsys.readouterr()
    assert refusal(capsys, folder, "cut", REEL) == (
        f"reel {REEL}: length A was cut at 1,000.0 ft and nothing is on file of the wire from 0.0 ft to there. Tell "
        "that length with 'reelproof ship', as stock or scrap, then plan again.\n"
    )


STRETCH = r"[Oo]ver ([\d,.]+) ft from ([\d,.]+) to ([\d,.]+) ft"


@pytest.mark.parametrize("command", ["reel", "lot", "disposition"])
def test_a_finding_has_one_stretch_in_every_sentence_and_table(
    command: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Seen: 13.5 ft from 5,134.2 to 5,147.3 ft in a reason, 5,134.1 to 5,147.4 ft in the table below it.

    A length told is that between its two ends, as far as tenths of a foot show it.
    """
    run(["reel", REEL, "--store", str(folder)])
    (row,) = (one for one in capsys.readouterr().out.splitlines() if one.startswith("R-0412-F01 "))
    wanted = row.split()[2:4]
    asked = {"reel": REEL, "lot": "PVC-7740", "disposition": "R-0412-F01"}[command]
    run([command, asked, "--store", str(folder)])
    # A column of text breaks its lines where it is full.
    said = re.findall(STRETCH, " ".join(capsys.readouterr().out.split()))
    assert [list(one[1:]) for one in said if one[1] == wanted[0]] and said
    for told, start, end in said:
        length, low, high = (float(one.replace(",", "")) for one in (told, start, end))
        assert length == pytest.approx(high - low, abs=0.1001)
    if command != "lot":
        assert {one[1:] for one in said} == {tuple(wanted)}


def test_a_sample_lies_where_it_was_typed(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Seen: a sample handed in at 10 ft was told to lie at 9.8 ft."""
    table = folder.parent / "lab.csv"
    head = "reel,at_ft,quantity,value_mil,sd_mil,measured_by,instrument"
    table.write_text(f"{head}\n{REEL},10,covering_mm,3.5,0.05,technician,microscope\n", encoding="utf-8")
    run(["samples", str(table), "--role", "quality engineer", "--store", str(folder)])
    said = capsys.readouterr().out
    assert f"Reel {REEL}: held by samples." in said and "10.0 ft from its outer end" in said
