"""What the evidence of reels lacked in stores up to version 10, which kept it as sentences: each gets its code once.

The sentences stay as they were written and are shown so. A code is read off a sentence here and nowhere else.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

import polars as pl

from pipeline.messages import Written, as_written, said_json
from pipeline.reasons import Reason
from pipeline.store.sql_files import statement
from pipeline.why import Lack, Why, about_requirement

if TYPE_CHECKING:
    import duckdb

Row = Mapping[str, Any]
TABLE = "judged.lack"
_TYPED = r"No (?P<requirement>.+) to (?P<set>.+) as type (?P<type>.+) was judged and met on this reel\."
# Sentence of an earlier version -> its code; the first that matches its beginning.
_CODES: tuple[tuple[str, str], ...] = (
    (r"Worst .+ is required\.", Why.DOES_NOT_CONFORM),
    (r"The run sheet states a covering of .+ is required\.", Why.STATED_COVERING_FAILS),
    (r"The mean wall by the diameter is .+ is required\.", Why.MEAN_FAILS),
    (r"The instruments disagree over ", Why.INSTRUMENTS_DISAGREE),
    (
        r"Worst .+ is too near the limit for what is known of the covering\.",
        Why.TOO_NEAR_UNDER_COVERING,
    ),
    (r"Worst .+ is too near the limit for the instrument's uncertainty\.", Why.TOO_NEAR),
    (r"Worst of what was read is ", Why.NOT_ALL_READ),
    (r"Worst .+, but no wire of this reel has full evidence behind it\.", Why.NO_FULL_EVIDENCE),
    (r"No usable reading of .+ lies on this reel\.", Why.NO_READING),
    (r"No instrument of this line sees the covering by itself\.", Why.COVERING_NOT_SEEN),
    (r"No instrument of this line reads what ", Why.NO_INSTRUMENT),
    (r"The line has no wall gauge\. A diameter does not show", Why.CENTRING_NOT_SEEN),
    (r"Not judged: no limit on file for ", Why.NO_LIMIT),
    (r"Not judged: limit '.+' is a percentage of the minimum average wall", Why.NO_AVERAGE),
    (r"\d+ spark faults lie on this reel; the plant holds", Lack.SPARK_FAULTS),
    (_TYPED, Lack.WALL_NOT_SHOWN),
    (r"No requirement set that applies to .+ gives an average wall\.", Lack.NO_AVERAGE_ASKED),
    (r"No requirement set that applies to .+ gives a wall at a point\.", Lack.NO_POINT_ASKED),
    (r"The conductor reads .+ in mid run, and ", Lack.OTHER_SIZE),
    (r"This line measures (the )?diameter only", Reason.DIAMETER_ONLY),
    (r"The gauge reads insulation and covering as one wall", Reason.ONE_WALL_SEEN),
    (r"The product has a covering, the instruments read it", Reason.COVERING_NOT_STATED),
    (r"Three wall sensors or more are needed", Reason.TOO_FEW_WALL_SENSORS),
)
_COMPILED = tuple((re.compile(text), code) for text, code in _CODES)
_PLACE = re.compile(r"(?P<where>[^:]+(?:: (?:column|key|line)[^:]*)?): ")


def code_of_sentence(sentence: str) -> str:
    """The code of what a sentence of an earlier version says; `Written.AS_WRITTEN` where it is none of them."""
    return next((code for text, code in _COMPILED if text.match(sentence)), Written.AS_WRITTEN)


def _about(sentence: str, code: str) -> str:
    """What a reason is about that is not a requirement's sentence."""
    if code == Lack.WALL_NOT_SHOWN and (found := re.match(_TYPED, sentence)):
        return f"{found['set']}: {found['requirement']}: {found['type']}"
    if code == Lack.OTHER_SIZE:
        return "conductor_mm"
    if code == Lack.NOT_CONCLUDED and (found := _PLACE.match(sentence)):
        return found["where"]
    return sentence if code == Written.AS_WRITTEN else ""


def lacks_by_code(
    reels: Iterable[Row], requirements: Iterable[Row], findings: Iterable[Row] = ()
) -> pl.DataFrame:
    """Rows of judged.lack for reels that kept what they lack as sentences.

    Args:
        reels: assessment, reel and its reasons.
        requirements: what was not found met, with the sentence of each.
        findings: sentences of findings, which stood among the reasons before version 10.
    """
    of_reel: dict[tuple[int, str], dict[str, list[str]]] = {}
    for row in requirements:
        named = of_reel.setdefault((row["assessment_id"], row["reel_id"]), {})
        about = about_requirement(row["requirement"], row["requirement_set"], row["limit_id"])
        named.setdefault(row["sentence"], []).append(about)
    located: dict[int, set[str]] = {}
    for row in findings:
        located.setdefault(row["assessment_id"], set()).add(row["sentence"])
    made = []
    for reel in reels:
        key = (reel["assessment_id"], reel["reel_id"])
        lacks: dict[tuple[str, str], str] = {}
        for sentence in reel["reasons"]:
            if sentence in located.get(reel["assessment_id"], ()):
                continue
            code = code_of_sentence(sentence)
            if code == Written.AS_WRITTEN and reel["standing"] == "no conclusion":
                code = Lack.NOT_CONCLUDED
            for about in of_reel.get(key, {}).get(sentence) or [_about(sentence, code)]:
                lacks.setdefault((code, about), sentence)
        made += [
            {
                "assessment_id": reel["assessment_id"],
                "reel_id": reel["reel_id"],
                "lack_no": number,
                "code": str(code),
                "about": about,
                "said": said_json(as_written(sentence)),
            }
            for number, ((code, about), sentence) in enumerate(lacks.items())
        ]
    return pl.DataFrame(
        made,
        schema={
            "assessment_id": pl.Int32,
            "reel_id": pl.String,
            "lack_no": pl.Int32,
            "code": pl.String,
            "about": pl.String,
            "said": pl.String,
        },
    )


def give_lacks(connection: duckdb.DuckDBPyConnection, home: str = "") -> None:
    """Put what reels of an earlier store lack beside their sentences, by code; the table for it is there.

    Args:
        connection: the open database.
        home: the database that has the table, with a point at its end; "" for the one that is open.
    """
    rows = [_rows(connection, f"earlier/{name}") for name in ("reels", "requirements", "findings")]
    frame = lacks_by_code(*rows)
    if frame.height:
        connection.register("rows_to_append", frame.to_arrow())
        connection.execute(statement("append").format(table=home + TABLE))
        connection.unregister("rows_to_append")


def give_lacks_in_memory(connection: duckdb.DuckDBPyConnection) -> None:
    """The same for a reader, in its own memory; the store's file stays as it is.

    Args:
        connection: the reader's connection, whose own database is in memory and comes first where names are looked up.
    """
    text = statement(f"tables/{TABLE.replace('.', '/')}")
    connection.execute(text.replace(f"EXISTS {TABLE}", f"EXISTS memory.{TABLE}", 1))
    give_lacks(connection, "memory.")


def _rows(connection: duckdb.DuckDBPyConnection, question: str) -> list[dict[str, Any]]:
    cursor = connection.execute(statement(question))
    names = [column[0] for column in cursor.description or ()]
    return [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]
