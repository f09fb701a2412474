"""A lot's history in order, and the wire behind a complaint."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from pipeline.errors import NotFoundError
from pipeline.length.reel_places import told_on_reel
from pipeline.length.reels import PlacedReel
from pipeline.lots.complaint import (
    CutFrom,
    Marks,
    complaint_record,
    readings_around,
    wire_at_mark,
)
from pipeline.lots.field_damage import CAUTIONS, GUIDE
from pipeline.lots.genealogy import WHOLE, Node, Reached
from pipeline.lots.history import (
    HistoryEvent,
    LotHistory,
    history_tables,
    in_order,
    of_acts,
    of_calibrations,
    of_journal,
    of_limits,
)
from pipeline.lots.journal import Entry, next_entry
from pipeline.messages import as_written, message
from pipeline.nonconformance.disposition import Act, Person
from pipeline.nonconformance.finding import Cause, Finding, join_findings, place_sighting
from pipeline.products.limits import Limit
from pipeline.products.source_standing import SourceStanding
from pipeline.sheets.line_sheet import Instrument, LineSheet
from pipeline.units import m_from_foot
from pipeline.why import AtMark
from pipeline.wording.say import plain

AT = datetime(2025, 3, 4, 6, 30, tzinfo=UTC)
LIMIT = Limit(
    limit_id="plant-14", requirement="minimum wall at any point", sense="at least", value=0.3302, unit="mm",
    value_of_record=13.0, unit_of_record="mil", requirement_set="plant rule", document="plant table", edition="2",
    table="row 4", revision="3", effective_from=date(2025, 1, 1), effective_to=None, entered_by="quality engineer",
    checked_by="", source="plant", standing=SourceStanding.PLANT, types=("THHN",),
)  # fmt: skip
LINE = LineSheet(
    id="L1",
    name="line 1",
    plant="demo",
    revision="4",
    take_up_station_m=105.0,
    instruments=(
        Instrument(id="EN1", kind="encoder", station_m=100.0),
        Instrument(
            id="WG1", kind="wall gauge", station_m=20.0, sensors=8,
            calibrated=date(2025, 2, 1), calibration_due=date(2025, 8, 1),
        ),
    ),
)  # fmt: skip


def spark(run: str, at_m: float, cause: Cause | None = None) -> Finding:
    seen = place_sighting("spark-fault", at_m - 0.5, at_m + 0.5, instrument="SP1", readings=1, count=1)
    (found,) = join_findings(run, [replace(seen, reel_id="K1")])
    return replace(found, number=1, cause=cause or found.cause)


def entries() -> list[Entry]:
    first = next_entry(
        None, AT, "load", "R1", {"sentence": "Run R1 was loaded: 3 files, 12 lines set aside."}
    )
    return [first, next_entry(first, AT + timedelta(minutes=1), "assessment", "R2", {"n": 1})]


def history() -> LotHistory:
    acts = (Act("R1-F01", 1, "decide", "scrap", Person("quality engineer"), "thin", AT + timedelta(hours=2)),)
    events = in_order(
        of_acts(acts),
        of_journal(entries(), ["R1"]),
        of_calibrations(LINE),
        of_limits([LIMIT]),
        of_limits([LIMIT]),
    )
    lineage = (
        Reached(Node("run", "R1"), ((0.0, 1500.0),), (Node("reel", "K1"), Node("run", "R1"))),
        Reached(
            Node("material lot", "conductor W1"),
            (WHOLE,),
            (Node("reel", "K1"), Node("run", "R1"), Node("material lot", "conductor W1")),
        ),
    )
    return LotHistory("K1", lineage, (), events, (LIMIT,))


def test_events_stand_in_order_and_each_once() -> None:
    assert [(one.kind, plain(one.told)) for one in history().events] == [
        (
            "limit",
            (
                "minimum wall at any point at least 13 mil came into force, revision 3, entered by quality engineer, "
                "checked by nobody."
            ),
        ),
        ("calibration", "wall gauge WG1 was calibrated; it holds up to 2025-08-01."),
        ("load", "Run R1 was loaded: 3 files, 12 lines set aside."),
        (
            "disposition",
            "decide scrap by quality engineer on 2025-03-04 08:30:00 UTC: thin.",
        ),
    ]
    same_time = [
        HistoryEvent(AT, False, kind, "R1", as_written(kind), "x")
        for kind in ("shipment", "load", "finding", "odd")
    ]
    assert [one.kind for one in in_order(same_time)] == ["load", "finding", "shipment", "odd"]
    (bare,) = of_journal(entries(), ["R2"])
    assert (plain(bare.told), bare.source) == ("assessment of R2.", "journal entry 2")


def test_the_history_becomes_tables() -> None:
    tables = history_tables(
        replace(history(), tables={"coverage": pl.DataFrame({"known_m": [1490.0]})}), plain
    )
    assert sorted(tables) == ["coverage", "events", "limits", "lineage"]
    assert tables["lineage"].rows() == [
        ("run", "R1", 0.0, 1500.0, "reel K1 > run R1"),
        ("material lot", "conductor W1", None, None, "reel K1 > run R1 > material lot conductor W1"),
    ]
    assert tables["limits"]["revision"].to_list() == ["3"]
    assert history_tables(LotHistory("K9", (), (), ()), plain) == {}


REEL = PlacedReel("K1", 1000.0, 2500.0, 1105.0, 2605.0)


def test_a_mark_is_found_on_the_wire() -> None:
    # 820 ft from the outer end of a reel whose wire ends at 2500 m: 2500 - 249.936 m.
    place = wire_at_mark(REEL, 12_820.0, Marks(12_000.0))
    assert place.from_outer_m == pytest.approx(m_from_foot(820.0))
    assert place.wire_m == pytest.approx(2500.0 - m_from_foot(820.0))
    falling = wire_at_mark(REEL, 11_180.0, Marks(12_000.0, rising=False))
    assert falling.wire_m == pytest.approx(place.wire_m)
    # On a 500 ft length whose outer end was 700 ft into the reel, its own 120 ft mark is the same wire.
    cut = CutFrom("P2", m_from_foot(700.0), m_from_foot(1200.0))
    assert wire_at_mark(REEL, 120.0, Marks(0.0), cut=cut).wire_m == pytest.approx(place.wire_m)
    metric = wire_at_mark(REEL, 100.0, Marks(0.0, unit="m"), unsure_m=2.0)
    assert (metric.from_outer_m, metric.wire_m, metric.unsure_m) == (100.0, 2400.0, 2.0)
    unsure = replace(REEL, end_unsure_m=4.0)
    place = wire_at_mark(unsure, 100.0, Marks(0.0, unit="m"))
    assert place.unsure_m == 5.0
    assert plain(place.why_unsure[1]) == (
        "and 4.0 m because the place of the reel change is not known better"
    )


def test_a_mark_that_is_not_on_the_wire_is_told() -> None:
    with pytest.raises(NotFoundError) as told:
        wire_at_mark(REEL, 9_000.0, Marks(12_000.0))
    assert str(told.value) == (
        "reel K1: the mark 9000 ft is not on it. Its marks run from 12000 to 16921 ft; read the mark again."
    )
    with pytest.raises(NotFoundError) as told:
        wire_at_mark(REEL, 900.0, Marks(600.0, rising=False, unit="m"), cut=CutFrom("P2", 100.0, 250.0))
    assert str(told.value) == (
        "length P2: the mark 900 m is not on it. Its marks run from 450 to 600 m; read the mark again."
    )


def measured() -> pl.DataFrame:
    at = np.arange(2380.0, 2420.0, 0.5)
    wall = np.where((at > 2404.0) & (at < 2408.0), None, 0.40)
    return pl.DataFrame(
        {
            "wall_at_m": at,
            "mean_wall_mm": [None if one is None else one + 0.02 for one in wall],
            "thinnest_wall_mm": list(wall),
            "eccentricity_mm": np.full(at.size, 0.02),
            "diameter_at_m": at + 3.0,
            "diameter_mm": np.linspace(2.5, 2.6, at.size),
            "ovality_mm": np.full(at.size, 0.01),
        }
    )


def test_the_record_around_a_mark() -> None:
    place = wire_at_mark(REEL, 100.0, Marks(0.0, unit="m"), unsure_m=1.0)
    roll = Cause("roll", as_written("One of 4 events."), "capstan")
    findings = [spark("R1", 2400.4, roll), spark("R1", 2407.0), spark("R1", 1500.0, roll)]
    elsewhere = [spark("R2", 10.0, replace(roll, told=as_written("One of 7 events."))), spark("R2", 20.0)]
    events = pl.DataFrame({"kind": ["spark fault"] * 3, "at_m": [2400.4, 2407.0, 1500.0]})
    record = complaint_record(place, measured(), events, findings, elsewhere, reach_m=10.0, hole_m=1.0)
    assert record.findings == (findings[0],)
    assert record.near == (findings[1],)
    assert record.same_cause == (findings[2], elsewhere[0])
    assert record.around["events"]["at_m"].to_list() == [2400.4, 2407.0]
    assert record.around["wall"]["wall_at_m"].to_list() == np.arange(2389.0, 2411.5, 0.5).tolist()
    figures = {row["quantity"]: row for row in record.figures.iter_rows(named=True)}
    assert figures["thinnest_wall_mm"]["readings"] == 45 - 7
    assert figures["mean_wall_mm"]["mean"] == pytest.approx(0.42)
    # Half a metre either side of each reading is seen; 2404.5 m to 2407.5 m has no wall reading.
    assert tuple(map(plain, record.told)) == (
        (
            "The mark lies 100.0 m from the outer end (1400.0 m from the core end) of reel K1; it is 2400.0 m of the "
            "run, known to 1.0 m (1.0 m for reading the mark and placing the wire, which this program assumes); what "
            "lies within that counts as at the mark."
        ),
        plain(told_on_reel(findings[0].told, 2500.0)),
        "2 spark faults or surface flaws are on file within 11.0 m of it.",
        "3.0 m of the 22.0 m around it were not seen by the wall gauge.",
        plain(message(AtMark.RECORD)),
    )
    assert record.cautions == CAUTIONS


def test_wire_without_readings_is_not_called_sound() -> None:
    place = wire_at_mark(REEL, 800.0, Marks(0.0, unit="m"))
    record = complaint_record(place, measured(), pl.DataFrame({"at_m": []}, schema={"at_m": pl.Float64}), [])
    assert record.figures["readings"].to_list() == [0] * 5
    assert record.figures["least"].null_count() == 5
    assert "No finding is on file for this wire." in map(plain, record.told)
    assert "22.0 m of the 22.0 m around it were not seen by the wall gauge." in map(plain, record.told)
    assert readings_around(measured(), "wall_at_m", place, 10.0).height == 0


def test_the_field_guide_and_its_cautions() -> None:
    # Common practice, no source.
    assert {one.damage: one.advice for one in GUIDE} == {
        "wrinkle of the covering": "repairable",
        "nick in the covering": "repairable",
        "tear or split of the covering": "repairable",
        "cut or gouge in the insulation": "replace",
        "conductor bared": "replace",
        "heat, chemical or crush damage": "replace",
        "damage whose depth is not known": "inspect first",
    }
    for one in GUIDE:
        assert (one.advice == "repairable") == (one.reaches == "covering")
    assert GUIDE[-1].damage == "damage whose depth is not known"
    text = " ".join(CAUTIONS)
    for word in ("De-energize", "qualified persons", "adopted code", "maker's procedure", "authority"):
        assert word in text
