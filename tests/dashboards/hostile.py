"""The invented records with ids and texts that try to break out of the page."""

from dataclasses import fields, is_dataclass, replace
from typing import Any

from dashboards.records import RunReview, ShiftReview
from tests.dashboards import invented

SCRIPT = "</script><script>window.hacked=1</script>"
TAG = "<img src=x onerror=window.hacked=1>"
QUOTE = '" onmouseover="window.hacked=1" x=\''
TEMPLATE = "{{ 7*7 }}{% raw %}"
FORMULA = '=HYPERLINK("http://example.invalid")'
MIRROR = "R\u202e1401\u0000\ud800"
NASTY = (SCRIPT, TAG, QUOTE, TEMPLATE, FORMULA, MIRROR, "A" * 300)
TEXTS = {
    "name",
    "reel_id",
    "line_id",
    "line_name",
    "sentence",
    "why",
    "note",
    "label",
    "reason",
    "colour",
    "shift",
    "title",
    "what",
}


def spoiled(value: Any, counter: list[int]) -> Any:
    """The record with every free text and every reel id replaced by a nasty one."""
    if is_dataclass(value) and not isinstance(value, type):
        changes = {}
        for field in fields(value):
            now = getattr(value, field.name)
            if field.name in TEXTS and isinstance(now, str) and now:
                counter[0] += 1
                changes[field.name] = NASTY[counter[0] % len(NASTY)]
            elif is_dataclass(now) or isinstance(now, tuple):
                changes[field.name] = spoiled(now, counter)
        return replace(value, **changes)
    if isinstance(value, tuple):
        return tuple(spoiled(one, counter) for one in value)
    return value


def shift() -> ShiftReview:
    return spoiled(replace(invented.shift(), shift_id=SCRIPT), [0])


def run() -> RunReview:
    record = spoiled(replace(invented.run(3000), traces=invented.traces(3000)), [0])
    return replace(record, run=replace(record.run, run_id=TAG + SCRIPT))
