"""Pieces of mark-up that stand in every row of long tables.

They are functions because a macro of a template takes some ten times as long, and a page of a shift has thousands of
rows. `parts.html.j2` gives them to the templates under their names.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

from markupsafe import Markup, escape

from dashboards.addresses import PageKind
from dashboards.records import GATE_OF, Extreme, ReasonShown, ReelRow, RequirementVerdict
from pipeline.length.reel_places import CORE
from pipeline.messages import Said
from pipeline.products.limits import Limit
from pipeline.quantity import Asked
from pipeline.wording.kinds import KINDS, Kind, Side, System, kind_of, text_of
from pipeline.wording.say import SYSTEMS, pieces_of, plain
from pipeline.wording.templates import CHANNELS

# Every text that is put in below is escaped, or mark-up made here.
NOT_KNOWN = Markup('<span class="none">not known</span>')
# How each group of standings is drawn.
GATE_KEYS = {
    "left": "left",
    "releasable": "releasable",
    "held": "held",
    "no conclusion": "noconclusion",
    "released": "releasable",
    "gone": "gone",
}
OUTCOME_KEYS = {"conforms": "releasable", "does not conform": "held"}
# The basis of a figure, by its unit of inference.
BASIS = {
    "reading": "per reading",
    "section average": "per section",
    "point at specimen scale": "per specimen",
    "reel": "per reel",
    "event": "per event",
}
# Longer names of things are broken by the browser where they must.
ID_MOST = 24


@lru_cache(maxsize=256)
def _kind(name: str) -> tuple[Kind, str, str]:
    """A kind of quantity by its name or store unit, and the mark-up of its unit in each system."""
    kind = KINDS[name] if name in KINDS else kind_of(name)

    def tail(side: Side) -> str:
        gap = "" if side.unit in {"%", "°"} else "\u00a0"
        return str(Markup('<span class="unit">{}{}</span>').format(gap, side.unit)) if side.unit else ""

    return kind, tail(kind.us), tail(kind.si)


@lru_cache(maxsize=4096)
def quantity(
    value: float | None, name: str, against: float | None = None, known_to: float | None = None
) -> Markup:
    """A figure in both unit systems, of which the page shows one.

    Args:
        value: figure in the store's unit; None or NaN gives ``not known``.
        name: kind of quantity (`pipeline.wording.kinds.KINDS`) or a store unit.
        against: the limit it stands beside, so that rounding never moves it across.
        known_to: the standard uncertainty it stands beside, so that no digit promises more.
    """
    if value is None or value != value:
        return NOT_KNOWN
    kind, us_unit, si_unit = _kind(name)
    us = text_of(value, kind, "us", against, known_to) + us_unit
    si = text_of(value, kind, "si", against, known_to) + si_unit
    body = us if us == si else f'<span class="us">{us}</span><span class="si">{si}</span>'
    return Markup(f'<span class="q">{body}</span>')  # noqa: S704


@lru_cache(maxsize=4096, typed=True)
def words(told: Said | Asked) -> Markup:
    """A message, heading or sentence whose figures follow the reader's choice of units on the page.

    Args:
        told: what is on file; anything in it is escaped.
    """
    out = Markup("")
    for piece in pieces_of(told):
        if isinstance(piece, str):
            out += escape(piece)
        else:
            out += Markup('<span class="us">{us}</span><span class="si">{si}</span>').format(**piece)
    return out


@lru_cache(maxsize=64)
def icon(name: str) -> Markup:
    """A small drawing of the page's own."""
    return Markup(f'<svg class="ico" aria-hidden="true"><use href="#i-{escape(name)}"/></svg>')  # noqa: S704


@lru_cache(maxsize=64)
def _badge(key: str, name: str) -> Markup:
    return Markup(f'<span class="badge s-{key}">{icon(key)}{escape(name)}</span>')  # noqa: S704


def gate_key(name: str) -> str:
    """How a standing is drawn: its colour and sign."""
    return GATE_KEYS[GATE_OF[name]]


def standing(name: str) -> Markup:
    """How a reel stands now."""
    return _badge(gate_key(name), name)


def outcome(name: str) -> Markup:
    """What was judged of a requirement."""
    return _badge(OUTCOME_KEYS.get(name, "noconclusion"), name)


def place_fragment(at_m: float) -> str:
    """The fragment that leads to a place on a run page, 40 m on both sides in view."""
    return f"m={max(at_m - 40, 0):.1f}-{at_m + 40:.1f}"


def limit_in(limit: Limit, system: System) -> str:
    """A limit's figure in the reader's unit where its document gives it in another one, else ""."""
    if limit.unit != "mm":
        return ""
    kind = KINDS["diameter" if "diameter" in limit.requirement else "wall"]
    unit = kind.side(system).unit
    return "" if limit.unit_of_record == unit else f"{text_of(limit.value, kind, system)}\u00a0{unit}"


@lru_cache(maxsize=256)
def limit_value(limit: Limit) -> Markup:
    """A limit as its document has it, with its figure in the reader's unit where that is another."""
    shown = Markup('<span class="limit">{} {}\u00a0{}</span>').format(
        limit.sense, limit.as_recorded, limit.unit_of_record
    )
    for system in SYSTEMS:
        if figure := limit_in(limit, system):
            shown += Markup('<span class="{} sub-inline"> ({})</span>').format(system, figure)
    return shown


def limit_source(limit: Limit) -> str:
    """Where a limit stands: document with its edition, table, revision."""
    document = f"{limit.document} ({limit.edition})" if limit.edition else limit.document
    return ", ".join(part for part in (document, limit.table, f"rev. {limit.revision}") if part)


def channel_name(channel: str) -> str:
    """What a reader calls a channel of the log."""
    sensor = channel.removeprefix("wall_").removesuffix("_mm")
    return CHANNELS.get(channel, f"wall sensor {sensor}" if sensor.isdigit() else channel.replace("_", " "))


@lru_cache(maxsize=256)
def _limit_cells(limit: Limit | None) -> tuple[str, str]:
    """The set a limit belongs to, and the limit with its source: mark-up that stands at every reel."""
    if limit is None:
        return "", '<span class="none">none on file</span>'
    held_against = f'{limit_value(limit)}<span class="sub source">{escape(limit_source(limit))}</span>'
    return f'<span class="sub">{escape(limit.requirement_set)}</span>', held_against


def share(part: float, whole: float) -> float:
    """`part` in per cent of `whole`, kept within 0 and 100, for a place on a drawing."""
    return 0.0 if whole <= 0 else round(min(max(100.0 * part / whole, 0.0), 100.0), 3)


def strip(reel: ReelRow, wide: bool = False) -> Markup:
    """A map of the reel from its outer end: intervals hatched by kind, faults as ticks. Places are a layout."""
    length = reel.to_m - reel.from_m
    marks = []
    for one in reel.intervals:
        left, width = share(reel.to_m - one.to_m, length), share(one.to_m - one.from_m, length)
        kind, title = one.kind.replace(" ", "-"), f"{one.kind}: {plain(one.label)}" if one.label else one.kind
        place = f"left:{left}%;width:{width}%"
        marks.append(f'  <i class="seg k-{escape(kind)}" style="{place}" title="{escape(title)}"></i>\n')
    marks += [
        f'  <i class="tick" style="left:{share(reel.to_m - one.at_m, length)}%" title="{escape(one.kind)}"></i>\n'
        for one in reel.faults
    ]
    return Markup(  # noqa: S704
        f'<div class="strip{" strip-wide" if wide else ""}" role="img" aria-label="Map of reel {escape(reel.reel_id)}: '
        f'{len(reel.intervals)} marked stretches, {len(reel.faults)} faults">\n{"".join(marks)}</div>'
    )


@dataclass(frozen=True, slots=True)
class LinkedCells:
    """Cells that lead to other pages.

    Args:
        href: the link to a page by its kind, id and fragment, as seen from this one; "" where there is none.
    """

    href: Callable[[PageKind, str, str], str]

    def link(self, kind: PageKind, record_id: str, text: str = "", fragment: str = "") -> Markup:
        """The name of something, leading to its page where it has one."""
        target = self.href(kind, record_id, fragment) if record_id else ""
        shown = text or record_id
        size = "id" if len(shown) <= ID_MOST else "long"
        if target:
            return Markup(f'<a href="{escape(target)}" class="{size}">{escape(shown)}</a>')  # noqa: S704
        return Markup(f'<span class="{size}">{escape(shown)}</span>')  # noqa: S704

    def extreme(
        self,
        worst: Extreme | None,
        limit: Limit | None = None,
        requirement: str = "",
        run_id: str = "",
    ) -> Markup:
        """One reading that stands for many, and where it is: on its reel from either end, or on the run."""
        if worst is None:
            return NOT_KNOWN
        kind = "diameter" if "diameter" in requirement else "wall" if worst.unit == "mm" else worst.unit
        run = worst.evidence.run_id or run_id
        target = self.href("run", run, place_fragment(worst.at_m)) if run else ""
        on_reel = worst.outer_m is not None
        at = f"at {quantity(worst.outer_m if on_reel else worst.at_m, 'place')}"
        at += f" ({CORE} {quantity(worst.core_m, 'place')})" if on_reel else " of the run"
        if target:
            comma = "," if worst.angle_deg is not None else ""
            at = f'<a href="{escape(target)}">{at}<span class="sr"> on the run page</span>{comma}</a>'
        if worst.angle_deg is not None:
            at += f"{'' if target else ','} thin toward {quantity(worst.angle_deg, 'angle')}"
        shown = quantity(worst.value, kind, limit.value if limit else None)
        return Markup(f'<span class="reading">{shown}</span><span class="where">{at}</span>')  # noqa: S704

    def reasons(self, those: Sequence[ReasonShown], shown: int = 4) -> Markup:
        """Why a reel stands as it does: the first few at once, the rest one click away, none left out."""
        told = self._reasons(those[:shown])
        if len(those) > shown:
            more = self._reasons(those[shown:])
            told += f'<details class="more-reasons"><summary>{len(those) - shown} more</summary>{more[:-1]}</details>'
        return Markup(told)  # noqa: S704

    def judgement_row(self, one: RequirementVerdict, run_id: str) -> Markup:
        """A requirement on a reel, its limit and what the evidence says."""
        limit_set, held_against = _limit_cells(one.limit)
        told = f'{outcome(one.outcome)}<span class="sub">{words(one.sentence)}</span>'
        if one.risk:
            rule = "" if one.decision_rule is None else plain(one.decision_rule)
            # What conforms is told with its rule.
            rule = "" if not rule or one.outcome == "conforms" else f" {words(rule[:1].upper() + rule[1:])}."
            told += f'<span class="sub">Probability {escape(one.risk)}.{rule}</span>'
        cells = (
            ("Limit", held_against),
            ("Worst reading", self.extreme(one.worst, one.limit, one.requirement, run_id)),
            ('Outcome" class="c-wide', told),
            ("Judged length", quantity(one.judged_m, "length")),
            ("Unmonitored", quantity(one.unmonitored_m, "length")),
        )
        rows = "".join([f'      <td data-l="{name}">{cell}</td>\n' for name, cell in cells])
        head = f'<th scope="row" data-l="Requirement">{escape(one.requirement)}{limit_set}</th>'
        return Markup(f"    <tr>\n      {head}\n{rows}    </tr>\n")  # noqa: S704

    def _reasons(self, those: Sequence[ReasonShown]) -> str:
        parts = []
        for one in those:
            finding = (
                f' <span class="sub-inline">{self.link("finding", one.finding_id)}</span>'
                if one.finding_id
                else ""
            )
            parts.append(f"<li>{words(one.sentence)}{finding}</li>")
        return f'<ul class="reasons">{"".join(parts)}</ul>\n'
