"""A run written as its plant would: CSV logs in the line's own units and clock, and the three sheets."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
from numpy.typing import NDArray

from tests.other_lines.lines import OtherLine
from tests.other_lines.products import MIL, Made
from tests.other_lines.running import MadeRun

Floats = NDArray[np.float64]
ZONE = "America/Denver"
BEGAN = datetime(2026, 5, 12, 14, 3, 20, tzinfo=UTC)

# channel -> name in the log, unit and how many of ours one of it is; imperial, then metric.
IMPERIAL = {
    "counter_m": ("Len", "ft", 0.3048),
    "line_speed_m_s": ("Speed", "ft/min", 0.3048 / 60.0),
    "conductor_mm": ("CuDia", "in", 25.4),
    "hot_diameter_mm": ("HotDia", "in", 25.4),
    "diameter_x_mm": ("DiaA", "in", 25.4),
    "diameter_y_mm": ("DiaB", "in", 25.4),
    "spark_kv": ("HV", "kV", 1.0),
    "spark_counts": ("HVcount", "", 1.0),
    "screw_speed_rpm": ("Screw", "rpm", 1.0),
    "melt_temperature_c": ("Melt", "degF", 1.0),
    "melt_pressure_bar": ("MeltP", "psi", 0.0689476),
    "wall": ("W", "mil", MIL),
}
METRIC = {
    **{name: (tag, "", 1.0) for name, (tag, _, _) in IMPERIAL.items()},
    "counter_m": ("Laenge", "m", 1.0),
    "line_speed_m_s": ("v", "m/min", 1.0 / 60.0),
    "conductor_mm": ("d_Leiter", "mm", 1.0),
    "hot_diameter_mm": ("D_heiss", "mm", 1.0),
    "diameter_x_mm": ("D_x", "mm", 1.0),
    "diameter_y_mm": ("D_y", "mm", 1.0),
    "spark_kv": ("U", "kV", 1.0),
    "screw_speed_rpm": ("n", "rpm", 1.0),
    "melt_temperature_c": ("T_m", "degC", 1.0),
    "melt_pressure_bar": ("p_m", "bar", 1.0),
    "wall": ("s", "um", 0.001),
}
DIGITS = {"in": 5, "mil": 2, "ft": 2, "ft/min": 2, "m": 3, "m/min": 3, "mm": 4, "um": 1, "psi": 1}


@dataclass(frozen=True)
class Log:
    """What a logger wrote, in our units: rows may be missing, doubled, swapped; nothing here need be true.

    Args:
        seconds: time of each row from the first, as the logger's clock had it.
        columns: channel -> a value a row; NaN writes an empty cell.
        faults: spark faults as seconds of that clock.
        flaws: surface flaws as seconds and size [mm].
        rescaled: column -> a factor put on what is written, as a wrong unit does.
        began: instant of the first row; a clock in local time keeps the offset from UTC it had then.
    """

    seconds: Floats
    columns: Mapping[str, Floats]
    faults: Floats
    flaws: tuple[tuple[float, float], ...] = ()
    rescaled: Mapping[str, float] = field(default_factory=dict)
    began: datetime = BEGAN

    def having(self, **columns: Floats | None) -> Log:
        """The log with columns changed, or left out where None."""
        kept = {**self.columns, **{name: one for name, one in columns.items() if one is not None}}
        return replace(
            self, columns={n: v for n, v in kept.items() if n not in columns or columns[n] is not None}
        )

    def rows(self, chosen: NDArray[np.intp] | NDArray[np.bool_]) -> Log:
        """The log with these rows only, in this order."""
        return replace(
            self,
            seconds=self.seconds[chosen],
            columns={name: one[chosen] for name, one in self.columns.items()},
        )


def log_of(run: MadeRun) -> Log:
    """The log of a run as an honest logger writes it."""
    return Log(run.seconds, dict(run.columns), run.faults, run.flaws)


def _units(line: OtherLine) -> Mapping[str, tuple[str, str, float]]:
    return IMPERIAL if line.imperial else METRIC


def _times(line: OtherLine, seconds: Floats, began: datetime) -> list[str]:
    if line.clock == "epoch ms":
        base = int(began.timestamp() * 1000)
        return [str(base + round(1000.0 * one)) for one in seconds.tolist()]
    if line.clock == "utc":
        return [
            (began + timedelta(seconds=round(one, 3))).strftime("%Y-%m-%dT%H:%M:%S.%f")[:-3] + "Z"
            for one in seconds.tolist()
        ]
    local = began.astimezone(ZoneInfo(ZONE)).replace(tzinfo=None)
    if line.clock == "local":
        return [
            (local + timedelta(seconds=round(one, 3))).strftime("%d.%m.%Y %H:%M:%S.%f")
            for one in seconds.tolist()
        ]
    return [
        (local + timedelta(seconds=round(one, 3))).isoformat(sep="T", timespec="milliseconds")
        for one in seconds.tolist()
    ]


def _cells(line: OtherLine, name: str, values: Floats, scale: float) -> list[str | None]:
    key = "wall" if name.startswith("wall_") else name
    _, unit, factor = _units(line)[key]
    shown = values * 1.8 + 32.0 if unit == "degF" else values / factor
    digits = DIGITS.get(unit, 3)
    if name == "spark_counts":
        digits = 0
    texts = [None if one != one else f"{one:.{digits}f}" for one in (shown * scale).tolist()]
    if line.decimal == ",":
        return [None if one is None else one.replace(".", ",") for one in texts]
    return texts


def column_name(line: OtherLine, channel: str) -> str:
    """The name a channel has in the line's log."""
    if channel.startswith("wall_"):
        return f"{_units(line)['wall'][0]}{channel.split('_')[1]}"
    return _units(line)[channel][0]


def write_logs(folder: Path, line: OtherLine, log: Log) -> None:
    """Write ``log.csv``, ``spark.csv`` and ``vision.csv``."""
    folder.mkdir(parents=True, exist_ok=True)
    frame = {"Stamp": _times(line, log.seconds, log.began)} | {
        column_name(line, name): _cells(line, name, values, log.rescaled.get(name, 1.0))
        for name, values in log.columns.items()
    }
    pl.DataFrame(frame, schema=dict.fromkeys(frame, pl.String)).write_csv(
        folder / "log.csv", separator=line.delimiter, quote_style="never"
    )
    kv = f"{line.spark.kv:g}".replace(".", line.decimal)
    for name, rows in (
        ("spark", [f"{at}{line.delimiter}{kv}" for at in _times(line, log.faults, log.began)]),
        (
            "vision",
            [
                f"{at}{line.delimiter}" + f"{size:.3f}".replace(".", line.decimal)
                for at, (_, size) in zip(
                    _times(line, np.array([t for t, _ in log.flaws]), log.began), log.flaws, strict=True
                )
            ],
        ),
    ):
        value = "U" if name == "spark" else "Size"
        (folder / f"{name}.csv").write_text("\n".join([f"Stamp{line.delimiter}{value}", *rows, ""]))


def _time_key(line: OtherLine) -> str:
    if line.clock == "epoch ms":
        return '{ column = "Stamp", format = "epoch ms" }'
    if line.clock == "local":
        return f'{{ column = "Stamp", format = "%d.%m.%Y %H:%M:%S.%f", zone = "{ZONE}" }}'
    return f'{{ column = "Stamp", format = "ISO 8601", zone = "{ZONE}" }}'


def mapped(line: OtherLine, channel: str) -> str:
    """A channel's mapping as the run sheet writes it."""
    tag, unit, _ = _units(line)[channel]
    return f'{channel} = {{ column = "{tag}"' + (f', unit = "{unit}" }}' if unit else " }")


def run_sheet_text(
    run: MadeRun,
    run_id: str,
    log: Log,
    covering: tuple[float, float, float] | None = None,
    named: Made | None = None,
    extra: str = "",
) -> str:
    """The run sheet as text.

    Args:
        run: the run.
        run_id: its number.
        log: its log, for the columns there are.
        covering: mean, its standard uncertainty and the largest offset [mm], where the sheet states a covering.
        named: the product the sheet names, where that is another than was made.
        extra: more of the sheet, as text.
    """
    line, made = run.line, named or run.made
    head = (
        f'[run]\nid = "{run_id}"\nplant = "Foothill"\nplant_sheet = "plant.toml"\nline = "{line.id}"\n'
        f'line_sheet = "line.toml"\nshift = "2026-05-12 day"\noperator_role = "operator"\n'
    )
    product = (
        f'[run.product]\nconstruction = "{made.construction}"\nsize = "{made.size}"\n'
        f'conductor = "{made.make}"\nmetal = "copper"\ncolour = "black"\n'
    )
    parts = [head, product]
    if covering is not None:
        mean, u, offset = covering
        parts.append(
            f"[run.covering]\nmean_mm = {mean:.5f}\nuncertainty_mm = {u:.5f}\noffset_mm = {offset:.5f}\n"
            'basis = "cut samples of the week before"\n'
        )
    parts.append('[[run.lots]]\nmaterial = "conductor"\nlot = "C-77"\n')
    parts.append(f'[[run.lots]]\nmaterial = "insulation compound"\nlot = "I-{run_id}"\n')
    for reel in run.reels:
        name = reel_id(run_id, reel.id)
        parts.append(
            f'[[run.reels]]\nid = "{name}"\nfrom_m = {reel.from_counter_m:.2f}\nto_m = {reel.to_counter_m:.2f}\n'
        )
    channels = [name for name in log.columns if not name.startswith("wall_")]
    walls = sum(name.startswith("wall_") for name in log.columns)
    reading = f'[[run.logs]]\nkind = "readings"\nfiles = ["log.csv"]\ndelimiter = "{line.delimiter}"\n'
    reading += f'decimal = "{line.decimal}"\ntime = {_time_key(line)}\n'
    if walls:
        tag, unit, _ = _units(line)["wall"]
        names = ", ".join(f'"{tag}{number}"' for number in range(1, walls + 1))
        reading += f'walls = {{ columns = [{names}], unit = "{unit}" }}\n'
    reading += "[run.logs.channels]\n" + "\n".join(mapped(line, name) for name in channels) + "\n"
    parts.append(reading)
    for kind, name, channel, column in (
        ("spark faults", "spark", "spark_kv", "U"),
        ("surface flaws", "vision", "flaw_size_mm", "Size"),
    ):
        unit = "kV" if name == "spark" else "mm"
        parts.append(
            f'[[run.logs]]\nkind = "{kind}"\nfiles = ["{name}.csv"]\ndelimiter = "{line.delimiter}"\n'
            f'decimal = "{line.decimal}"\ntime = {_time_key(line)}\n'
            f'channels = {{ {channel} = {{ column = "{column}", unit = "{unit}" }} }}\n'
        )
    return "\n".join([*parts, extra])


def reel_id(run_id: str, made_id: str) -> str:
    """The reel's number on the run sheet."""
    return f"{run_id}.{made_id.rsplit('-', 1)[1]}"


def line_sheet_text(line: OtherLine, overdue: Sequence[str] = (), left_out: Sequence[str] = ()) -> str:
    """The line sheet as text.

    Args:
        line: the line.
        overdue: kinds of instruments whose calibration has lapsed.
        left_out: kinds of instruments the sheet does not name.
    """
    head = (
        f'[line]\nid = "{line.id}"\nname = "line {line.id}"\nplant = "Foothill"\nrevision = "1"\n'
        f"take_up_station_m = {line.take_up_m}\naccumulator_unsure_m = {line.accumulator_m}\n"
    )
    parts = [head]

    def instrument(kind: str, station: float, **keys: object) -> None:
        if kind in left_out:
            return
        due = "2026-05-01" if kind in overdue else "2026-11-30"
        text = f'[[line.instruments]]\nid = "{line.id}-{kind.replace(" ", "-")}"\nkind = "{kind}"\n'
        text += f"station_m = {station}\ninterval_s = {line.interval_s}\n"
        text += f"calibrated = 2026-01-10\ncalibration_due = {due}\n"
        for key, value in keys.items():
            if isinstance(value, bool):
                text += f"{key} = {str(value).lower()}\n"
            elif isinstance(value, str):
                text += f'{key} = "{value}"\n'
            elif value is not None:
                text += f"{key} = {value}\n"
        parts.append(text)

    instrument("encoder", line.encoder_m)
    if line.conductor is not None:
        instrument(
            "conductor gauge",
            line.conductor.station_m,
            uncertainty_mm=line.conductor.u_mm,
            resolution_mm=line.conductor.step_mm,
        )
    if line.hot is not None:
        instrument(
            "hot diameter gauge",
            line.hot.station_m,
            uncertainty_mm=line.hot.u_mm,
            resolution_mm=line.hot.step_mm,
        )
    if line.ring is not None:
        instrument(
            "wall gauge",
            line.ring.station_m,
            uncertainty_mm=line.ring.u_mm,
            resolution_mm=line.ring.step_mm,
            sensors=line.ring.sensors,
            first_angle_deg=line.ring.first_deg,
            sees="insulation and covering" if line.ring.both else "insulation",
            largest_lobes_mm=line.ring.lobes_mm,
        )
    instrument(
        "cold diameter gauge",
        line.cold.station_m,
        uncertainty_mm=line.cold.u_mm,
        resolution_mm=line.cold.step_mm,
    )
    instrument(
        "spark tester",
        line.spark.station_m,
        window_m=line.spark.electrode_m,
        frequency_hz=line.spark.hz,
        direct_current=line.spark.hz is None,
    )
    instrument("surface vision", line.spark.station_m + 0.5)
    if line.melt:
        instrument("melt sensors", 0.0)
    ripple, turn = line.ripple
    if ripple > 0:
        parts.append(
            f'[[line.elements]]\nid = "{line.id}-roll"\nkind = "roll"\ncircumference_m = {turn}\ntolerance_pct = 0.5\n'
        )
    parts.append(
        f'[[line.elements]]\nid = "{line.id}-screw"\nkind = "screw"\nperiod_s = {line.surge[1]}\ntolerance_pct = 2.0\n'
    )
    return "\n".join(parts)


def stated_covering(run: MadeRun, wrong_mm: float = 0.0) -> tuple[float, float, float] | None:
    """What the plant's cut samples tell of the covering: its mean within a micrometre or two, and a bound."""
    if run.made.covering_mm is None:
        return None
    return (float(run.wire.covering_mm.mean()) + 0.001 + wrong_mm, 0.002, 0.006)
