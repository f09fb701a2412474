"""How a record becomes a PDF: offline, from the Typst wheel, the same bytes for the same data.

Numbers are put into words before they reach the template; the template lays out and works nothing out. Only the
fonts that come with the wheel are used, so that another machine prints the same bytes.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from importlib.resources import as_file, files
from typing import Any
from zoneinfo import ZoneInfo

from dashboards.answers_shown import answer_shown
from dashboards.records import Answer, DispositionRow, Extreme, FindingRow, Plant, Stamp
from dashboards.table_cells import limit_in
from pipeline.errors import Complaint, ReelproofError
from pipeline.messages import Said
from pipeline.products.limits import Limit
from pipeline.quantity import Asked
from pipeline.results import Refused
from pipeline.wording.kinds import KINDS, System, kind_of, text_of
from pipeline.wording.say import text_in

CAUTIONS = (
    "In-line readings support the tests of the adopted standard on cut samples. They do not replace them.",
    (
        "Releasable means that the evidence on file supports release. Release, rework, regrade, repair, concession "
        "and scrap are decided by qualified persons under the plant's procedure, the adopted standard and local codes."
    ),
    (
        "A spark tester works at high voltage. A spark test without a fault does not replace a "
        "voltage-withstand or insulation-resistance test."
    ),
)


@dataclass(frozen=True, slots=True)
class Printing:
    """Who prints, when, and by which revision of the form; all of it stands at the foot of every page.

    Args:
        by: role or name of who prints.
        at: when; the caller says, so that the same record can be printed again to the same bytes.
        revision: revision of the form.
        journal_root: size and root of the journal when it was printed, as ``SIZE:ROOT``, the anchor outside the
            store; "" for none.
        signed_root: the newest root that was signed, with its key; "" for none.
    """

    by: str
    at: datetime
    revision: str = "1"
    journal_root: str = ""
    signed_root: str = ""


@dataclass(frozen=True, slots=True)
class Wording:
    """Puts figures and instants into words, in one plant's units and zone."""

    plant: Plant

    @property
    def system(self) -> System:
        """The plant's unit system."""
        return "us" if self.plant.units == "mil and foot" else "si"

    def quantity(self, value: float | None, name: str, against: float | None = None) -> str:
        """A figure with its unit, of a kind of quantity or a store unit; never rounded across `against`."""
        if value is None or value != value:
            return "not known"
        kind = KINDS[name] if name in KINDS else kind_of(name)
        unit = kind.side(self.system).unit
        gap = "" if unit in {"", "%", "°"} else "\u00a0"
        return f"{text_of(value, kind, self.system, against)}{gap}{unit}"

    def stretch(self, from_m: float | None, to_m: float | None) -> str:
        """A stretch of wire."""
        if from_m is None or to_m is None:
            return "not known"
        return f"{self.quantity(from_m, 'place')} to {self.quantity(to_m, 'place')}"

    def on_reel(self, one: FindingRow) -> str:
        """Where a finding lies: on its reel from either end, or on the run where it is on no reel."""
        if one.outer_m is None or one.core_m is None:
            return f"{self.stretch(one.from_m, one.to_m)} of the run"
        return (
            f"{self.stretch(*one.outer_m)} from the outer end ({self.stretch(*one.core_m)} from the core end)"
        )

    def moment(self, at: datetime | None) -> str:
        """An instant in the plant's zone."""
        if at is None:
            return "not known"
        local = at.astimezone(ZoneInfo(self.plant.zone))
        return f"{local:%Y-%m-%d %H:%M} {local.tzname() or ''}".strip()

    def sentence(self, told: Said | Asked) -> str:
        """A sentence, message or heading with its figures in the plant's units."""
        return text_in(told, self.system)

    def extreme(self, worst: Extreme | None, limit: Limit | None, kind: str = "") -> str:
        """A worst reading, its place and direction: on its reel from either end, or on the run."""
        if worst is None:
            return "not known"
        name = kind or ("wall" if worst.unit == "mm" else worst.unit)
        told = f"{self.quantity(worst.value, name, limit.value if limit else None)} at "
        if worst.outer_m is None:
            told += f"{self.quantity(worst.at_m, 'place')} of the run"
        else:
            outer, core = self.quantity(worst.outer_m, "place"), self.quantity(worst.core_m, "place")
            told += f"{outer} from the outer end ({core} from the core end)"
        if worst.angle_deg is not None:
            told += f", thin toward {self.quantity(worst.angle_deg, 'angle')}"
        return told

    def limit(self, limit: Limit) -> str:
        """A limit as its document states it, with its figure in the plant's unit where that is another."""
        shown = limit_in(limit, self.system)
        return limit_words(limit) + (f" ({shown})" if shown else "")

    def answer(self, answer: Answer) -> dict[str, Any]:
        """A result or refusal as texts for a table."""
        if isinstance(answer, Refused):
            return {
                "question": self.sentence(answer.question),
                "estimate": "no result",
                "interval": self.sentence(answer.reason),
                "how": f"{self.sentence(answer.method)}; {answer.n:,} on hand",
                "warnings": [],
            }
        shown = answer_shown(answer)
        side = shown.us if self.system == "us" else shown.si
        how = f"{self.sentence(answer.method)}; about a {answer.unit_of_inference}; n {answer.n:,}"
        if answer.effective_n is not None:
            how += f", effective n {answer.effective_n:,.4g}"
        if answer.known_m is not None:
            how += f", known length {self.quantity(answer.known_m, 'length')}"
        return {
            "question": self.sentence(answer.question),
            "estimate": f"{side.estimate} {side.unit}".strip(),
            "interval": f"{side.interval} ({shown.confidence})",
            "how": how,
            "warnings": [self.sentence(one) for one in answer.warnings],
        }

    def disposition(self, one: DispositionRow) -> str:
        """A decision in a sentence."""
        who = f"{one.role} and {one.second_role}" if one.second_role else one.role
        tail = f" (journal {one.journal_entry})" if one.journal_entry else ""
        subject = f"Reel {one.reel_id}: " if one.reel_id else ""
        return f"{subject}{one.decision} by {who}, {self.moment(one.decided_at)}: {one.reason}{tail}"


def limit_words(limit: Limit) -> str:
    """A limit as its document states it."""
    return f"{limit.sense} {limit.as_recorded} {limit.unit_of_record}"


def limit_table(limits: Sequence[Limit]) -> list[dict[str, str]]:
    """Limits as rows of the table of limits."""
    return [
        {
            "requirement": one.requirement,
            "set": f"{one.requirement_set}; {one.limit_id}",
            "limit": limit_words(one),
            "document": " ".join(part for part in (one.document, one.edition, one.table) if part),
            "revision": one.revision,
            "in_force": f"{one.effective_from or 'not known'} to {one.effective_to or 'today'}",
            "entered": f"{one.entered_by or 'not known'}, {one.checked_by or 'not known'}",
            "status": ". ".join(part for part in (one.standing, one.note) if part),
        }
        for one in limits
    ]


def shared_data(plant: Plant, stamp: Stamp, digest: str, printing: Printing, form: str) -> dict[str, Any]:
    """What every printed record carries: alarms, plant, paper, foot, cautions and where its figures come from."""
    wording = Wording(plant)
    provenance = [
        [
            "Assessed",
            f"{wording.moment(stamp.assessed_at)}{' by ' + stamp.assessed_by if stamp.assessed_by else ''}",
        ],
        ["Program", stamp.program],
        ["Assessments", ", ".join(stamp.assessment_ids) or "not known"],
        ["Revision of the limits", stamp.revision or "not known"],
        *([["Journal root", root]] if (root := printing.journal_root or stamp.journal_root) else []),
        *([["Signed root", printing.signed_root]] if printing.signed_root else []),
        *[["Uncertainty", one] for one in stamp.decision_rules],
    ]
    return {
        "plant": plant.name,
        "is_demo": plant.is_demo,
        "paper": "us-letter" if wording.system == "us" else "a4",
        "form": form,
        "revision": printing.revision,
        "printed_at": wording.moment(printing.at),
        "printed_by": printing.by,
        "program": stamp.program,
        "digest": digest,
        "alarms": [f"Reel {one.reel_id}: {wording.sentence(one.sentence)}" for one in stamp.left_held],
        "cautions": [*CAUTIONS, *plant.cautions],
        "provenance": provenance,
        "limits": limit_table(stamp.limits),
    }


def _printable(value: Any) -> Any:
    """The data without characters that have no place in a PDF (controls and half surrogates)."""
    if isinstance(value, str):
        clean = value.encode("utf-8", "replace").decode("utf-8")
        return "".join(one if one.isprintable() or one in "\u00a0\u202f" else "\ufffd" for one in clean)
    if isinstance(value, dict):
        return {key: _printable(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_printable(one) for one in value]
    return value


def typeset(template: str, data: dict[str, Any], at: datetime) -> bytes:
    """The PDF of a template filled with data.

    Args:
        template: file of the template.
        data: plain values.
        at: instant for the file's own creation date.

    Raises:
        ReelproofError: the record cannot be printed.
    """
    import typst

    text = json.dumps(_printable(data), sort_keys=True, ensure_ascii=False, allow_nan=False)
    with as_file(files("pipeline.reports") / "templates") as folder:
        try:
            return bytes(
                typst.compile(
                    folder / template,
                    root=folder,
                    sys_inputs={"data": text},
                    ignore_system_fonts=True,
                    format="pdf",
                    timestamp=int(at.timestamp()),
                )
            )
        except typst.TypstError as fault:
            raise ReelproofError(
                Complaint(
                    template, f"the record cannot be printed ({fault})", "Tell the makers of this program"
                )
            ) from None
