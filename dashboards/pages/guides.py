"""The guides: one page a reader through this plant's own findings, a glossary, and the cautions where they belong."""

from __future__ import annotations

from dataclasses import dataclass

from dashboards.glossary import TERMS
from dashboards.records import Guides, GuideStep
from dashboards.rendering import write_page
from dashboards.site import Site, Written

NAMES: tuple[tuple[str, str], ...] = (
    ("", "All guides and the glossary"),
    ("QUALITY", "Quality engineer, at the start of the shift"),
    ("PROCESS", "Process engineer, at the line"),
    ("AUDIT", "Auditor"),
    ("APPLICATION", "Applications engineer"),
    ("LIMITS", "What the record cannot know"),
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
        "Where do I start, and what does this word mean here?",
        (
            "One page answers one question. Start with the guide for your work; every figure links to its evidence.",
        ),
    ),
    Guide(
        "QUALITY",
        "Ten minutes at the start of the shift",
        "What may leave, what may not, and what do I do first?",
        ("The shift page is the one to open. The rest of it is there when a figure needs an answer.",),
        _steps(
            (
                "Open the latest shift",
                "Read the three figures at the top, then the list of what to do first.",
            ),
            (
                "Go to each held reel",
                "Its page says why, where, and by how much; the map shows where it would be cut.",
            ),
            (
                "Look at what was not seen",
                "Unmonitored and untested length is told on every reel. It is not a pass.",
            ),
            (
                "Decide, or ask for a cut sample",
                "A stretch within the uncertainty of the limit is settled by a slice.",
            ),
        ),
        (
            "Releasable is what the evidence says. The release is yours, under the plant's procedure.",
            "An in-line reading averages over some wire; the standard's slice does not. Both have their place.",
        ),
    ),
    Guide(
        "PROCESS",
        "At the line",
        "What should I turn, and did it help?",
        ("The run page shows what the wire did; the centring and overwall pages show what it costs.",),
        _steps(
            (
                "Open the run",
                "Zoom to the finding: wall, diameter and speed stand under each other on one length.",
            ),
            (
                "Look at the centre",
                "The polar path shows which way the conductor is off and whether it wanders.",
            ),
            (
                "Ask which requirement binds",
                "Better centring saves compound only where the minimum at any point binds.",
            ),
            ("Look for a repeat", "Faults at one spacing point to the roll whose turn fits."),
        ),
        (
            "Hot parts, stored pressure, moving wire: the plant's own procedure comes first.",
            "Advice here gives direction and size. Ceilings of pressure, temperature and speed are the plant's.",
        ),
    ),
    Guide(
        "AUDIT",
        "For the auditor",
        "Which limit, which revision, which reading, and has anything been changed since?",
        ("The foot of every page names the assessments, the limits with document and revision, and a hash.",),
        _steps(
            (
                "Pick a figure",
                "Follow its link to the place on the wire, and from there to the log file and line.",
            ),
            (
                "Pick a limit",
                "The foot of the page gives document, edition, table, revision, who entered and checked it.",
            ),
            ("Pick a lot", "Its page lists everything that happened in order, and every earlier judgement."),
            (
                "Check that nothing was changed",
                "The exported pack carries a manifest of hashes and a script to check it.",
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
        "What must this wire be, and how do two constructions compare?",
        ("The construction comparison puts two wires side by side, each value with its source.",),
        _steps(
            (
                "Open a comparison",
                "Walls, diameters, mass, stress and temperatures, each with document and table.",
            ),
            (
                "Mind the blanks",
                "Where no source was seen the cell says so. Ask for the document before quoting.",
            ),
            ("Follow a complaint back", "From reel and footage mark to the wire's record around it."),
        ),
        (
            "Ratings and listings belong to a maker's listing and to the adopted code.",
            "Nothing here decides about wire in service: de-energise, qualified persons, the adopted code.",
        ),
    ),
    Guide(
        "LIMITS",
        "What the record cannot know",
        "Which wire could be bad without anything here showing it?",
        (
            "What instruments cannot see is never shown as good. These limits stay even where nothing is told.",
        ),
        _steps(
            (
                "Between the sensors",
                "A notch narrower than their spacing passes between them; three lobes have one diameter everywhere.",
            ),
            (
                "With few sensors",
                "Under five, lobes are not seen: the largest of cut samples are taken off, or nothing is judged.",
            ),
            (
                "Within a reading",
                "It averages the wire that ran past, 2 m at 1200 m/min: a shorter thin place reads too thick.",
            ),
            (
                "Under a covering",
                "A gauge that reads both layers as one only bounds the insulation; judge the covering on samples.",
            ),
            (
                "With a diameter only",
                "It stays the same off centre: it can show a certain failure of the minimum wall, never a pass.",
            ),
            (
                "A bias all gauges share",
                "Wrong constants that cancel each other agree with each other: only cut samples show them.",
            ),
            (
                "A clean spark count",
                "A defect that does not break down is not counted: a clean count proves no insulation.",
            ),
            (
                "Where on the reel",
                "A slip that neither the line speed nor a footage mark shows moves every place after it.",
            ),
            (
                "After the line",
                "Nothing here knows what happened in rewinding, in store, in transport or on site.",
            ),
        ),
        (
            "In-line evidence supports the tests that the adopted standard asks for; it does not replace them.",
            "No conclusion is no pass: inspect the wire by other means, or do not release it on this evidence.",
        ),
    ),
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


def write_guide_pages(record: Guides, site: Site, only: str | None = None) -> tuple[Written, ...]:
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
        )
        for guide in GUIDES
        if only is None or guide.id == only
    )
