"""How a record becomes a page: the templates, what they may call, and how figures are written in them."""

from __future__ import annotations

import json
import math
import re
from datetime import date, datetime
from functools import cache, lru_cache
from typing import Any
from zoneinfo import ZoneInfo

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from dashboards import table_cells as cells
from dashboards.addresses import PageKind, address, from_page
from dashboards.answers_shown import (
    GROUP_NOTES,
    answer_shown,
    answered_first,
    note_icon,
    said_of_all,
    warnings_of_all,
)
from dashboards.records import FindingRow, Plant
from dashboards.site import (
    PLOT_SCRIPT,
    WORKBOOK_SCRIPT,
    Site,
    WrittenFile,
    asset_mark,
    record_sha256,
    write_if_changed,
)
from dashboards.table_cells import BASIS, NOT_KNOWN, LinkedCells, quantity, share, words
from pipeline.length.reel_places import CORE, COUNTED
from pipeline.messages import Measure
from pipeline.results import Result
from pipeline.wording.kinds import KINDS, Side, kind_of, text_of
from pipeline.wording.say import LEAST_TOLD, named, plain
from pipeline.words import counted


def _missing(value: float | None) -> bool:
    return value is None or (isinstance(value, float) and math.isnan(value))


SUPERSCRIPT = str.maketrans(
    "-0123456789", "\u207b\u2070\u00b9\u00b2\u00b3\u2074\u2075\u2076\u2077\u2078\u2079"
)


def few_digits(figure: float) -> str:
    """A figure without a known unit, with the four digits anybody reads on for; whole from a thousand on."""
    if 1000.0 <= abs(figure) < 1e15:
        return f"{figure:,.0f}"
    text, _, power = f"{figure:.4g}".partition("e")
    return f"{text}\u00a0\u00d7\u00a010{str(int(power)).translate(SUPERSCRIPT)}" if power else text


# Figures behind a result that are in the unit of what was read, which the result does not carry.
OF_READINGS = frozenset(
    {"mean", "sd", "standard_deviation", "grand_mean", "location", "residual_sd"}
    | {"amplitude", "amplitude_low", "amplitude_high"}
)
# What short names of such figures stand for.
LONG_NAMES = {"sd": "standard deviation", "cos": "cosine", "sin": "sine", "phi": "autocorrelation at lag 1"}
P_VALUES = {
    "p_value": "p-value",
    "p_local": "p-value if named beforehand",
    "dispersion_p": "p-value of the dispersion",
}


def unit_read(answer: Result) -> str:
    """The unit of what a result was worked out of, by its limit or its channel; "" where neither says it."""
    asked = answer.question.arguments
    limit, channel = asked.get("limit"), str(asked.get("channel", ""))
    if isinstance(limit, Measure):
        return limit.unit
    return "mm" if channel.endswith("_mm") else "%" if channel.endswith("_pct") else ""


def detail(name: str, figure: float, unit: str = "") -> tuple[str, Markup]:
    """A figure behind a result with what it is of: in both unit systems where its unit is known.

    Args:
        name: its name; one that ends in a unit is in that unit.
        figure: the figure.
        unit: unit of what was read (`unit_read`).
    """
    ends = next((one for one in _SAVED if name.endswith(f"_{one}") and not name.endswith("_m_per_km")), "")
    label = " ".join(LONG_NAMES.get(one, one) for one in name.removesuffix(f"_{ends}").split("_"))
    if name in P_VALUES:
        return P_VALUES[name], Markup("{}").format(
            f"< {LEAST_TOLD:.4f}" if figure < LEAST_TOLD else few_digits(figure)
        )
    if not ends and not (unit and name in OF_READINGS):
        return label, Markup("{}").format(few_digits(figure))
    kind = KINDS[_SAVED[ends]] if ends else kind_of(unit)
    spans = [
        Markup('<span class="{}">{}<span class="unit">\u00a0{}</span></span>').format(
            system, few_digits(figure * side.factor + side.offset), side.unit
        )
        for system in ("us", "si")
        for side in (kind.side(system),)
    ]
    return label, Markup('<span class="q">{}{}</span>').format(*spans)


def stretch(from_m: float | None, to_m: float | None) -> Markup:
    """A stretch of wire, ``from`` to ``to``, in both unit systems."""
    if from_m is None or to_m is None:
        return NOT_KNOWN
    shown = []
    for system in ("us", "si"):
        kind = KINDS["place"]
        ends = (text_of(from_m, kind, system), text_of(to_m, kind, system))
        text = ends[0] if ends[0] == ends[1] else f"{ends[0]} to {ends[1]}"
        unit = kind.side(system).unit
        shown.append(
            Markup('<span class="{}">{}<span class="unit">\u00a0{}</span></span>').format(system, text, unit)
        )
    return Markup('<span class="q qi">{}{}</span>').format(*shown)


def on_reel(one: FindingRow) -> Markup:
    """Where a finding lies: on its reel from the outer end, with the core end's figures and the run's below."""
    of_run = Markup('<span class="sub">run {}</span>').format(stretch(one.from_m, one.to_m))
    if one.outer_m is None or one.core_m is None:
        return of_run
    core = Markup('<span class="sub">{} {}</span>').format(CORE, stretch(*one.core_m))
    return stretch(*one.outer_m) + core + of_run


def places_saved(one: FindingRow) -> str:
    """A finding's places for a saved table [m]: start and end from the outer end, the core end and on the run."""
    ends = (*(one.outer_m or (None, None)), *(one.core_m or (None, None)), one.from_m, one.to_m)
    return " ".join("" if end is None else f"{end:.3f}" for end in ends)


def moment(at: datetime | None, zone: str) -> Markup:
    """An instant in the plant's zone, with the zone's abbreviation."""
    if at is None:
        return NOT_KNOWN
    local = at.astimezone(ZoneInfo(zone))
    return Markup('<time datetime="{}">{}</time>').format(
        at.isoformat(), local.strftime("%Y-%m-%d %H:%M ") + (local.tzname() or "")
    )


def clock(at: datetime | None, zone: str) -> str:
    """Hour and minute in the plant's zone."""
    return "not known" if at is None else at.astimezone(ZoneInfo(zone)).strftime("%H:%M")


def day(on: date | None) -> str:
    """A day in words, ``Thursday 12 March 2026``."""
    return "not known" if on is None else f"{on:%A} {on.day} {on:%B %Y}"


def group_word(by: str, heading: str) -> str:
    """One word that stands for a group of rows, ``line=l1;``: a link may narrow a table to just that group."""
    return f"{by}={'_'.join(heading.lower().split())};"


def json_script(value: Any) -> Markup:
    """A value as JSON that is safe inside a script element."""
    text = json.dumps(value, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    for bad, good in (("<", "\\u003c"), (">", "\\u003e"), ("&", "\\u0026"), ("\u2028", "\\u2028")):
        text = text.replace(bad, good)
    return Markup(text)  # noqa: S704 - escaped above for its place, a JSON script element


# Last letters of a saved column's name -> kind of quantity, the longest first.
_SAVED: dict[str, str] = {
    "kg_per_km": "mass per length",
    "per_km": "per length",
    "degC": "temperature",
    "mm": "wall",
    "kg": "mass",
    "bar": "pressure",
    "m": "place",
}


def saved_units() -> list[dict[str, Any]]:
    """How a saved table's columns become the reader's units, by the last letters of their names."""
    return [
        {"ends": ends, "us": _saved_side(KINDS[kind].us, ends), "si": _saved_side(KINDS[kind].si, ends)}
        for ends, kind in _SAVED.items()
    ]


def _saved_side(side: Side, ends: str) -> dict[str, Any]:
    kept = side.factor == 1.0 and side.offset == 0.0
    name = ends if kept else re.sub(r"\W+", "_", side.unit.replace("°", "deg"))
    return {"ends": name, "unit": side.unit, "factor": side.factor, "offset": side.offset}


def capital(text: Markup) -> Markup:
    """Words with a capital letter at their start."""
    return Markup(text[:1].upper()) + text[1:]  # noqa: S704 - markup already, cut at a letter


def unbroken(text: str) -> str:
    """A sentence whose figures stay on one line with their units."""
    return re.sub(r"(?<=\d) (?=(?:ft|m|mil|mm|kV)\b)", "\u00a0", text)


# Where the review site puts who is signed in, and what they may do about what a page shows.
DESK_MARKS = {"who": Markup("<!--desk:who-->"), "acts": Markup("<!--desk:acts-->")}


@lru_cache(maxsize=1)
def environment() -> Environment:
    """The templates, with escaping on and every undefined name an error."""
    made = Environment(
        loader=PackageLoader("dashboards", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    made.globals.update(
        cells=cells,
        q=quantity,
        basis_of=BASIS,
        few_digits=few_digits,
        detail=detail,
        unit_read=unit_read,
        of_readings=OF_READINGS,
        stretch=stretch,
        on_reel=on_reel,
        places_saved=places_saved,
        counted_from=COUNTED,
        moment=moment,
        clock=clock,
        day=day,
        share=share,
        answer_shown=answer_shown,
        warnings_of_all=warnings_of_all,
        answered_first=answered_first,
        group_notes=GROUP_NOTES,
        note_icon=note_icon,
        said_of_all=said_of_all,
        counted=counted,
        group_word=group_word,
        saved_units=saved_units(),
        workbook_script=WORKBOOK_SCRIPT,
        served=False,
        desk=DESK_MARKS,
    )
    made.filters["words"] = words
    made.filters["plain"] = plain
    made.filters["named"] = named
    made.filters["capital"] = capital
    made.filters["unbroken"] = unbroken
    made.filters["channel_name"] = cells.channel_name
    made.filters["json_script"] = json_script
    made.tests["missing"] = _missing
    return made


SITE_LINKS: tuple[tuple[str, PageKind], ...] = (
    ("All shifts", "index"),
    ("Nonconformance", "nonconformance"),
    ("Capability", "capability"),
    ("Faults", "faults"),
    ("Excess wall", "overwall"),
    ("Data quality", "data quality"),
    ("Guides", "guide"),
)


def write_page(
    site: Site,
    kind: PageKind,
    record_id: str,
    template: str,
    record: Any,
    plots: bool = False,
    plots_late: bool = False,
    **extra: Any,
) -> WrittenFile:
    """Renders a record with a template and writes it at its address if that changes anything.

    Args:
        site: the site.
        kind: kind of page.
        record_id: id that names the file.
        template: file of the template.
        record: the record; it must have a `plant` and a `stamp`.
        plots: whether the page needs the plotting script.
        plots_late: whether a plain drawing is shown first and the plotting script fetched after it.
        **extra: what the template needs besides.
    """
    here = address(kind, record_id)
    plant: Plant = record.plant

    @cache
    def page_at(target_kind: PageKind, target_id: str) -> str:
        if not site.links_to(target_kind, target_id):
            return ""
        return from_page(here, address(target_kind, target_id))

    def href(target_kind: PageKind, target_id: str = "", fragment: str = "") -> str:
        target = page_at(target_kind, target_id)
        return f"{target}#{fragment}" if target and fragment else target

    def asset_href(name: str) -> str:
        return f"{from_page(here, 'assets/' + name)}?v={asset_mark(name)}"

    text = (
        environment()
        .get_template(template)
        .render(
            record=record,
            plant=plant,
            stamp=record.stamp,
            kind=kind,
            href=href,
            linked=LinkedCells(href),
            asset=asset_href,
            plot_script=asset_href(PLOT_SCRIPT) if plots else "",
            plot_late=plots and plots_late,
            site_links=[(label, href(target)) for label, target in SITE_LINKS],
            digest=record_sha256(record),
            to_root=lambda target: from_page(here, target),
            served=site.served,
            **extra,
        )
    )
    return write_if_changed(site, here, text.encode("utf-8", "replace"))
