"""A run of `line_logs` written as its plant would: one log in the line's own units, and the three sheets."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

from tests.plant_logs.line_logs import MIL, Lay, Run, Wire


def write(folder: Path, run: Run) -> None:
    """Log, empty list of faults, and the three sheets."""
    folder.mkdir(parents=True, exist_ok=True)
    lay, w, d = run.lay, run.lay.wire, run.lay.delim
    begin = datetime(2026, 6, 9, 7, 11, 3)
    stamps = (
        [f"{1781010000 + one:.3f}" for one in run.t.tolist()]
        if lay.epoch
        else [
            (begin + timedelta(seconds=round(s, 3))).isoformat(timespec="milliseconds")
            for s in run.t.tolist()
        ]
    )
    columns = [["When", *stamps]]
    for name, values in run.cols.items():
        _, size, digits = lay.step(name)
        cells = [f"{one:.{digits}f}" for one in (values / size).tolist()]
        columns.append([f"c_{name}", *(one.replace(".", ",") if lay.comma else one for one in cells)])
    (folder / "log.txt").write_text("\n".join(d.join(one) for one in zip(*columns, strict=True)) + "\n")
    (folder / "st.txt").write_text(f"When{d}V\n")
    when = 'format = "epoch s"' if lay.epoch else 'format = "ISO 8601", zone = "America/Denver"'
    form = (
        f'delimiter = "{d}"\ndecimal = "{"," if lay.comma else "."}"\ntime = {{ column = "When", {when} }}\n'
    )
    cover = f"[run.covering]\nmean_mm = {run.cover:.4f}\nuncertainty_mm = 0.004\noffset_mm = 0.005\nbasis = 'cuts'\n"
    walls = ", ".join(f'"c_{one}"' for one in run.walls)
    text = [
        f'[run]\nid = "R1"\nplant = "Foothill"\nplant_sheet = "plant.toml"\nline = "{lay.id}"\n',
        'line_sheet = "line.toml"\nshift = "2026-06-09 day"\noperator_role = "operator"\n[run.product]\n',
        f'construction = "{w.construction}"\nsize = "{w.size}"\nconductor = "{w.make}"\n',
        cover if w.covering else "",
        *(f'[[run.reels]]\nid = "{name}"\nfrom_m = {a:.2f}\nto_m = {b:.2f}\n' for name, a, b in run.reels),
        f'[[run.logs]]\nkind = "readings"\nfiles = ["log.txt"]\n{form}',
        f'walls = {{ columns = [{walls}], unit = "{lay.wall_unit[0]}" }}\n[run.logs.channels]\n',
        *(
            f'{n} = {{ column = "c_{n}", unit = "{lay.step(n)[0]}" }}\n'
            for n in run.cols
            if n not in run.walls
        ),
        f'[[run.logs]]\nkind = "spark faults"\nfiles = ["st.txt"]\n{form}',
        'channels = { spark_kv = { column = "V", unit = "kV" } }\n',
    ]
    (folder / "run.toml").write_text("".join(text))
    (folder / "line.toml").write_text(_line_sheet(lay))
    (folder / "plant.toml").write_text(_plant_sheet(w))


def _line_sheet(lay: Lay) -> str:
    text = f'[line]\nid = "{lay.id}"\nname = "L"\nplant = "Foothill"\nrevision = "1"\n'
    text += f"take_up_station_m = {lay.stations['end']}\n"
    both = "insulation and covering" if lay.wire.covering else "insulation"
    ring = f'sensors = {lay.sensors}\nsees = "{both}"\nreads = "{"spot" if lay.spot else "mean"}"\n'
    ring += f"largest_lobes_mm = {lay.lobes}\n" if lay.lobes else ""
    test = "window_m = 0.7\n" + (f"frequency_hz = {lay.hz}\n" if lay.hz else "direct_current = true\n")
    for kind, at in lay.stations.items():
        if kind != "end":
            u = f"uncertainty_mm = {lay.u[kind]}\n" if kind in lay.u else ""
            more = {"wall gauge": ring, "spark tester": test}.get(kind, "")
            text += (
                f'[[line.instruments]]\nid = "{kind.replace(" ", "-")}"\nkind = "{kind}"\nstation_m = {at}\n'
            )
            text += (
                f"interval_s = {lay.every}\ncalibrated = 2026-02-01\ncalibration_due = 2027-02-01\n{u}{more}"
            )
    return text


ENTERED = """document = "own list"
edition = "2026"
table = "1"
revision = "A"
entered_by = "engineer"
checked_by = "manager"
source = "own"
effective_from = 2026-01-01
"""


def _plant_sheet(w: Wire) -> str:
    shown = (
        '[samples]\nshown = [{ requirement = "covering at any point", per = "none", reason = "on paper" }]\n'
    )
    text = '[plant]\nname = "Foothill"\nzone = "America/Denver"\nunits = "metric"\nrevision = "1"\n[holds]\n'
    text += f'spark_faults_per_reel = 0\n[certified]\n"{w.construction}" = ["{w.sets}"]\n{shown if w.covering else ""}'
    built = w.bare + 2 * (w.average + w.covering)
    own = [
        ("concentricity", "at least", 60.0, "%", "own"),
        ("spark test voltage", "at least", 7.0, "kV", w.sets),
    ]
    own += [("overall diameter", "at least", 0.95 * built, "mm", "own")]
    own += [("overall diameter", "at most", 1.2 * built, "mm", "own")]
    own += [("minimum wall at any point", "at least", w.point / MIL, "mil", w.sets)] if w.own_point else []
    for name, sense, value, unit, of in own:
        text += f'[[limits]]\nid = "own {name} {sense}"\ntypes = [{w.types}]\nrequirement = "{name}"\n'
        text += f'sense = "{sense}"\nvalue = {value}\n'
        text += f'size_from = "{w.size}"\nsize_to = "{w.size}"\nunit = "{unit}"\nrequirement_set = "{of}"\n{ENTERED}'
    return text
