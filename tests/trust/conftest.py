"""Simulated runs, made once a session."""

from functools import lru_cache

import pytest

from pipeline.simulator.short_run import short_scenario
from pipeline.simulator.simulate import simulate_in_memory


@lru_cache(maxsize=64)
def _run(product, seed, frozen):
    options = {name: dict(value) if name == "stations_m" else value for name, value in frozen}
    return simulate_in_memory(short_scenario(product, **options), seed)


@pytest.fixture(scope="session")
def simulated():
    """A simulated run with its truth, by product, seed and options of the scenario."""

    def make(product: str, seed: int, **options):
        frozen = tuple(
            (name, tuple(value.items()) if isinstance(value, dict) else value)
            for name, value in sorted(options.items())
        )
        return _run(product, seed, frozen)

    return make
