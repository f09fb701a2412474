"""Tune a line from what is on file: for each of its products the target, what to turn, and what it is worth.

The newest runs are read in full, as many as a stated number of readings allows; older runs speak through the
summaries of their reels, which is what a comparison of months needs.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any

from pipeline.errors import Complaint, NotFoundError
from pipeline.job.tuning_question_on_file import (
    facts_on_file,
    named,
    newest_change,
    observed_on_file,
    question_of,
)
from pipeline.job.tuning_runs import tuning_run
from pipeline.messages import Measure, Message, message
from pipeline.record.not_found import not_on_file
from pipeline.store.readings import thinned_folders
from pipeline.tuned import Tuned
from pipeline.tuning.good_starts import GoodStarts, good_starts
from pipeline.tuning.line_tuning import LineTuning, tuning_of_line
from pipeline.tuning.start_up import Start

if TYPE_CHECKING:
    from pipeline.results import Refused
    from pipeline.store.database import Store
    from pipeline.tuning.giveaway import Price
    from pipeline.tuning.line_run import LineRun

Head = dict[str, Any]
# Readings read in full for one product; half a minute of one core (chosen here).
READINGS_AT_MOST = 500_000
FIRST, LAST = datetime(1970, 1, 1), datetime(9999, 12, 31)
CAUTIONS = tuple(message(one) for one in (Tuned.RECOMMENDS, Tuned.HOT_PARTS, Tuned.NO_PERMISSION))


@dataclass(frozen=True, slots=True)
class ProductTuning:
    """What is known of one product on one line.

    Args:
        product: the product, as ``THHN/THWN-2 14 AWG solid copper``.
        conductor_mm: nominal diameter of its conductor [mm].
        tuning: everything the runs say.
        price: density, prices, and length a month of this line and product.
        made_km: wire made in the period [km].
        runs: runs on file in the period.
        read: runs read in full.
        told: what to read beside it.
        change: the change found on run sheets that is compared before and after; None where a reader named one, or
            none is on file.
    """

    product: str
    conductor_mm: float
    tuning: LineTuning
    price: Price
    made_km: float
    runs: int
    read: int
    told: tuple[Message, ...]
    change: Message | None = None


@dataclass(frozen=True, slots=True)
class LineOnFile:
    """What is on file of one line.

    Args:
        line: the line.
        products: its products, the one run last first.
        starts: its starts, whatever the product, in the order of time.
        good_starts: what short starts have in common.
        told: what to read beside all of it.
    """

    line: str
    products: tuple[ProductTuning, ...]
    starts: tuple[Start, ...]
    good_starts: GoodStarts | Refused
    told: tuple[Message, ...] = CAUTIONS


def tuning_on_file(
    store: Store,
    line: str,
    product: str | None = None,
    from_utc: datetime | None = None,
    to_utc: datetime | None = None,
    changed: datetime | None = None,
    under_way: Callable[[str, int], None] = lambda _what, _more: None,
) -> LineOnFile:
    """Everything on file about how a line may be tuned.

    Args:
        store: the store, open to read.
        line: the line.
        product: words of the product's name; all products where left out.
        from_utc: runs that started no earlier; all where left out.
        to_utc: runs that started before it; all where left out.
        changed: instant of a change to compare before and after; the newest on run sheets where left out.
        under_way: told which product is being worked on.

    Raises:
        NotFoundError: no such line, no judged run of it in the period, or no such product.
    """
    heads = store.ask("questions/current_runs")
    own = [head for head in heads if head["line"] == line]
    if not own:
        raise not_on_file("line", line, sorted({head["line"] for head in heads}))
    first, last = _naive(from_utc) or FIRST, _naive(to_utc) or LAST
    judged = [head for head in heads if head["outcome"] == "judged" and first <= head["started_utc"] < last]
    # Of a thinned run only extremes are left, and no setting may be sought on these.
    thinned = thinned_folders(store)
    judged = [head for head in judged if head["load_folder"] not in thinned]
    wanted = _of_product(named([head for head in judged if head["line"] == line]), product, line, len(own))
    found = []
    for name, runs in wanted.items():
        share = _share_of_month(runs, judged)
        found.append(_product(store, line, name, runs, share, (first, last), changed))
        under_way(f"{line} {name}", 1)
    starts = tuple(
        replace(start, labels={**start.labels, "product": one.product})
        for one in found
        for start in one.tuning.starts
    )
    return LineOnFile(line, tuple(found), starts, good_starts(starts))


def _naive(at: datetime | None) -> datetime | None:
    """An instant as the store keeps it: UTC without a zone."""
    return None if at is None else at.astimezone(UTC).replace(tzinfo=None)


def _of_product(
    products: dict[str, list[Head]], wanted: str | None, line: str, runs: int
) -> dict[str, list[Head]]:
    """The products asked for; one that is not there is refused with the nearest."""
    if not products:
        raise NotFoundError(
            Complaint(
                line,
                f"{runs} of its runs {'is' if runs == 1 else 'are'} on file, but none that was judged in this period",
                "Judge them with 'reelproof assess', or widen --from and --to",
            )
        )
    if wanted is None:
        return products
    words = wanted.casefold().split()
    fits = {name: one for name, one in products.items() if _holds(name, words)}
    if fits:
        return fits
    near = get_close_matches(wanted.casefold(), [name.casefold() for name in products], n=1, cutoff=0.4)
    first = [name for name in products if name.casefold() in near]
    listed = ", ".join(dict.fromkeys((*first, *products)))
    raise NotFoundError(
        Complaint(
            "--product",
            f"line {line} made no '{wanted}' in this period",
            f"It made {listed}; name one of them",
        )
    )


def _holds(name: str, words: Sequence[str]) -> bool:
    """Whether all words stand in the name in this order, each a whole word: '4 AWG' is not '14 AWG'."""
    own = iter(name.casefold().split())
    return all(word in own for word in words)


def _share_of_month(runs: Sequence[Head], judged: Sequence[Head]) -> float:
    """Share of what is on file of a construction that these runs made, by length."""
    of = runs[0]["construction"]
    whole = sum(head["made_m"] or 0.0 for head in judged if head["construction"] == of)
    return sum(head["made_m"] or 0.0 for head in runs) / whole if whole > 0.0 else 1.0


def _product(
    store: Store,
    line: str,
    name: str,
    heads: list[Head],
    share: float,
    period: tuple[datetime, datetime],
    changed: datetime | None,
) -> ProductTuning:
    read = _newest(heads)
    runs = [tuning_run(store, head) for head in read]
    asked, told = question_of(store, read, share)
    asked = replace(asked, observed=observed_on_file(store, heads))
    change = None
    if changed is None:
        changed, change = newest_change(runs, asked.trials, asked.adjustments)
    if changed is not None:
        facts = facts_on_file(store, line, heads, *period, _across(store, heads, changed))
        asked = replace(asked, facts=facts, changed=changed)
    tuning = tuning_of_line(runs, asked)
    return ProductTuning(
        name,
        runs[-1].conductor_mm,
        tuning,
        asked.price,
        sum(head["made_m"] or 0.0 for head in heads) / 1000.0,
        len(heads),
        len(read),
        (*_told_of_reading(heads, read), *told, _told_of_price(asked.price, share, heads[-1])),
        change,
    )


def _newest(heads: list[Head]) -> list[Head]:
    """The newest runs whose readings together stay within what is read in full; one at least."""
    kept: list[Head] = []
    rows = 0
    for head in reversed(heads):
        rows += head["rows_kept"]
        if kept and rows > READINGS_AT_MOST:
            break
        kept.append(head)
    return kept[::-1]


def _told_of_reading(heads: list[Head], read: list[Head]) -> tuple[Message, ...]:
    if len(read) == len(heads):
        return ()
    counts = {"read": len(read), "runs": len(heads), "most": READINGS_AT_MOST}
    return (message(Tuned.READ_NEWEST, **counts, first=read[0]["run_id"]),)


def _told_of_price(price: Price, share: float, head: Head) -> Message:
    construction = head["construction"]
    if price.per_kg is None or price.km_per_month is None:
        return message(Tuned.NO_PRICE, construction=construction)
    length = Measure(1000.0 * price.km_per_month, "m")
    if share < 1.0:
        return message(Tuned.MONEY_SHARED, length=length, construction=construction, share=100.0 * share)
    return message(Tuned.MONEY_FOR, length=length, construction=construction)


def _across(store: Store, heads: list[Head], changed: datetime) -> LineRun | None:
    """The run a change fell into."""
    at = _naive(changed)
    return next(
        (tuning_run(store, head) for head in heads if at and head["started_utc"] < at < head["ended_utc"]),
        None,
    )
