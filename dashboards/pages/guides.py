"""The guides: one page a reader through this plant's own findings, a glossary, and the cautions where they belong."""

from __future__ import annotations

from dataclasses import dataclass

from dashboards.glossary import TERMS
from dashboards.records import Guides, GuideStep
from dashboards.rendering import write_page
from dashboards.site import Site, WrittenFile
from dashboards.table_cells import quantity
from pipeline.steps.held_share import TriedCell, TriedInterval, cells

NAMES: tuple[tuple[str, str], ...] = (
    ("", "All guides and the glossary"),
    ("QUALITY", "Quality engineer, at the start of the shift"),
    ("PROCESS", "Process engineer, at the line"),
    ("AUDIT", "Auditor"),
    ("APPLICATION", "Applications engineer"),
    ("LIMITS", "Limits of the evidence"),
    ("INTERVALS", "How often intervals hold"),
)


@dataclass(frozen=True, slots=True)
class Guide:
    """A guide's own text; its steps come from the plant's record.

    Args:
        id: names its file.
        title: title.
        question: what it answers.
        opening: paragraphs before the steps.
        steps: usual steps, used where the plant's record gives none.
        mind: cautions.
    """

    id: str
    title: str
    question: str
    opening: tuple[str, ...]
    steps: tuple[GuideStep, ...] = ()
    mind: tuple[str, ...] = ()


def _steps(*pairs: tuple[str, str]) -> tuple[GuideStep, ...]:
    return tuple(GuideStep(title, (sentence,)) for title, sentence in pairs)


GUIDES: tuple[Guide, ...] = (
    Guide(
        "",
        "Guides and glossary",
        "Where do I start, and what does this term mean?",
        (
            "One page answers one question. Start with the guide for your work; every figure links to its evidence.",
        ),
    ),
    Guide(
        "QUALITY",
        "Ten minutes at the start of the shift",
        "What may leave, what may not, and what do I do first?",
        ("Open the shift page. Other pages give the detail behind each figure.",),
        _steps(
            (
                "Open the latest shift",
                "Read the three figures at the top, then the list of what to do first.",
            ),
            (
                "Go to each held reel",
                "Its page gives the reason, the place and the size. The map shows the cutting plan.",
            ),
            (
                "Check the wire not monitored",
                "Every reel shows its length not monitored and not spark tested. That is not a pass.",
            ),
            (
                "Decide, or ask for a cut sample",
                "Near the limit, a cut sample decides.",
            ),
        ),
        (
            "Releasable is what the evidence supports. You release, under the plant's procedure.",
            "An in-line reading is an average over some length. The standard's cut sample is not.",
        ),
    ),
    Guide(
        "PROCESS",
        "At the line",
        "What should I adjust, and did it help?",
        ("The run page shows the readings. The centering and excess wall pages show the cost.",),
        _steps(
            (
                "Open the run",
                "Zoom to the finding. Wall, diameter and speed share one length axis.",
            ),
            (
                "Check the centering",
                "The polar path shows the direction and drift of the conductor center.",
            ),
            (
                "Find the binding requirement",
                "Better centering saves compound only where the minimum at any point binds.",
            ),
            ("Look for a period", "Faults at one spacing point to the roll whose circumference matches."),
        ),
        (
            "Hot parts, stored pressure, moving wire: follow the plant's own procedure.",
            "Advice gives direction and size only. The plant sets the limits of pressure, temperature and speed.",
        ),
    ),
    Guide(
        "AUDIT",
        "For the auditor",
        "Which limit, revision and reading, and was anything changed since?",
        ("The foot of every page names the assessments, the limits with document and revision, and a hash.",),
        _steps(
            (
                "Pick a figure",
                "Follow its link to the place on the wire, then to the file and line of the log.",
            ),
            (
                "Pick a limit",
                "The foot of the page gives document, edition, table, revision, and who entered and checked it.",
            ),
            ("Pick a lot", "Its page lists all events in order, and every earlier assessment."),
            (
                "Check that nothing was changed",
                "The exported pack has a manifest of hashes and a script to check it.",
            ),
        ),
        (
            "A hash proves that a record is unchanged since it was anchored, not that it was true when written.",
            "In-line evidence supports the tests that the adopted standard asks for; it does not replace them.",
        ),
    ),
    Guide(
        "APPLICATION",
        "For the applications engineer",
        "What are the requirements, and how do two constructions compare?",
        ("The construction comparison puts two wires side by side, each value with its source.",),
        _steps(
            (
                "Open a comparison",
                "Walls, diameters, mass, stress and temperatures, each with document and table.",
            ),
            (
                "Check the blanks",
                "A cell without a seen source says so. Get the document before quoting.",
            ),
            ("Trace a complaint", "Enter reel and footage mark to see the record around that place."),
        ),
        (
            "Ratings and listings belong to a maker's listing and to the adopted code.",
            "Nothing here decides about wire in service. De-energize; qualified persons; the adopted code.",
        ),
    ),
    Guide(
        "LIMITS",
        "Limits of the evidence",
        "Which wire could be nonconforming without a finding?",
        ("Wire that no instrument saw is never shown as good. These limits always apply.",),
        _steps(
            (
                "Between the sensors",
                "A notch narrower than their spacing is missed. Three lobes have the same diameter everywhere.",
            ),
            (
                "With few sensors",
                "With fewer than five, lobes are not seen. The largest lobe of cut samples is subtracted.",
            ),
            (
                "Within a reading",
                "It averages the wire that passed, 2 m (6.6 ft) at 1,200 m/min. A shorter thin place reads too thick.",
            ),
            (
                "Under a covering",
                "A gauge that reads both layers as one only bounds the insulation. Judge the covering on samples.",
            ),
            (
                "With a diameter only",
                "It does not change with eccentricity. It can show a failure of the minimum wall, never a pass.",
            ),
            (
                "A bias shared by all gauges",
                "Gauges with the same bias agree with each other. Only cut samples show it.",
            ),
            (
                "No spark fault",
                "A defect that does not break down is not counted.",
            ),
            (
                "Where on the reel",
                "A counter slip seen neither in line speed nor in footage marks moves every later place.",
            ),
            (
                "After the line",
                "Rewinding, storage, transport and installation are not recorded here.",
            ),
        ),
        (
            "In-line evidence supports the tests that the adopted standard asks for; it does not replace them.",
            "No conclusion is not a pass. Inspect the wire by other means, or do not release it on this evidence.",
        ),
    ),
    Guide(
        "INTERVALS",
        "How often intervals hold",
        "How far can a 95 % interval on these pages be trusted?",
        (
            "These intervals were tried on simulated wire of known truth, by the same steps that make these pages.",
            "The tables below are what was found. They decide what a page prints.",
        ),
        _steps(
            (
                "Find the case",
                "A page sees how much wire there is, how far readings repeat each other, and their shape.",
            ),
            (
                "Read the share",
                "Lowest and highest of the rows around the case. Under 90 % (reels: 85 %) no interval is given.",
            ),
            (
                "Think of what short wire hides",
                "Under 12,000 readings, wire that looks normal may have notches in bunches: their rows count too.",
            ),
            (
                "Read a fault rate with its share",
                "It is always given. A row of 24 reels has 72 faults: the faults counted find the row.",
            ),
            (
                "Mind the error",
                "A share from few trials is known less well. Its standard error stands beside it.",
            ),
        ),
        (
            "Simulated wire is invented. It shows what a method does on such wire, not what a plant's wire is like.",
            "A case where most trials ended in a refusal tells little: the plant sees a refusal there too.",
        ),
    ),
)


# Intervals that were tried on a length of wire, not on a number of reels.
OF_WIRE = (TriedInterval.REEL_RISK, TriedInterval.INDEX_OF_READINGS, TriedInterval.DRIFT)


def _held_tables() -> tuple[tuple[str, tuple[tuple[str, ...], ...]], ...]:
    """The table of trials in words, by interval, one row a cell."""
    return tuple(
        (figure.value, tuple(_held_row(one) for one in cells() if one.figure is figure))
        for figure in TriedInterval
    )


def _held_row(one: TriedCell) -> tuple[str, ...]:
    return (
        one.kind.value,
        f"{one.lag_one:g}",
        quantity(1000.0 * one.size, "length")
        if one.figure in OF_WIRE
        else f"{one.size:g} {'reel' if one.size == 1 else 'reels'}",
        f"{one.answered} of {one.repetitions}",
        f"{100.0 * one.held:.1f} %" if one.answered else "–",
        f"{100.0 * one.standard_error:.1f} %" if one.answered else "–",
        f"{one.seed}",
        one.date,
    )


def _chosen(record: Guides, guide: Guide) -> Guide:
    """The guide with the plant's own steps, where the record gives any."""
    own = {
        "QUALITY": record.quality_engineer,
        "PROCESS": record.process_engineer,
        "AUDIT": record.auditor,
        "APPLICATION": record.applications_engineer,
    }.get(guide.id, ())
    return Guide(guide.id, guide.title, guide.question, guide.opening, own or guide.steps, guide.mind)


def write_guide_pages(record: Guides, site: Site, only: str | None = None) -> tuple[WrittenFile, ...]:
    """Writes the guides and the glossary.

    Args:
        record: the plant's own steps.
        site: where.
        only: id of the one to write; None for all.
    """
    return tuple(
        write_page(
            site,
            "guide",
            guide.id,
            "guide.html.j2",
            record,
            has_page=lambda where: site.pages is None or where.partition("#")[0] in site.pages,
            guide=_chosen(record, guide),
            guides=NAMES,
            terms=TERMS,
            held=_held_tables() if guide.id == "INTERVALS" else (),
        )
        for guide in GUIDES
        if only is None or guide.id == only
    )
