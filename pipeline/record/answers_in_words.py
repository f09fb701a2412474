"""Answers on file with their words beside the codes, for whoever reads them outside the pages."""

from __future__ import annotations

from typing import Any

from pipeline.results import Refused
from pipeline.store.answer_columns import answer_of
from pipeline.wording.say import plain, plain_heading

Row = dict[str, Any]


def words_of(row: Row) -> dict[str, Any]:
    """The heading, method, refusal, warnings and assumptions of an answer in words, metric as the store is.

    Args:
        row: a row of judged.answer or judged.line_answer.
    """
    answer = answer_of(row)
    words: dict[str, Any] = {"heading": plain_heading(answer.question), "method": plain(answer.method)}
    if isinstance(answer, Refused):
        return {**words, "refusal": plain(answer.reason), "warnings": [], "assumptions": []}
    held = {True: "held", False: "failed", None: "not checked"}
    return {
        **words,
        "refusal": "",
        "warnings": [plain(one) for one in answer.warnings],
        "assumptions": [
            f"{plain(one.name)}: {held[one.held]} ({plain(one.evidence)})"
            + ("" if one.then is None else f"; {plain(one.then)}")
            for one in answer.assumptions
        ],
    }
