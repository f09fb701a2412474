"""An answer as columns of the store and back: keys as text, what has arguments as JSON, figures as figures."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from typing import Any

from pipeline.messages import Message, from_json, message_of, said_json, to_json
from pipeline.possible import possible
from pipeline.quantity import asked_of
from pipeline.results import Assumption, Refused, Result

Columns = dict[str, Any]


def said_of(text: str) -> Message:
    """The message of the store's JSON."""
    return message_of(json.loads(text))


def warnings_json(warnings: Sequence[Message]) -> str:
    """Messages as a JSON list."""
    return json.dumps([to_json(one) for one in warnings], ensure_ascii=False)


def warnings_of(text: str) -> tuple[Message, ...]:
    """The messages of a JSON list."""
    return tuple(message_of(one) for one in json.loads(text))


def assumptions_json(assumptions: Sequence[Assumption]) -> str:
    """Assumptions as a JSON list."""
    return json.dumps(
        [
            {
                "name": to_json(one.name),
                "held": None if one.held is None else bool(one.held),
                "evidence": to_json(one.evidence),
                **({} if one.then is None else {"then": to_json(one.then)}),
            }
            for one in assumptions
        ],
        ensure_ascii=False,
    )


def assumptions_of(text: str) -> tuple[Assumption, ...]:
    """The assumptions of a JSON list."""
    return tuple(
        Assumption(
            message_of(one["name"]),
            one["held"],
            message_of(one["evidence"]),
            message_of(one["then"]) if "then" in one else None,
        )
        for one in json.loads(text)
    )


def details_json(details: Mapping[str, float]) -> str:
    """Further figures as a JSON object, those without a value left out."""
    return json.dumps({name: value for name, value in details.items() if math.isfinite(value)})


def columns_of(answer: Result | Refused) -> Columns:
    """An answer as columns of judged.answer, judged.line_answer or a journal entry; what cannot be is refused."""
    answer = possible(answer)
    asked = answer.question
    head = {
        "quantity": str(asked.quantity),
        "about": asked.about,
        "arguments": json.dumps({name: to_json(one) for name, one in asked.slots}, ensure_ascii=False),
        "method": said_json(answer.method),
        "n": answer.n,
    }
    if isinstance(answer, Refused):
        return {
            **head,
            **dict.fromkeys(("estimate", "low", "high", "confidence", "effective_n", "known_m")),
            "unit": "",
            "unit_of_inference": "",
            "assumptions": "[]",
            "warnings": "[]",
            "details": "{}",
            "refusal": said_json(answer.reason),
        }
    return {
        **head,
        "estimate": answer.estimate,
        "low": answer.low,
        "high": answer.high,
        "confidence": answer.confidence,
        "unit": answer.unit,
        "effective_n": answer.effective_n,
        "known_m": answer.known_m,
        "unit_of_inference": answer.unit_of_inference,
        "assumptions": assumptions_json(answer.assumptions),
        "warnings": warnings_json(answer.warnings),
        "details": details_json(answer.details),
        "refusal": None,
    }


def answer_of(row: Columns) -> Result | Refused:
    """The answer that columns hold."""
    arguments = {name: from_json(one) for name, one in json.loads(row["arguments"]).items()}
    asked, method = asked_of(row["quantity"], row["about"], arguments), said_of(row["method"])
    if row["refusal"] is not None:
        return Refused(asked, method, said_of(row["refusal"]), row["n"])
    return Result(
        question=asked,
        estimate=row["estimate"],
        low=row["low"],
        high=row["high"],
        confidence=row["confidence"],
        unit=row["unit"],
        method=method,
        n=row["n"],
        effective_n=row["effective_n"],
        known_m=row["known_m"],
        unit_of_inference=row["unit_of_inference"],
        assumptions=assumptions_of(row["assumptions"]),
        warnings=warnings_of(row["warnings"]),
        details=json.loads(row["details"]),
    )
