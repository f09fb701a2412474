"""`reelproof keys` tells every key of the sheets; none is missing, and the sample sheets are examples of them."""

import json
import tomllib
from pathlib import Path

import pytest

from pipeline.cli.app import run
from pipeline.cli.sheet_keys import EXAMPLES
from pipeline.sheets.sheet_keys import SHEETS, SheetKey, keys_of, with_examples

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize("sheet", SHEETS)
def test_every_key_has_a_meaning(sheet: str) -> None:
    assert [one.key for one in keys_of(SHEETS[sheet]) if not one.meaning] == []


@pytest.mark.parametrize("sheet", SHEETS)
def test_the_command_tells_the_keys_of_the_sample_sheet(
    sheet: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["keys", sheet, "--json"]) == 0
    told = {one["key"]: one for one in json.loads(capsys.readouterr().out)}
    example = tomllib.loads((ROOT / EXAMPLES[sheet]).read_text(encoding="utf-8"))
    top, before = (example, "") if sheet == "plant" else (example[sheet], f"{sheet}.")
    assert {before + key for key in top} - set(told) == set()
    assert len(told) > 40
    needed = {key for key, one in told.items() if one["default"] == "must be given"}
    needed = {key.removeprefix(before) for key in needed if "." not in key.removeprefix(before)}
    assert needed
    assert needed <= set(top)


def test_examples_are_what_the_sample_sheet_says_there() -> None:
    sample = tomllib.loads((ROOT / EXAMPLES["plant"]).read_text(encoding="utf-8"))
    told = {one.key: one.example for one in with_examples(keys_of(SHEETS["plant"]), sample)}
    assert told["plant.zone"] == f'"{sample["plant"]["zone"]}"'
    # A table of the plant's own names is shown whole; one with keys of ours has its examples beside these.
    assert told["prices.km_per_month"].startswith('{ "THHN/THWN-2" = 4000.0')
    assert told["plant"] == told["prices"] == ""
    lacking = {"a": [{"c": 1}, {"b": True}], "n": {"own": {"x": [1, "two"]}}}
    keys = [SheetKey(key, "text", "", "", "") for key in ("a.b", "n.*.x", "a.d", "n.own.y")]
    assert [one.example for one in with_examples(keys, lacking)] == ["true", '[1, "two"]', "", ""]


def test_an_unknown_sheet_is_refused_in_words(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["keys", "reel"]) != 0
    told = capsys.readouterr().err
    assert "Traceback" not in told
    assert "plant" in told
