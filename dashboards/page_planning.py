"""Which pages there are, what each stands on, and how it is written; none is composed yet."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date
from functools import cache, partial
from typing import TYPE_CHECKING

from dashboards.addresses import PageKind, address
from dashboards.fillers.finding import finding_review
from dashboards.fillers.guides import guides_of
from dashboards.fillers.lot import lot_history, lots_of
from dashboards.fillers.plant import plant_of
from dashboards.fillers.run_book import Row, RunBook, run_books
from dashboards.fillers.shift import shift_review, shifts_of
from dashboards.pages.capability import capability_matrix
from dashboards.pages.charts import line_charts_of, lines_of
from dashboards.pages.compare import compare_pages
from dashboards.pages.construction import comparisons_of, construction_entries
from dashboards.pages.containment import containment_entries, containment_of
from dashboards.pages.data_quality import data_quality_review
from dashboards.pages.faults import fault_review
from dashboards.pages.index import site_index
from dashboards.pages.nonconformance import nonconformance_summary
from dashboards.pages.settings import settings_entries, settings_pages
from dashboards.run_pages import Planned, pages_of_run
from pipeline.record.samples_compared import last_samples
from pipeline.record.touched_wire import containment_id

if TYPE_CHECKING:
    from dashboards.records import ConstructionComparison, Plant
    from dashboards.records.morning import Period
    from dashboards.site import Site, WrittenFile
    from pipeline.job.tuning_on_file import LineOnFile
    from pipeline.store.database import Store


@dataclass(frozen=True, slots=True)
class OnFile:
    """What pages are planned from.

    Args:
        store: the store, open to read as long as pages of it are written.
        plant: the plant.
        books: the runs, oldest first: all, or those that the wanted page shows.
        comparisons: one a product made.
    """

    store: Store
    plant: Plant
    books: list[RunBook]
    comparisons: list[ConstructionComparison]


# Every kind of page with what plans it, in the order in which pages are written.
PLANNERS: tuple[tuple[tuple[PageKind, ...], Callable[[OnFile], list[Planned]]], ...] = (
    (
        ("run", "reel", "centring", "spectra"),
        lambda on: [one for book in on.books for one in pages_of_run(on.plant, book)],
    ),
    (("shift",), lambda on: _shift_pages(on.plant, shifts_of(on.books))),
    (("morning",), lambda on: _morning_pages(on.plant, on.books)),
    (("lot",), lambda on: _lot_pages(on.plant, lots_of(on.books))),
    (("finding",), lambda on: _finding_pages(on.plant, on.books)),
    (("containment",), lambda on: _containment_pages(on.store, on.plant, on.books)),
    (("nonconformance",), lambda on: _nonconformance_pages(on.plant, on.books)),
    (("tuning", "overwall"), lambda on: _tuning_pages(on.store, on.plant, on.books)),
    (("settings",), lambda on: settings_pages(on.plant, on.books)),
    (("compare",), lambda on: compare_pages(on.plant, on.books)),
    (("charts",), lambda on: _charts_pages(on.store, on.plant, on.books)),
    (("construction",), lambda on: _construction_pages(on.comparisons)),
    (("capability", "faults", "data quality"), lambda on: _overview_pages(on.plant, on.books)),
    (("guide",), lambda on: _guide_pages(on.plant, shifts_of(on.books), on.books, on.comparisons)),
    (("index",), lambda on: [_index_page(on)]),
)


def planned_pages(store: Store) -> tuple[Plant, list[Planned]]:
    """The plant, and every page of everything on file; none is composed yet.

    Args:
        store: the store, open to read as long as pages of it are written.
    """
    on_file = everything_on(store)
    return on_file.plant, all_planned(on_file)


def everything_on(store: Store) -> OnFile:
    """What all pages are planned from.

    Args:
        store: the store, open to read as long as pages of it are written.
    """
    books = run_books(store)
    plant = plant_of(store, books)
    return OnFile(store, plant, books, comparisons_of(plant, books))


def all_planned(on_file: OnFile) -> list[Planned]:
    """Every page that is planned from what is on file."""
    return [page for _, planner in PLANNERS for page in planner(on_file)]


def kinds_of(planned: Iterable[Planned]) -> str:
    """The kinds of page there are, to which every page links."""
    return ",".join(sorted({one.kind for one in planned}))


def _morning_pages(plant: Plant, books: list[RunBook]) -> list[Planned]:
    """A morning sheet a production day, the week to the last one, and each month."""
    from dashboards.fillers.morning import days_of, morning_days, morning_sheet
    from dashboards.pages.morning import write_morning_page

    days = morning_days(books)
    wanted: list[tuple[Period, date]] = [("morning", day) for day in days]
    wanted += [("week", day) for day in days[-1:]]
    wanted += [("month", day) for day in sorted({days_of("month", day)[1] for day in days})]

    def write(period: Period, day: date, site: Site) -> Iterable[WrittenFile]:
        return (write_morning_page(morning_sheet(plant, books, period, day), site),)

    group = tuple(books)
    return [
        Planned(
            "morning",
            day.isoformat() if period == "morning" else f"{period.upper()}-{day.isoformat()}",
            group,
            partial(write, period, day),
        )
        for period, day in wanted
    ]


def _shift_pages(plant: Plant, shifts: list[tuple[str, list[RunBook]]]) -> list[Planned]:
    from dashboards.pages.shift import write_shift_page

    ids = ["", *(shift_id for shift_id, _ in shifts), ""]

    def write(
        shift_id: str, group: list[RunBook], earlier: str, later: str, site: Site
    ) -> Iterable[WrittenFile]:
        return (write_shift_page(shift_review(plant, shift_id, group, earlier, later), site),)

    return [
        Planned(
            "shift",
            shift_id,
            tuple(group),
            partial(write, shift_id, group, ids[number], ids[number + 2]),
            f"{ids[number]} {ids[number + 2]}",
        )
        for number, (shift_id, group) in enumerate(shifts)
    ]


def _lot_pages(plant: Plant, lots: dict[str, list[RunBook]]) -> list[Planned]:
    from dashboards.pages.lot import write_lot_page

    def write(lot: str, group: list[RunBook], site: Site) -> Iterable[WrittenFile]:
        return (write_lot_page(lot_history(plant, lot, group), site),)

    return [Planned("lot", lot, tuple(group), partial(write, lot, group)) for lot, group in lots.items()]


def _finding_pages(plant: Plant, books: list[RunBook]) -> list[Planned]:
    from dashboards.pages.finding import write_finding_page

    def write(book: RunBook, row: Row, others: tuple[RunBook, ...], site: Site) -> Iterable[WrittenFile]:
        return (write_finding_page(finding_review(plant, book, row, list(others)), site),)

    by_cause: dict[tuple[str, str], dict[str, RunBook]] = {}
    for book in books:
        for row in book.findings:
            by_cause.setdefault((row["cause"], row["cause_of"]), {})[book.run_id] = book
    planned = []
    for book in books:
        for row in book.findings:
            # Findings of the same cause are shown as well, so the page stands on their runs too.
            there = by_cause[row["cause"], row["cause_of"]] if row["cause_of"] else {book.run_id: book}
            alike = tuple(there.values())
            planned.append(Planned("finding", row["finding_id"], alike, partial(write, book, row, alike)))
    return planned


def _containment_pages(store: Store, plant: Plant, books: list[RunBook]) -> list[Planned]:
    """One page for each containment somebody asked for with a reason; what it touches is as of now."""
    from dashboards.pages.containment import write_containment_page

    def write(entry: Row, site: Site) -> Iterable[WrittenFile]:
        return (write_containment_page(containment_of(store, plant, books, entry), site),)

    return [
        Planned("containment", containment_id(entry["entry_no"]), tuple(books), partial(write, entry))
        for entry in containment_entries(store)
    ]


def _nonconformance_pages(plant: Plant, books: list[RunBook]) -> list[Planned]:
    """One summary a month, and one of everything on file."""
    from dashboards.pages.nonconformance import write_nonconformance_page

    periods: dict[str, list[RunBook]] = {}
    for book in books:
        periods.setdefault(f"{book.head['shift_date']:%Y-%m}", []).append(book)
    if books:
        periods[""] = books

    def write(period: str, group: list[RunBook], site: Site) -> Iterable[WrittenFile]:
        days = [book.head["shift_date"] for book in group]
        title = "Everything on file" if not period else f"{min(days):%B %Y}"
        record = nonconformance_summary(plant, period, title, min(days), max(days), group)
        return write_nonconformance_page(record, site)

    return [
        Planned("nonconformance", period, tuple(group), partial(write, period, group))
        for period, group in periods.items()
    ]


def _charts_pages(store: Store, plant: Plant, books: list[RunBook]) -> list[Planned]:
    """One page a line: its control charts, and where its spread comes from."""
    from dashboards.pages.charts import write_charts_page

    def write(line: str, group: list[RunBook], site: Site) -> Iterable[WrittenFile]:
        return (write_charts_page(line_charts_of(store, plant, line, group), site),)

    return [
        Planned("charts", line, tuple(group), partial(write, line, group), of_decisions=False)
        for line, group in sorted(lines_of(books).items())
    ]


def _with_every_reading(books: list[RunBook]) -> list[RunBook]:
    """Judged runs whose readings were not thinned: on extremes alone no setting may be sought."""
    return [book for book in books if book.head["outcome"] == "judged" and book.thinned is None]


def _tuning_pages(store: Store, plant: Plant, books: list[RunBook]) -> list[Planned]:
    """One page a line, and overwall of all lines; what is on file of a line is worked once for both."""
    judged = _with_every_reading(books)
    if not judged:
        return []
    lines = sorted({book.head["line"] for book in judged})

    @cache
    def found(line: str) -> LineOnFile:
        from pipeline.job.tuning_on_file import tuning_on_file  # here, so that planning does not wait for it

        return tuning_on_file(store, line)

    def write(line: str, group: tuple[RunBook, ...], site: Site) -> Iterable[WrittenFile]:
        from dashboards.fillers.tuning import tuning_review
        from dashboards.pages.tuning import write_tuning_page

        return (write_tuning_page(tuning_review(plant, found(line), list(group)), site),)

    def write_overwall(site: Site) -> Iterable[WrittenFile]:
        from dashboards.pages.overwall import overwall_review, write_overwall_page

        return (write_overwall_page(overwall_review(plant, [found(line) for line in lines], books), site),)

    planned = []
    for line in lines:
        # A line's share of the plant's length a month hangs on the other lines of its constructions as well.
        made = {book.head["construction"] for book in judged if book.head["line"] == line}
        group = tuple(
            book
            for book in books
            if book.head["line"] == line or (book in judged and book.head["construction"] in made)
        )
        planned.append(Planned("tuning", line, group, partial(write, line, group), of_decisions=False))
    return [*planned, Planned("overwall", "", tuple(books), write_overwall, of_decisions=False)]


def _construction_pages(comparisons: Iterable[ConstructionComparison]) -> list[Planned]:
    from dashboards.pages.construction import write_construction_page

    def write(record: ConstructionComparison, site: Site) -> Iterable[WrittenFile]:
        return (write_construction_page(record, site),)

    return [Planned("construction", one.comparison_id, (), partial(write, one)) for one in comparisons]


def _guide_pages(
    plant: Plant,
    shifts: list[tuple[str, list[RunBook]]],
    books: list[RunBook],
    comparisons: list[ConstructionComparison],
) -> list[Planned]:
    """The guides, which walk through what is on file; their record is put together once for all of them."""
    from dashboards.pages.guides import GUIDES, write_guide_pages

    record = cache(lambda: guides_of(plant, shifts, books, comparisons))

    def write(only: str, site: Site) -> Iterable[WrittenFile]:
        return write_guide_pages(record(), site, only)

    return [Planned("guide", guide.id, tuple(books), partial(write, guide.id)) for guide in GUIDES]


def _overview_pages(plant: Plant, books: list[RunBook]) -> list[Planned]:
    """The pages that each answer one question about everything on file."""
    from dashboards.pages.capability import write_capability_page
    from dashboards.pages.data_quality import write_data_quality_page
    from dashboards.pages.faults import write_faults_page

    group = tuple(books)
    return [
        Planned(
            "capability",
            "",
            group,
            lambda site: (write_capability_page(capability_matrix(plant, books), site),),
        ),
        Planned("faults", "", group, lambda site: (write_faults_page(fault_review(plant, books), site),)),
        Planned(
            "data quality",
            "",
            group,
            lambda site: (write_data_quality_page(data_quality_review(plant, books), site),),
            last_samples(books[0].store) if books else "",
        ),
    ]


def _month(month: str) -> str:
    """A month in words, ``March 2026``."""
    return f"{date.fromisoformat(f'{month}-01'):%B %Y}"


def _sheets(newest: date | None) -> list[tuple[str, str]]:
    """The newest morning, weekly and monthly sheet: id and title."""
    from dashboards.fillers.morning import days_of

    if newest is None:
        return []
    return [
        (newest.isoformat(), f"Morning sheet, {newest}"),
        (f"WEEK-{newest}", f"Weekly sheet to {newest}"),
        (f"MONTH-{days_of('month', newest)[1]}", f"Monthly sheet, {newest:%B %Y}"),
    ]


def _index_page(on: OnFile) -> Planned:
    from dashboards.pages.guides import GUIDES
    from dashboards.pages.index import write_index_page
    from dashboards.records import PageEntry

    plant, books, comparisons = on.plant, on.books, on.comparisons
    months = sorted({f"{book.head['shift_date']:%Y-%m}" for book in books}, reverse=True)
    whole = _with_every_reading(books)
    entries = [
        PageEntry(address("morning", one), title, "Made, held, scrap by cost, open findings and decisions.")
        for one, title in _sheets(books[-1].head["shift_date"] if books else None)
    ]
    entries += [
        PageEntry(
            address("nonconformance", month),
            f"Nonconformance, {_month(month) if month else 'everything on file'}",
            "Findings by rule, line, product and cause.",
        )
        for month in (*months, *([""] if books else []))
    ]
    entries += [
        PageEntry(address("capability"), "Capability", "What is the capability of each line and product?"),
        *(
            PageEntry(address("charts", line), f"Charts, line {line}", "Is the process stable?")
            for line in sorted(lines_of(books))
        ),
        PageEntry(address("faults"), "Spark faults", "How many, where, and do they match a turning element?"),
        *(
            PageEntry(address("overwall"), "Excess wall", "How much compound is above the target wall?")
            for _ in whole[:1]
        ),
        *(
            PageEntry(
                address("tuning", line),
                f"Tuning of {line}",
                "What should change on this line, and what does it save?",
            )
            for line in sorted({book.head["line"] for book in whole})
        ),
        PageEntry(address("data quality"), "Data quality", "Are instruments and logs valid?"),
    ]
    entries += settings_entries(plant, books)
    entries += [PageEntry(address("guide", guide.id), guide.title, guide.question) for guide in GUIDES]
    entries += construction_entries(comparisons)
    return Planned(
        "index",
        "",
        tuple(books),
        lambda site: write_index_page(
            site_index(plant, shifts_of(books), lots_of(books), tuple(entries)), site
        ),
    )
