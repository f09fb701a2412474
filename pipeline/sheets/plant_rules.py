"""The rules that a plant judges by, as its sheet has them."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from pipeline.sheets.toml_file import Sheet

DecisionRule = Literal["simple acceptance", "guard band"]


Disposition = Literal["rework", "repair", "regrade", "scrap", "concession", "release"]


Power = Disposition | Literal["hold", "lift hold", "ship", "ship held", "hand in sample", "withdraw sample"]


Positive = Annotated[float, Field(gt=0)]


NotNegative = Annotated[float, Field(ge=0)]


Share = Annotated[float, Field(gt=0, lt=1)]


class DecisionSheet(Sheet):
    """How measurement uncertainty enters a judgement (JCGM 106:2012, clause 8).

    Args:
        rule: ``guard band``, the default, asks that the wire meets the limit with the confidence given
            (ISO 14253-1); ``simple acceptance`` compares the estimate with the limit, where a plant writes it.
        confidence: one-sided confidence of the guard band, 0.5 to 1; not used by simple acceptance.
    """

    rule: DecisionRule = "guard band"
    confidence: Annotated[float, Field(gt=0.5, lt=1.0)] = 0.95


class Holds(Sheet):
    """When a reel is held whatever its walls say.

    Args:
        longest_unmonitored_m: longest length of a reel that may be unmonitored, or untested by the spark test [m].
            Where this and the share are left out, none may; where one is left out, the other bounds both.
        unmonitored_pct: greatest share of a reel that may be unmonitored or untested [%].
        longest_untested_m: the same as the first for the spark test alone [m]; it takes the place of the first there.
        untested_pct: the same as the second for the spark test alone [%].
        spark_faults_per_reel: greatest number of spark faults on one reel, after double counts are joined; no number
            holds of itself where it is left out.
        surface_flaw_mm: size from which a surface flaw holds the wire [mm]; smaller ones are listed only, and
            all are where it is left out.
        calibration_overdue: True to hold wire measured by an instrument past its calibration date.
    """

    longest_unmonitored_m: NotNegative | None = None
    unmonitored_pct: Annotated[float, Field(ge=0, le=100)] | None = None
    longest_untested_m: NotNegative | None = None
    untested_pct: Annotated[float, Field(ge=0, le=100)] | None = None
    spark_faults_per_reel: Annotated[int, Field(ge=0)] | None = None
    surface_flaw_mm: Annotated[float, Field(gt=0)] | None = None
    calibration_overdue: bool = True

    @property
    def has_rule_of_spark_test(self) -> bool:
        """Whether the sheet writes a rule for the spark test alone."""
        return self.longest_untested_m is not None or self.untested_pct is not None

    @property
    def of_spark_test(self) -> Holds:
        """The rules for wire without a full spark test: those written for it alone, else those for any instrument."""
        if not self.has_rule_of_spark_test:
            return self
        own = {"longest_unmonitored_m": self.longest_untested_m, "unmonitored_pct": self.untested_pct}
        return self.model_copy(update=own)


class SparkTest(Sheet):
    """What the plant asks of the in-line spark test, by the standard it works to.

    The default figures are from memory of UL 1581 and UL 2556; read your own copies.

    Args:
        cycles_asked: full cycles of an alternating voltage at every point.
        dwell_asked_s: time in the electrode at a direct voltage [s].
        chance_per_crest: chance that a defect breaks down at one crest, the plant's own estimate; none is published.
    """

    cycles_asked: Positive = 9.0
    dwell_asked_s: Positive = 0.05
    chance_per_crest: Annotated[float, Field(gt=0, le=1)] | None = None


class Findings(Sheet):
    """How readings become findings; what is left out is as here.

    Args:
        leave_guard_u: a failing length ends where the value is this many standard uncertainties inside the limit.
        merge_gap_m: gaps up to this in a failing length are merged, so that one defect is one finding [m].
        shortest_m: a failing length shorter than this, seen by one instrument alone, is told as unconfirmed and holds
            nothing until a second instrument sees it [m]; 0 lets one reading decide.
        level_change_mm: change of level of the mean wall or of the conductor's offset from which the process counts
            as unstable [mm]; none does where it is left out.
    """

    leave_guard_u: NotNegative = 2.0
    merge_gap_m: NotNegative = 15.0
    shortest_m: NotNegative = 0.0
    level_change_mm: Positive | None = None


class Severity(Sheet):
    """How grave one rule's findings are to this plant, and whether they hold a release.

    Args:
        severity: how grave.
        holds_release: whether such a finding holds the reel.
    """

    severity: Literal["critical", "major", "minor"]
    holds_release: bool = True


class SecondPerson(Sheet):
    """Which acts need a second person.

    Args:
        dispositions: dispositions that a second person must confirm; both give the plant's mark of themselves.
        limits: True if whoever checks a limit must be another role than the one that entered it.
    """

    dispositions: tuple[Disposition, ...] = ()
    limits: bool = False
