"""The run sheet, line sheet and plant sheet of a simulated run, as TOML a person could have written."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Any

from pipeline.sheets.line_sheet import LineSheet
from pipeline.simulator.logs_out import LOGGERS, column_of
from pipeline.simulator.scenario import RunScenario
from pipeline.simulator.troubles import BoltTurn, WrongUnit


def _value(value: Any) -> str:
    """`value` as TOML."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {_value(one)}" for key, one in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_value(one) for one in value) + "]"
    return repr(value)


def _table(heading: str, content: dict[str, Any]) -> str:
    lines = [heading, *(f"{key} = {_value(one)}" for key, one in content.items() if one is not None)]
    return "\n".join(lines) + "\n"


def plant_sheet_text(name: str, zone: str, units: str) -> str:
    """A plant sheet without limits of its own.

    Args:
        name: name of the plant.
        zone: IANA zone of its local times.
        units: units its pages show, ``imperial`` or ``metric``.
    """
    return (
        "# An invented plant: roles, no names.\n"
        + _table("[plant]", {"name": name, "zone": zone, "units": units, "demo": True})
        + "\n# No instrument of the lines sees the covering by itself.\n"
        + _table(
            "[samples]",
            {
                "shown": (
                    {
                        "requirement": "covering at any point",
                        "per": "run",
                        "types": ("THHN", "THWN", "THWN-2"),
                    },
                )
            },
        )
    )


def line_sheet_text(line: LineSheet) -> str:
    """The line sheet as TOML."""
    head = line.model_dump(
        exclude={"instruments", "elements", "bolts", "tooling", "ceilings", "mass_balances"},
        exclude_defaults=True,
    )
    parts = ["# Distances are meters along the wire from the insulation die.\n" + _table("[line]", head)]
    parts += [
        _table("[[line.instruments]]", one.model_dump(exclude_none=True, exclude_unset=True))
        for one in line.instruments
    ]
    parts += [
        _table("[[line.elements]]", one.model_dump(exclude_none=True, exclude_unset=True))
        for one in line.elements
    ]
    for heading, listed in (
        ("[[line.bolts]]", line.bolts),
        ("[[line.tooling]]", line.tooling),
        ("[[line.mass_balances]]", line.mass_balances),
    ):
        parts += [_table(heading, one.model_dump(exclude_none=True, exclude_unset=True)) for one in listed]
    if line.ceilings is not None:
        parts.append(_table("[line.ceilings]", line.ceilings.model_dump(exclude_none=True)))
    return "\n".join(parts)


def log_files(scenario: RunScenario) -> dict[str, tuple[str, ...]]:
    """Names of the run's log files by kind."""
    stem = scenario.run_id
    parts = scenario.log_parts
    readings = (
        (f"{stem}_log.csv.gz",)
        if parts == 1
        else tuple(f"{stem}_log_{number + 1}.csv.gz" for number in range(parts))
    )
    return {
        "readings": readings,
        "spark faults": (f"{stem}_spark.csv.gz",),
        "surface flaws": (f"{stem}_vision.csv.gz",),
    }


def run_sheet_text(
    scenario: RunScenario, plant: str, plant_sheet: str, line_sheet: str, channels: tuple[str, ...]
) -> str:
    """The run sheet as TOML.

    Args:
        scenario: the run.
        plant: name of the plant.
        plant_sheet: path of the plant sheet from the run's folder.
        line_sheet: path of the line sheet from the run's folder.
        channels: our channels that the log holds.
    """
    wire = scenario.wire
    head = {
        "id": scenario.run_id,
        "plant": plant,
        "plant_sheet": plant_sheet,
        "line": scenario.line.id,
        "line_sheet": line_sheet,
        "shift": scenario.shift,
        "operator_role": "extruder operator",
        "wall_control": "off" if scenario.trial else None,
        "trial": True if scenario.trial else None,
        "note": scenario.note or None,
    }
    product = {
        "construction": wire.construction,
        "size": wire.size,
        "conductor": wire.conductor,
        "metal": "copper",
        "colour": wire.colour,
    }
    parts = [_table("[run]", head), _table("[run.product]", product)]
    if wire.covering:
        covering = {
            "mean_mm": wire.covering.mean_mm,
            "uncertainty_mm": wire.covering.stated_uncertainty_mm,
            "offset_mm": wire.covering.stated_offset_mm,
            "basis": "Cut samples of the shift's first reel (invented)",
        }
        parts.append(_table("[run.covering]", covering))
    parts += [_table("[[run.lots]]", one.model_dump(exclude_none=True)) for one in scenario.lots]
    parts += [
        _table("[[run.reels]]", {"id": one.id, "from_m": one.from_m, "to_m": one.to_m})
        for one in scenario.reels
    ]
    parts += [
        _table("[[run.bolts_turned]]", {"at_m": one.at_m, "turns": {one.bolt: one.turns}})
        for one in scenario.troubles
        if isinstance(one, BoltTurn)
    ]
    return "\n".join([*parts, *_log_tables(scenario, channels)])


def _log_tables(scenario: RunScenario, channels: tuple[str, ...]) -> list[str]:
    """The run's logs with the mapping of their columns."""
    logger = LOGGERS[scenario.style]
    files = log_files(scenario)
    time: dict[str, Any] = {"column": logger.time_column, "format": "ISO 8601"}
    if logger.local:
        time["zone"] = scenario.zone
    written = {} if logger.delimiter == "," else {"delimiter": logger.delimiter}
    wrong = [one for one in scenario.troubles if isinstance(one, WrongUnit)]
    walls = [name for name in channels if name.startswith("wall_")]
    mapping = {
        "columns": [column_of(name, scenario).name for name in walls],
        "unit": wrong[0].mapped_as if wrong else logger.wall.unit,
    }
    readings = {"kind": "readings", "files": files["readings"], **written, "time": time}
    readings_text = _table("[[run.logs]]", readings | ({"walls": mapping} if walls else {}))
    mapped = {name: _mapped(name, scenario) for name in channels if name not in walls}
    spark = {"kind": "spark faults", "files": files["spark faults"], **written, "time": time}
    spark["channels"] = {"spark_kv": _mapped("spark_kv", scenario)}
    flaws: dict[str, Any] = {"kind": "surface flaws", "files": files["surface flaws"], **written}
    flaws |= {"time": time}
    if logger.flaws_with_length:
        flaws["at"] = _mapped("counter_m", scenario)
    flaws["channels"] = {"flaw_size_mm": {"column": logger.flaw_size.name, "unit": logger.flaw_size.unit}}
    flaws["classes"] = logger.flaw_class
    tables = [readings_text + "\n" + _table("[run.logs.channels]", mapped)]
    tables.append(_table("[[run.logs]]", spark))
    if scenario.line.instrument("surface vision"):
        tables.append(_table("[[run.logs]]", flaws))
    return tables


def _mapped(channel: str, scenario: RunScenario) -> dict[str, str]:
    column = column_of(channel, scenario)
    return {"column": column.name, "unit": column.unit} if column.unit else {"column": column.name}


def write_text(path: Path, text: str) -> None:
    """Write `text` to `path` with Unix line ends."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(text.encode("utf-8"))
