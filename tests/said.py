"""What an answer says, as text: tests compare the words a person reads, whatever code they are made of."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import polars as pl

from pipeline.messages import Message
from pipeline.results import Refused
from pipeline.store.answer_columns import said_of
from pipeline.wording.say import plain


def worded(aside: pl.DataFrame) -> pl.DataFrame:
    """Lines that were set aside, each with its reason in words."""
    words = [plain(said_of(one)) for one in aside["said"]]
    return aside.select(
        [
            pl.Series("reason", words, dtype=pl.String) if name == "said" else aside[name]
            for name in aside.columns
        ]
    )


def said(told: Any) -> Any:
    """A message as plain text, several as a tuple or list of texts, a refusal with texts; anything else as it is."""
    if isinstance(told, Message):
        return plain(told)
    if isinstance(told, Refused):
        return replace(told, method=said(told.method), reason=said(told.reason))
    if isinstance(told, tuple | list):
        return type(told)(said(one) for one in told)
    return told
