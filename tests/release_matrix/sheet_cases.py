"""Cases of sheets: plant, line and run sheets with omissions, slips and relaxations, on good and plainly bad wire."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from tests.other_lines.products import THHN8, THHN14, XHHW8, XHHW12, Made
from tests.release_matrix.cases import Case, Label, Sheet
from tests.release_matrix.data_cases import Scene, scenes
from tests.release_matrix.plants import Entered, PlantText

POINT, CONCENTRICITY, DIAMETER, VOLTAGE = (
    "minimum wall at any point",
    "concentricity",
    "overall diameter",
    "spark test voltage",
)


def keeps(label: Label) -> Label:
    return label


def may_hold(label: Label) -> Label:
    """A good reel may be held by such a sheet; a bad one must be."""
    return label if label[0] == "hold" else ("either", "")


def must_hold(why: str) -> Callable[[Label], Label]:
    return lambda label: label if label[0] == "hold" else ("hold", why)


def _certified(change: Callable[[str], str]) -> Callable[[PlantText], PlantText]:
    return lambda sheet: replace(sheet, certified=change(sheet.certified))


def _limits(wanted: str, /, **keys: object) -> Callable[[PlantText], PlantText]:
    def change(one: Entered) -> Entered:
        return replace(one, **keys)  # type: ignore[arg-type]

    return lambda sheet: sheet.changed(wanted, change)


def _more(text: str) -> Callable[[PlantText], PlantText]:
    return lambda sheet: replace(sheet, more=text)


def plant_sheets(made: Made) -> Iterator[Sheet]:
    """Plant sheets with one thing changed."""
    yield Sheet()
    yield Sheet("no [holds]", lambda s: replace(s, holds=""))
    yield Sheet(
        "a set mistyped",
        _certified(lambda t: t.replace("UL ", "UL").replace("CSA C22.2 ", "CSA22.2 ")),
        must_hold("an unknown set"),
    )
    yield Sheet("no set named", _certified(lambda t: t.split("=")[0] + "= []\n"), may_hold)
    yield Sheet("no [certified]", lambda s: replace(s, certified=""), may_hold)
    yield Sheet(
        "another type's set",
        _certified(lambda t: t.replace("UL 83", "UL 44").replace("UL 854", "UL 83")),
        may_hold,
    )
    yield Sheet(
        "another type certified", lambda s: replace(s, certified='[certified]\n"XHH" = ["UL 44"]\n'), may_hold
    )
    for requirement in (CONCENTRICITY, DIAMETER, VOLTAGE, POINT):
        if requirement == POINT and not made.plant_point:
            continue
        why = must_hold(f"no limit of {requirement} in force")
        yield Sheet(f"no limit of {requirement}", lambda s, r=requirement: s.without(r), why)  # type: ignore[misc]
        yield Sheet(f"{requirement} from next year", _limits(requirement, effective_from="2027-01-01"), why)
        yield Sheet(f"{requirement} until April", _limits(requirement, effective_to="2026-04-30"), why)
        yield Sheet(f"{requirement} of another type", _limits(requirement, types=["XHH"]), why)
        yield Sheet(
            f"{requirement} of other sizes",
            _limits(requirement, size_from="600 kcmil", size_to="750 kcmil"),
            why,
        )
        yield Sheet(f"{requirement} without a document", _limits(requirement, document=""), why)
        yield Sheet(f"{requirement} without a source", _limits(requirement, source=""), why)
        unit = {CONCENTRICITY: "mm", DIAMETER: "mil", VOLTAGE: "V", POINT: "um"}[requirement]
        yield Sheet(f"{requirement} in {unit}", _limits(requirement, unit=unit), why)
        yield Sheet(f"{requirement} misspelt", _limits(requirement, requirement=requirement + "s"), why)
    if made.plant_point:
        yield Sheet(
            "point limit over the average",
            _limits(POINT, value=made.average_mil + 5),
            must_hold("a contradiction"),
        )
        yield Sheet(
            "point limit a tenth", _limits(POINT, value=made.point_mil / 10.0), must_hold("no such wall")
        )
        yield Sheet(
            "point limit of another set",
            _limits(POINT, requirement_set="Foothill standard"),
            must_hold("no point limit of the set"),
        )
        yield Sheet("point limit at most", _limits(POINT, sense="at most"), must_hold("no least wall"))
    yield Sheet(
        "unmonitored wire allowed",
        lambda s: replace(s, holds=s.holds + "longest_unmonitored_m = 100000.0\nunmonitored_pct = 100.0\n"),
    )
    yield Sheet("simple acceptance", lambda s: replace(s, decision="".join(
        f'[decision."{one}"]\nrule = "simple acceptance"\n' for one in ("minimum average wall", POINT)
    )))  # fmt: skip
    if made.covering_mil is not None:
        yield Sheet(
            "no [samples]", lambda s: replace(s, samples=""), must_hold("the covering is never judged")
        )
        yield Sheet(
            "samples of another type",
            lambda s: replace(s, samples=s.samples.replace("per =", 'types = ["XHHW-2"], per =')),
            must_hold("the covering is never judged"),
        )
    yield Sheet(
        "average wall holds nothing",
        _more('[severity.wall-average]\nseverity = "minor"\nholds_release = false\n'),
    )
    yield Sheet(
        "point wall holds nothing",
        _more('[severity.wall-point]\nseverity = "minor"\nholds_release = false\n'),
        may_hold,
    )
    yield Sheet(
        "spark faults hold nothing",
        _more('[severity.spark-fault]\nseverity = "minor"\nholds_release = false\n'),
        may_hold,
    )
    yield Sheet(
        "an unknown rule",
        _more('[severity.walls]\nseverity = "minor"\n'),
        must_hold("the sheet cannot be meant"),
    )
    yield Sheet(
        "an unknown key", _more("[hold]\nunmonitored_pct = 5\n"), must_hold("the sheet cannot be meant")
    )
    yield Sheet("broken TOML", _more("[[limits]\n"), must_hold("the sheet cannot be read"))


def plants(rounds: int) -> Iterator[Case]:
    for scene in scenes(rounds, 3000):
        yield _plain("plant sheet", "", scene, sheets=tuple(plant_sheets(scene.made)))


def _plain(kind: str, size: str, scene: Scene, **more: object) -> Case:
    return Case(
        kind,
        f"{size}, {scene.wire} wire" if size else f"{scene.wire} wire",
        scene.line,
        scene.made,
        scene.plan,
        **more,
    )  # type: ignore[arg-type]


def lines(rounds: int) -> Iterator[Case]:
    """Line sheets with an omission or a slip."""
    kind = "line sheet"
    for scene in scenes(rounds, 3100):
        line = scene.line
        has_ring = line.ring is not None
        for name in ("wall gauge", "cold diameter gauge", "spark tester", "encoder"):
            if name == "wall gauge" and not has_ring:
                continue
            yield _plain(
                kind, f"{name} overdue", scene, overdue=(name,), all_unjudged="a calibration that had lapsed"
            )
            yield _plain(
                kind, f"no {name}", scene, left_out=(name,), all_unjudged="no instrument for a requirement"
            )

        def text(old: str, new: str) -> Callable[[str], str]:
            return lambda sheet: sheet.replace(old, new)

        yield _plain(
            kind,
            "no calibrations",
            scene,
            line_text=text("calibration", "# calibration"),
            all_unjudged="no calibration on file",
        )
        if line.spark.hz is not None:
            yield _plain(
                kind,
                "no frequency",
                scene,
                line_text=text("frequency_hz", "# frequency_hz"),
                all_unjudged="the test cannot be known",
            )
        yield _plain(
            kind,
            "electrode a tenth",
            scene,
            line_text=text(
                f"window_m = {line.spark.electrode_m}", f"window_m = {line.spark.electrode_m / 10:.4f}"
            ),
            good_may_be_held=True,
        )
        if line.ring is not None:
            yield _plain(
                kind,
                "one sensor fewer",
                scene,
                line_text=text(f"sensors = {line.ring.sensors}", f"sensors = {line.ring.sensors - 1}"),
                all_unjudged="columns and sensors differ in number",
            )
            yield _plain(
                kind,
                "other first angle",
                scene,
                line_text=text(f"first_angle_deg = {line.ring.first_deg}", "first_angle_deg = 77.0"),
            )
            yield _plain(
                kind,
                "ring 15 m off",
                scene,
                line_text=text(
                    f"station_m = {line.ring.station_m}\n", f"station_m = {line.ring.station_m - 15.0}\n"
                ),
                good_may_be_held=True,
            )
            if line.ring.both:
                yield _plain(
                    kind,
                    "sees the insulation only",
                    scene,
                    line_text=text('"insulation and covering"', '"insulation"'),
                    good_may_be_held=True,
                )
            if line.ring.lobes_mm is not None:
                yield _plain(
                    kind,
                    "no largest lobes",
                    scene,
                    line_text=text("largest_lobes_mm", "# largest_lobes_mm"),
                    all_unjudged="four sensors and no word of lobes",
                )


def runs(rounds: int) -> Iterator[Case]:
    """Run sheets with an omission or a slip."""
    kind = "run sheet"
    for scene in scenes(rounds, 3200):
        made, plan = scene.made, scene.plan

        def text(old: str, new: str) -> Callable[[str], str]:
            return lambda sheet: sheet.replace(old, new)

        other = {
            "14 AWG": THHN8,
            "12 AWG": THHN8 if made.covering_mil else XHHW8,
            "8 AWG": THHN14 if made.covering_mil else XHHW12,
            "10 AWG": THHN14 if made.covering_mil else XHHW12,
        }.get(made.size, replace(made, size="4/0 AWG" if made.size != "4/0 AWG" else "2 AWG"))
        yield _plain(kind, "another size", scene, named=other, all_unjudged="not the wire the sheet names")
        yield _plain(
            kind,
            "the year before",
            scene,
            run_text=text("2026-05-12 day", "2025-05-12 day"),
            all_unjudged="limits not in force, or not the day of the log",
        )
        last = scene.run.reels[-1]
        yield _plain(
            kind,
            "reel ends past the log",
            scene,
            run_text=text(f"to_m = {last.to_counter_m:.2f}", f"to_m = {last.to_counter_m + 400:.2f}"),
            unread=((1, 0.0, 1.0),),
            good_may_be_held=True,
        )
        yield _plain(
            kind,
            "reels overlap",
            scene,
            run_text=text(f"from_m = {last.from_counter_m:.2f}", f"from_m = {last.from_counter_m - 30:.2f}"),
            all_unjudged="one wire on two reels",
        )
        yield _plain(
            kind,
            "reel number twice",
            scene,
            run_text=text('"R1.2"', '"R1.1"'),
            all_unjudged="one number for two reels",
        )
        yield _plain(
            kind,
            "unknown type",
            scene,
            run_text=text(f'construction = "{made.construction}"', 'construction = "THWX"'),
            all_unjudged="no such type",
        )
        yield _plain(
            kind,
            "unknown line",
            scene,
            run_text=text(f'line = "{scene.line.id}"', 'line = "Z9"'),
            all_unjudged="another line's sheet",
        )
        yield _plain(
            kind,
            "logs misnamed",
            scene,
            run_text=text('"log.csv"', '"logs.csv"'),
            all_unjudged="no such file",
        )
        yield _plain(
            kind,
            "wall unit wrong",
            scene,
            run_text=text('], unit = "mil"', '], unit = "um"')
            if scene.line.imperial
            else text('], unit = "um"', '], unit = "mil"'),
            all_unjudged="walls that cannot be" if scene.line.ring is not None else "",
        )
        if made.covering_mil is not None:
            yield _plain(
                kind,
                "nothing of the covering",
                scene,
                run_text=lambda sheet: _without_section(sheet, "[run.covering]"),
                all_unjudged="the covering is not known",
            )
            if scene.line.ring is not None and scene.line.ring.both:
                yield _plain(
                    kind,
                    "a covering below its least",
                    scene,
                    covering_wrong_mm=-0.06,
                    all_unjudged="a covering stated below its limit",
                )
        del plan


def _without_section(sheet: str, head: str) -> str:
    before, _, rest = sheet.partition(head)
    _, _, after = rest.partition("\n[")
    return before + "[" + after


SHEETS: dict[str, Callable[[int], Iterator[Case]]] = {"plants": plants, "lines": lines, "runs": runs}
