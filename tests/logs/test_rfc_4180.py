"""The rules of RFC 4180, section 2, with the examples of its text, read in a public copy.

Where a log differs from the RFC on purpose, the test says so: a log always has a header, spaces around a figure are no
part of it, and a quote inside an unquoted cell is a letter like any other.
"""

from pathlib import Path

import pyarrow as pa
import pytest

from pipeline.logs.cells import TextTable, column_types, read_table
from pipeline.logs.log_plan import plan_columns
from pipeline.logs.parse_block import parse_block
from pipeline.logs.whole_lines import whole_lines
from pipeline.sheets.run_sheet import LogFile
from tests.said import worded

FLAWS = {
    "kind": "surface flaws",
    "files": ["x"],
    "at": {"column": "at", "unit": "m"},
    "classes": "class",
}
THREE = LogFile.model_validate(FLAWS)


def plan(names: str = "at,class,note", log: LogFile = THREE):
    return plan_columns(names.split(","), "x:1", Path("x"), log, "UTC")


def cells(text: str) -> list[list[str]]:
    """Every cell of three columns of text, as the strict reader gives them."""
    types = dict.fromkeys(range(3), pa.string())
    table = read_table(text.encode(), plan(), types, [])
    return [list(row.values()) for row in table.to_pylist()]


@pytest.mark.parametrize(
    ("text", "rows"),
    [
        # Rule 1: each record on a line of its own, ended by CRLF.
        ("aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        # Rule 2: the last record may lack the line end.
        ("aaa,bbb,ccc\r\nzzz,yyy,xxx", [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        # Rule 4: spaces are part of a field.
        ("aaa, bbb ,ccc\r\n", [["aaa", " bbb ", "ccc"]]),
        # Rule 5: fields may be quoted or not.
        ('"aaa","bbb","ccc"\r\nzzz,yyy,xxx\r\n', [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        # Rule 6: line breaks, quotes and commas inside quotes.
        ('"aaa","b\r\nbb","ccc"\r\nzzz,yyy,xxx\r\n', [["aaa", "b\r\nbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        ('"aaa","b,bb","ccc"\r\n', [["aaa", "b,bb", "ccc"]]),
        # Rule 7: a quote inside is doubled.
        ('"aaa","b""bb","ccc"\r\n', [["aaa", 'b"bb', "ccc"]]),
    ],
)
def test_examples_of_the_text(text, rows):
    assert cells(text) == rows
    # The closer look at a block cuts records into the same cells, stripped of spaces.
    records = text.replace("\r\n", "\n").rstrip("\n").split("\nzzz")
    records = [records[0], *("zzz" + record for record in records[1:])]
    table = TextTable(records, plan("at,class,note"))
    for place in column_types(plan()):
        assert table.column(place).to_list() == [row[place].strip().replace("\r\n", "\n") for row in rows]


def read(text: str):
    """Rows and lines set aside of a list of flaws, with the lines numbered from 2."""
    rows, aside = [], []
    for block in whole_lines(iter([text.encode()]), 2):
        parsed = parse_block(block, plan())
        rows += parsed.rows.select("line", "counter_m", "class").rows()
        aside += worded(parsed.set_aside).rows()
    return rows, aside


def test_a_quoted_cell_over_two_lines_is_one_row_and_lines_count_on():
    rows, aside = read('1,"pit\nand lump",x\n2,lump,y\n')
    assert rows == [(2, 1.0, "pit\nand lump"), (4, 2.0, "lump")]
    assert aside == []


def test_blank_lines_are_no_rows_and_lines_count_on():
    rows, aside = read("1,a,x\n\n  \n2,b,y\n\n")
    assert rows == [(2, 1.0, "a"), (5, 2.0, "b")]
    assert aside == []


def test_a_stray_quote_costs_its_own_line_only():
    rows, aside = read('1,a,x\n2,"b,y\n3,c,z\n4,d",z\n5,e,z\n')
    assert rows == [(2, 1.0, "a"), (4, 3.0, "c"), (5, 4.0, 'd"'), (6, 5.0, "e")]
    assert aside == [(3, 'the line opens a quote (") that it does not close', '2,"b,y')]


def test_a_quote_that_is_never_closed_costs_its_own_line_only():
    rows, aside = read('1,a,x\n2,b,"y\n' + "".join(f"{k},c,z\n" for k in range(3, 300)))
    assert [row[0] for row in rows] == [2, *range(4, 301)]
    assert [one[0] for one in aside] == [3]


def test_a_quote_inside_a_cell_is_a_letter():
    rows, aside = read('1,5" pipe,x\n2,a"b"c,y\n')
    assert rows == [(2, 1.0, '5" pipe'), (3, 2.0, 'a"b"c')]
    assert aside == []


def test_every_line_must_have_as_many_fields_as_the_header():
    rows, aside = read("1,a,x\n2,b\n3,c,z,\n4\n,,\n")
    assert [row[0] for row in rows] == [2]
    assert aside == [
        (3, "the line has 2 cells, the header names 3", "2,b"),
        (4, "the line has 4 cells, the header names 3", "3,c,z,"),
        (5, "the line has 1 cell, the header names 3", "4"),
        (6, "column 'at' is empty: the event has no place", ",,"),
    ]


def test_a_line_cut_by_the_end_of_the_file_says_so():
    _, aside = read("1,a,x\n2,b")
    assert aside == [
        (3, "the line has 2 cells, the header names 3; the file ends in the middle of it", "2,b")
    ]


@pytest.mark.parametrize("size", [1, 2, 3, 7, 16, 1000])
def test_where_a_chunk_of_bytes_ends_makes_no_difference(size):
    text = ('1,"pit\r\nand ""lump""",x\r\n2,lump,y\r\n\r\n3,bad\r\n4,"µ",z\r5,é,q\n' * 20).encode()
    chunks = [text[start : start + size] for start in range(0, len(text), size)]
    blocks = list(whole_lines(iter(chunks), 2))
    assert b"".join(block.text for block in blocks) == text.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    line = 2
    for block in blocks:
        assert block.first_line == line
        assert block.lines == block.text.count(b"\n")
        line += block.lines
    rows = [row for block in blocks for row in parse_block(block, plan()).rows["line"].to_list()]
    assert rows == [line for start in range(2, 142, 7) for line in (start, start + 2, start + 5, start + 6)]
