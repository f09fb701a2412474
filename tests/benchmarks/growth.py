"""How time and memory grow with the length of a log: load and judge one line at 1x, 4x and 16x."""

from __future__ import annotations

import math

from tests.benchmarks.made_logs import plant_logs
from tests.benchmarks.own_process import cost_of
from tests.benchmarks.row import Row
from tests.benchmarks.scale import Scale


def run(scale: Scale) -> list[Row]:
    costs = []
    for times in scale.growth:
        folder = plant_logs(scale.data, scale.growth_hours * times, 1)
        bare = cost_of("plant_day:floor", folder, scale.scratch / "floor.duckdb")
        ours = cost_of("plant_day:review", folder, scale.fresh("growth"))
        costs.append((times, bare, ours))
    rows = []
    for times, bare, ours in costs:
        rows.append(
            Row(
                f"load, judge and answer one line, {times}x ({scale.growth_hours * times:g} h)",
                "",
                f"{ours.answer['rows']:,} rows",
                None,
                ours.wall_s,
                ours.cpu_s,
                ours.peak_mb,
                ours.cpu_s / bare.cpu_s,
            )
        )
    first, last = costs[0], costs[-1]
    longer = math.log(last[0] / first[0])

    def exponent(small: float, large: float) -> float:
        return math.log(large / small) / longer

    cpu = exponent(first[2].cpu_s, last[2].cpu_s)
    judged = exponent(
        first[2].cpu_s - first[2].answer["deep_cpu_s"], last[2].cpu_s - last[2].answer["deep_cpu_s"]
    )
    deep = exponent(first[2].answer["deep_cpu_s"], last[2].answer["deep_cpu_s"])
    memory = exponent(first[2].peak_mb, last[2].peak_mb)
    rows.append(Row("growth exponent of CPU time, whole job", "<= 1.1", f"{cpu:.2f}", cpu <= 1.1))
    rows.append(
        Row("growth exponent of CPU time, without deep statistics", "<= 1.1", f"{judged:.2f}", judged <= 1.1)
    )
    rows.append(Row("growth exponent of CPU time, deep statistics", "", f"{deep:.2f}"))
    rows.append(Row("growth exponent of peak memory", "flat: <= 0.1", f"{memory:.2f}", memory <= 0.1))
    return rows
