"""A finding as the store keeps it, given back as the finding it was, for the rules that take one.

The store keeps the gravest sighting whole and of the others the rule and the instrument, so only these come back.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pipeline.nonconformance.decision import Decision, Verdict
from pipeline.nonconformance.finding import Cause, Finding, Sighting
from pipeline.store.said_columns import cause_of, told_of

_NOT_KEPT = float("nan")


def finding_of(row: Mapping[str, Any]) -> Finding:
    """A row of ``judged.finding`` as the finding it was.

    Args:
        row: the row; its probabilities and acceptance limits are not on file and come back as not a number.
    """
    instruments = [name for name in row["instruments"].split(", ") if name]
    main = Sighting(
        rule_id=row["rule"],
        instrument=instruments[0] if instruments else "",
        from_m=row["from_m"],
        to_m=row["to_m"],
        readings=row["readings"],
        worst=row["worst"],
        worst_at_m=row["worst_at_m"],
        row=row["row"],
        limit_id=row["limit_id"],
        limit_revision=row["limit_revision"],
        decision=Decision(Verdict(row["verdict"]), _NOT_KEPT, _NOT_KEPT, _NOT_KEPT, None),
        subject=row["subject"],
        reel_id=row["reel_id"],
    )
    others = [
        Sighting(rule, name, row["from_m"], row["to_m"], reel_id=row["reel_id"])
        for rule, name in _others(row["rule"], row["rules"], instruments)
    ]
    return Finding(
        run_id=row["run_id"],
        number=row["number"],
        main=main,
        sightings=(main, *others),
        severity=row["severity"],
        holds_release=row["holds_release"],
        from_m=row["from_m"],
        to_m=row["to_m"],
        evidence_from_m=row["evidence_from_m"],
        evidence_to_m=row["evidence_to_m"],
        cause=Cause(row["cause"], cause_of(row), row["cause_of"]),
        confirmed=row["confirmed"],
        on_file=told_of(row),
    )


def _others(main: str, rules: list[str], instruments: list[str]) -> list[tuple[str, str]]:
    """Rule and instrument of sightings beside the main one, so that every rule and instrument is named once."""
    more = [rule for rule in rules if rule != main]
    seen = instruments[1:]
    most = max(len(more), len(seen))
    more += [main] * (most - len(more))
    seen += [instruments[0] if instruments else ""] * (most - len(seen))
    return list(zip(more, seen, strict=True))
