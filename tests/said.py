"""What an answer says, as text: tests compare the words a person reads, whatever code they are made of."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from pipeline.messages import Message
from pipeline.results import Refused
from pipeline.wording.say import plain


def said(told: Any) -> Any:
    """A message as plain text, several as a tuple or list of texts, a refusal with texts; anything else as it is."""
    if isinstance(told, Message):
        return plain(told)
    if isinstance(told, Refused):
        return replace(told, method=said(told.method), reason=said(told.reason))
    if isinstance(told, tuple | list):
        return type(told)(said(one) for one in told)
    return told
