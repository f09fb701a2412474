"""The run page: the wire from start to end, every channel against its limits, zoomable to a single reading."""

from __future__ import annotations

from datetime import timedelta

from dashboards.addresses import slug
from dashboards.figures.process import BLOCK, MOST_PANELS, process_block, process_figure, process_plan
from dashboards.figures.wire import wire_figure
from dashboards.pages.run_summary import MOST_CAUSES, results_by_topic, summary_of, unanswered
from dashboards.pages.shift import kinds_on_maps
from dashboards.records import RunReview
from dashboards.rendering import write_page
from dashboards.site import Site, WrittenFile, write_if_changed
from dashboards.tiles import wire_files, wire_plan

Place = tuple[str, str, str]


def _around(label: str, from_m: float, to_m: float, room_m: float) -> Place:
    return label, f"{max(from_m - room_m, 0):.1f}", f"{to_m + room_m:.1f}"


def places_to_go(record: RunReview) -> list[tuple[str, list[Place]]]:
    """Places a reader may want to jump to: findings, faults, the thinnest wall of each reel, the reels."""
    findings = [
        _around(f"{one.finding_id}: {one.requirement}", one.from_m, one.to_m, 20.0)
        for one in record.findings
        if one.from_m is not None and one.to_m is not None
    ]
    faults = [_around(f"{one.kind} {one.event}", one.at_m, one.at_m, 15.0) for one in record.faults]
    thinnest = [
        _around(f"thinnest wall of {reel.reel_id}", reel.thinnest_wall.at_m, reel.thinnest_wall.at_m, 15.0)
        for reel in record.run.reels
        if reel.thinnest_wall is not None
    ]
    reels = [_around(f"reel {reel.reel_id}", reel.from_m, reel.to_m, 0.0) for reel in record.run.reels]
    return [("Findings", findings), ("Faults", faults), ("Thinnest wall", thinnest), ("Reels", reels)]


def write_run_page(record: RunReview, site: Site) -> tuple[WrittenFile, ...]:
    """Writes the run page and the script files that hold its full-rate readings.

    Args:
        record: what it shows.
        site: where.
    """
    run_id = record.run.run_id
    folder = f"data/{slug(run_id)}/"
    placed = any(trace.at_m.size for trace in record.traces)
    plan = wire_plan(record.traces, f"../{folder}")
    plan["names"] = [trace.name for trace in record.traces]
    plan["units"] = [trace.unit for trace in record.traces]
    plan["file"] = f"readings-{slug(run_id)}.csv"
    process = record.process if placed else None
    page = write_page(
        site,
        "run",
        run_id,
        "run.html.j2",
        record,
        plots=placed,
        plots_late=placed,
        figure=wire_figure(record) if placed else None,
        plan=plan,
        process=process,
        process_figure=process_figure(),
        process_plan=process_plan(process, record.plant.zone) if process is not None else None,
        changed_at=[process.start + timedelta(seconds=one.at_s) for one in process.changes]
        if process is not None
        else [],
        most_panels=MOST_PANELS,
        go_to=places_to_go(record),
        kinds=kinds_on_maps(record.run),
        summary=summary_of(record),
        most_causes=MOST_CAUSES,
        topics=results_by_topic(record.run.answers),
        unanswered=unanswered(record.run.answers),
    )
    blocks = [write_if_changed(site, folder + name, content) for name, content in wire_files(record.traces)]
    if process is not None:
        blocks.append(write_if_changed(site, f"{folder}{BLOCK}.js", process_block(process)))
    return (page, *blocks)
