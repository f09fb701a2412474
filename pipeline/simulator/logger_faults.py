"""What instruments and logger do wrong: a reset or slipping counter, drop-outs, stuck channels, spikes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.simulator.scenario import RunScenario
from pipeline.simulator.speed import Motion
from pipeline.simulator.troubles import DropOut, EncoderReset, EncoderSlip, Spikes, Stuck

COUNTER_STEP_M = {"us local": 0.03048, "metric utc": 0.01}  # 0.1 ft, 1 cm


class RawCounter:
    """The length counter as it shows: slips miss metres, resets start again, and it counts in steps.

    Args:
        scenario: the run.
    """

    def __init__(self, scenario: RunScenario) -> None:
        self._resets = np.array(
            sorted(one.at_m for one in scenario.troubles if isinstance(one, EncoderReset)), dtype=np.float64
        )
        self._slips = [one for one in scenario.troubles if isinstance(one, EncoderSlip)]
        self._step_m = COUNTER_STEP_M[scenario.style]

    def shown_m(self, x_m: NDArray[np.float64]) -> NDArray[np.float64]:
        """What stands on the counter when an ideal one stands at `x_m` [m]."""
        counted = self._counted(x_m)
        at_reset = np.concatenate([[0.0], self._counted(self._resets)])
        counted = counted - at_reset[np.searchsorted(self._resets, x_m, side="right")]
        stepped: NDArray[np.float64] = np.floor(counted / self._step_m + 1e-9) * self._step_m
        return stepped

    def read(self, motion: Motion) -> NDArray[np.float64]:
        """The counter at each reading [m]."""
        return self.shown_m(motion.x_m)

    def _counted(self, x_m: NDArray[np.float64]) -> NDArray[np.float64]:
        counted = np.array(x_m, dtype=np.float64)
        for slip in self._slips:
            share = np.clip((x_m - slip.from_m) / (slip.to_m - slip.from_m), 0.0, 1.0)
            counted -= slip.lost_m * share
        return counted


class LoggerFaults:
    """Readings spoilt on their way from instrument to log.

    Args:
        scenario: the run.
    """

    def __init__(self, scenario: RunScenario) -> None:
        self._drop_outs = [one for one in scenario.troubles if isinstance(one, DropOut)]
        self._stuck = [one for one in scenario.troubles if isinstance(one, Stuck)]
        self._spikes = [one for one in scenario.troubles if isinstance(one, Spikes)]
        self._held: dict[Stuck, float] = {}
        self._last_m: dict[str, float] = {}

    def applied(
        self, instrument: str, readings: dict[str, NDArray[np.float64]], s_m: NDArray[np.float64]
    ) -> dict[str, NDArray[np.float64]]:
        """`readings` of `instrument`, which saw the metres `s_m`, with its faults."""
        before = np.concatenate([[self._last_m.get(instrument, -np.inf)], s_m[:-1]])
        spoilt = {name: values.copy() for name, values in readings.items()}
        for spike in self._spikes:
            for at_m in spike.at_m:
                if spike.channel in spoilt:
                    # The one reading within which the wire at `at_m` came by.
                    spoilt[spike.channel][(before < at_m) & (s_m >= at_m)] += spike.size_mm
        for stuck in self._stuck:
            within = (s_m >= stuck.from_m) & (s_m <= stuck.to_m)
            if stuck.channel in spoilt and within.any():
                held = self._held.setdefault(stuck, float(spoilt[stuck.channel][within][0]))
                spoilt[stuck.channel][within] = held
        for gap in self._drop_outs:
            if gap.instrument == instrument:
                within = (s_m >= gap.from_m) & (s_m <= gap.to_m)
                for values in spoilt.values():
                    values[within] = np.nan
        self._last_m[instrument] = float(s_m[-1])
        return spoilt
