"""Every template, by its code; a code with several takes the first whose arguments are all there."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from importlib.resources import files

# What a reader calls a channel.
CHANNELS: Mapping[str, str] = {
    "mean_wall_mm": "mean wall",
    "thinnest_wall_mm": "thinnest wall",
    "wall_sd_mm": "wall spread",
    "eccentricity_mm": "eccentricity",
    "concentricity_pct": "concentricity",
    "diameter_mm": "diameter",
    "ovality_mm": "ovality",
    "conductor_mm": "conductor diameter",
    "hot_diameter_mm": "hot diameter",
    "diameter_x_mm": "diameter, first axis",
    "diameter_y_mm": "diameter, second axis",
    "line_speed_m_s": "line speed",
    "counter_m": "length counter",
    "spark_kv": "spark voltage",
    "screw_speed_rpm": "screw speed",
    "covering_screw_speed_rpm": "screw speed of the covering",
    "melt_temperature_c": "melt temperature",
    "melt_pressure_bar": "melt pressure",
    "stood_s": "time stood before",
    "ramp_s": "time to steady speed",
}


# A code that two files have is told by the later; the last has codes that judgements on file still have and none is
# given any more.
_FILES = (
    "headings",
    "methods",
    "refusals",
    "notes",
    "assumptions",
    "contradictions",
    "findings",
    "reels",
    "warned",
    "tuned",
    "logs",
    "pages",
    "desk",
    "earlier",
)


class Vocabulary(Mapping[str, tuple[str, ...]]):
    """The templates of every code, read when the first is asked for: most commands tell little or nothing."""

    def __init__(self) -> None:
        self._templates: dict[str, tuple[str, ...]] = {}

    def _all(self) -> dict[str, tuple[str, ...]]:
        if not self._templates:
            folder = files("pipeline.wording").joinpath("english")
            made: dict[str, tuple[str, ...]] = {"as written": ("{text}",)}
            for name in _FILES:
                text = folder.joinpath(f"{name}.json").read_text(encoding="utf-8")
                for code, one in json.loads(text).items():
                    made[code] = (one,) if isinstance(one, str) else tuple(one)
            self._templates = made
        return self._templates

    def __getitem__(self, code: str) -> tuple[str, ...]:
        return self._all()[code]

    def __iter__(self) -> Iterator[str]:
        return iter(self._all())

    def __len__(self) -> int:
        return len(self._all())


TEMPLATES = Vocabulary()
