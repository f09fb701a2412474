"""Cuts and shipments put on file: told once, checked against the reel, the journal and the decisions."""

from __future__ import annotations

import json
from pathlib import Path

import duckdb
import pytest

from pipeline.acts.deciding import act_on
from pipeline.acts.shipping import Shipped, put_shipping_on_file
from pipeline.errors import ReelproofError, SheetError
from pipeline.messages import message_of
from pipeline.proofs.changes import changes_in
from pipeline.record.left_on_file import Override
from pipeline.record.shipping_list import read_shipping_list
from pipeline.record.standing import standing_of
from pipeline.store.database import Store, open_to_write
from pipeline.wording.say import plain
from tests.acts.decided_store import ENGINEER, MANAGER, SENT, copied

TOML = """
[[cuts]]
reel = "L1-0412-02"
length = "A-1"
from_ft = 0
to_ft = 2500
at = 2026-03-05T10:00:00-06:00

[[cuts]]
reel = "L1-0412-02"
length = "A-2"
from_m = 762.0
to_m = 1524.0
use = "stock"

[[shipments]]
id = "S-1001"
to = "a customer"
at = 2026-03-05T16:00:00-06:00
contents = ["A-1", "L1-0411-01"]
"""
WHY = "Quality manager sent it all the same: the customer takes it as it is."
CSV = """reel,length,from_ft,to_ft,from_m,to_m,use,cut_at,shipment,to,shipped_at
L1-0412-02,A-1,0,2500,,,,2026-03-05T10:00:00-06:00,S-1001,a customer,2026-03-05T16:00:00-06:00
L1-0412-02,A-2,,,762,1524,stock,,,,
L1-0411-01,,,,,,,,S-1001,a customer,2026-03-05T16:00:00-06:00
"""


@pytest.fixture
def store(judged_store: Path, tmp_path: Path) -> Store:  # type: ignore[misc]
    with open_to_write(copied(judged_store, tmp_path / "store")) as opened:
        yield opened


def put(
    store: Store, tmp_path: Path, text: str, name: str = "shipped.toml", override: Override | None = None
) -> Shipped:
    path = tmp_path / name
    path.write_text(text)
    return put_shipping_on_file(store, read_shipping_list(path), "shipping clerk", override)


def test_toml_and_csv_say_the_same(tmp_path: Path) -> None:
    for name, text in (("a.toml", TOML), ("a.csv", CSV)):
        (tmp_path / name).write_text(text)
    assert read_shipping_list(tmp_path / "a.toml") == read_shipping_list(tmp_path / "a.csv")


def test_what_is_told_is_on_file_once_and_in_the_journal(store: Store, tmp_path: Path) -> None:
    first = put(store, tmp_path, TOML, override=SENT)
    assert (first.cuts, first.items, first.known) == (("A-1", "A-2"), ("A-1", "L1-0411-01"), ())
    again = put(store, tmp_path, CSV, "again.csv")
    assert (again.cuts, again.items) == ((), ())
    assert set(again.known) == {"A-1", "A-2", "L1-0411-01"}
    cuts = store.ask("questions/cuts")
    assert [(row["length_id"], round(row["to_outer_m"], 3), row["use"], row["shipment"]) for row in cuts] == [
        ("A-1", 762.0, "package", "S-1001"),
        ("A-2", 1524.0, "stock", None),
    ]
    kinds = [row["kind"] for row in store.ask("questions/journal")][-2:]
    assert kinds == ["cut", "shipment"]
    assert changes_in(store) == ()


def test_what_speaks_against_it_is_told(store: Store, tmp_path: Path) -> None:
    told = tuple(map(plain, put(store, tmp_path, TOML, override=SENT).told))
    assert told == (
        "Length A-2 (stock) holds wire of finding R-0412-F01, which is open: 606.2 to 619.6 m along it.",
        f"A-1 left and nobody had released it: shipped in S-1001 to a customer on 2026-03-05. {WHY}",
        f"L1-0411-01 left and nobody had released it: shipped in S-1001 to a customer on 2026-03-05. {WHY}",
    )
    act_on(store, "L1-0411-01", "decide", ENGINEER, "evidence seen", "release")
    act_on(store, "L1-0411-01", "confirm", MANAGER, "evidence seen")
    assert "L1-0411-01" not in " ".join(map(plain, put(store, tmp_path, TOML).told))
    now = standing_of(store, "L1-0411-01")
    assert (now.code, now.left_while_held) == ("shipped", False)
    assert plain(now.headline).endswith(WHY)  # that it left before its release stays told


CUT = '[[cuts]]\nreel = "L1-0412-01"\nlength = "{}"\nfrom_ft = {}\nto_ft = {}\n'
REFUSED = [
    (
        CUT.format("A-1", 0, 500) + CUT.format("A-2", 400, 900),
        (
            "length A-2: it overlaps length A-1, 0.0 ft to 500.0 ft of reel L1-0412-01. One wire cannot be in two "
            "lengths: correct the places."
        ),
    ),
    (
        CUT.format("A-1", 7000, 8000),
        (
            "length A-1: it ends at 8,000.0 ft and reel L1-0412-01 holds 7,500.0 ft. Check the places and their unit; "
            "they count from the end that comes off first."
        ),
    ),
    (
        CUT.format("L1-0412-02", 0, 500),
        "length L1-0412-02: a reel on file has this number. Give the length a number of its own.",
    ),
    (
        CUT.format("A-1", 0, 500) + CUT.format("A-1", 500, 900),
        "length A-1: it stands in the list more than once. Give each length its own number.",
    ),
    (
        '[[cuts]]\nreel = "L9"\nlength = "A-1"\nfrom_m = 0\nto_m = 5\n',
        "length A-1: reel L9 is not on file. Check its number, or load the run it was made in.",
    ),
    (
        '[[shipments]]\nid = "S-1"\nto = "x"\ncontents = ["L9"]\n',
        (
            "shipment S-1: L9 is no cut length and no reel on file. Name cut lengths, or reels that were not cut, each "
            "once."
        ),
    ),
    (
        CUT.format("A-1", 0, 500) + '[[shipments]]\nid = "S-1"\nto = "x"\ncontents = ["L1-0412-01"]\n',
        "shipment S-1: reel L1-0412-01 was cut. Name cut lengths, or reels that were not cut, each once.",
    ),
    (
        CUT.format("A-1", 0, 500)
        + 'use = "scrap"\n[[shipments]]\nid = "S-1"\nto = "x"\ncontents = ["A-1"]\n',
        "shipment S-1: length A-1 is scrap. Name cut lengths, or reels that were not cut, each once.",
    ),
    (
        (
            '[[shipments]]\nid = "S-1"\nto = "x"\ncontents = ["L1-0411-01"]\n'
            '[[shipments]]\nid = "S-2"\nto = "x"\ncontents = ["L1-0411-01"]\n'
        ),
        (
            "shipment S-2: L1-0411-01 left in shipment S-1 already. Name cut lengths, or reels that were not cut, each "
            "once."
        ),
    ),
]


@pytest.mark.parametrize(("text", "sentence"), REFUSED, ids=[one[1][:40] for one in REFUSED])
def test_what_contradicts_the_file_is_refused_as_a_whole(
    store: Store, tmp_path: Path, text: str, sentence: str
) -> None:
    with pytest.raises(ReelproofError) as told:
        put(store, tmp_path, text)
    assert str(told.value) == sentence
    assert store.ask("questions/cuts") == []
    assert store.ask("questions/shipments") == []


def test_a_length_on_file_is_not_told_anew(store: Store, tmp_path: Path) -> None:
    put(store, tmp_path, CUT.format("A-1", 0, 500))
    with pytest.raises(ReelproofError) as told:
        put(store, tmp_path, CUT.format("A-1", 0, 600))
    assert str(told.value) == (
        "length A-1: it is on file as package from 0.0 ft to 500.0 ft of reel L1-0412-01. What is on file stays; give "
        "the new length a number of its own."
    )


SHEETS = [
    (
        "a.toml",
        "",
        "{}: no cut, no rewinding and no shipment stands in it. Add [[cuts]], [[rewinds]] or [[shipments]].",
    ),
    (
        "a.toml",
        '[[cuts]]\nreel = "R"\nlength = "A"\nfrom_ft = 0\nto_m = 5\n',
        (
            "{}: cuts[1]: length A: give 'from_ft' and 'to_ft', or 'from_m' and 'to_m', and not both. Mend it and try "
            "again."
        ),
    ),
    (
        "a.toml",
        '[[cuts]]\nreel = "R"\nlength = "A"\nfrom_ft = 5\nto_ft = 5\n',
        "{}: cuts[1]: length A ends where it starts or before. Mend it and try again.",
    ),
    (
        "a.toml",
        '[[cuts]]\nreel = "R"\nlength = "A"\nfrom_ft = 0\nto_ft = 5\nat = 2026-03-05T10:00:00\n',
        (
            "{}: cuts[1]: length A: the time has no offset from UTC; write it like 2026-03-05T10:00:00-06:00. Mend it "
            "and try again."
        ),
    ),
    ("a.csv", "reel,lenght\nR,A\n", "{}:1: column 'lenght' is not known. It may be reel, length, "),
    (
        "a.csv",
        "reel,length,from_ft,to_ft\nR,A,0,many\n",
        "{}:2: to_ft: found 'many'. Write a number.",
    ),
    ("a.csv", "reel,length,from_ft,to_ft\n,A,0,5\n", "{}:2: reel: this cell is empty. Fill it in."),
    (
        "a.csv",
        "reel,shipment,to\nR,S-1,here\nQ,S-1,there\n",
        (
            "{}:3: shipment S-1 goes to 'there' here and to 'here' in line 2. A shipment has one destination and one "
            "time; correct the line."
        ),
    ),
]


@pytest.mark.parametrize(("name", "text", "sentence"), SHEETS)
def test_a_list_that_is_not_whole_is_told(tmp_path: Path, name: str, text: str, sentence: str) -> None:
    path = tmp_path / name
    path.write_text(text)
    with pytest.raises(SheetError) as told:
        read_shipping_list(path)
    assert str(told.value).startswith(sentence.format(path))


@pytest.mark.parametrize(
    ("change", "table"),
    [
        ("UPDATE placed.cut SET to_outer_m = to_outer_m + 1 WHERE length_id = 'A-1'", "placed.cut"),
        ("DELETE FROM placed.cut WHERE length_id = 'A-2'", "placed.cut"),
        ("UPDATE journal.shipment SET to_place = 'somebody else'", "journal.shipment"),
        ("DELETE FROM journal.shipment WHERE item = 'A-1'", "journal.shipment"),
    ],
)
def test_a_changed_cut_or_shipment_is_found(store: Store, tmp_path: Path, change: str, table: str) -> None:
    put(store, tmp_path, TOML, override=SENT)
    store.connection.execute(change)
    (told,) = changes_in(store)
    assert told.endswith(f"rows of {table} are not as they were written.")
    assert isinstance(store.connection, duckdb.DuckDBPyConnection)


HELD = """
[[cuts]]
reel = "L1-0412-02"
length = "A-1"
from_ft = 0
to_ft = 2500
[[shipments]]
id = "S-1"
to = "a customer"
contents = ["L1-0412-03"]
"""


def test_a_held_reel_is_refused_with_its_whole_list_and_nothing_is_on_file(
    store: Store, tmp_path: Path
) -> None:
    before = len(store.ask("questions/journal"))
    with pytest.raises(ReelproofError) as told:
        put(store, tmp_path, HELD)
    assert str(told.value).startswith(
        "shipment S-1: L1-0412-03 may not leave: Held, may not leave. Thinnest wall "
    )
    assert (store.ask("questions/cuts"), store.ask("questions/shipments")) == ([], [])
    assert len(store.ask("questions/journal")) == before


REFUSED_OVERRIDES = {
    "by the plant's sheet the role 'night janitor' may not ship wire that is held. It is for quality manager.": (
        Override("night janitor", "J-1", "in a hurry")
    ),
    "override: the role or the reason is missing. Give --override-role and --override-reason.": (
        Override("quality manager", "QM-1", " ")
    ),
}


@pytest.mark.parametrize("sentence", REFUSED_OVERRIDES)
def test_only_a_listed_role_sends_held_wire_and_with_a_reason(
    store: Store, tmp_path: Path, sentence: str
) -> None:
    with pytest.raises(ReelproofError) as told:
        put(store, tmp_path, HELD, override=REFUSED_OVERRIDES[sentence])
    assert sentence in str(told.value)
    assert store.ask("questions/shipments") == []


def test_who_sent_held_wire_and_why_is_in_the_journal_and_in_its_standing(
    store: Store, tmp_path: Path
) -> None:
    done = put(store, tmp_path, HELD, override=SENT)
    now = standing_of(store, "L1-0412-03")
    assert (now.code, now.left_while_held, now.where) == ("left while held", True, "shipped")
    assert plain(now.headline) == f"L1-0412-03 left while held: shipped in S-1 to a customer. {WHY}"
    assert done.alarms == (now.headline,)
    (entry,) = store.ask("questions/entries_of_kind", kind="shipment")
    kept = json.loads(entry["record"])["record"]["override"]
    assert (kept["role"], kept["person"], kept["items"]) == ("quality manager", "QM-1", ["L1-0412-03"])
    against = message_of(json.loads(kept["against"]["L1-0412-03"]))
    assert plain(against).startswith("Held, may not leave. Thinnest wall ")
    # Nothing needs sending all the same once nothing is held back.
    with pytest.raises(ReelproofError) as told:
        put(store, tmp_path, HELD, override=SENT)
    assert str(told.value) == "override: nothing in the list is held back. Leave --override-role out."
