"""The Prefect flows; the only room that imports prefect.

Settings are made before prefect is imported: offline, no telemetry, quiet, and no process left behind. What
a plant has set in its own environment wins.
"""

from __future__ import annotations

import os

from pipeline.one_thread import one_thread_each

for _name, _value in {
    "PREFECT_SERVER_ANALYTICS_ENABLED": "false",
    "DO_NOT_TRACK": "1",
    "PREFECT_LOGGING_LEVEL": "CRITICAL",  # what goes wrong is told in our words, not as a traceback
    "PREFECT_LOGGING_TO_API_ENABLED": "false",
    "PREFECT_RESULTS_PERSIST_BY_DEFAULT": "false",
    "PREFECT_SERVER_EPHEMERAL_STARTUP_TIMEOUT_SECONDS": "240",
}.items():
    os.environ.setdefault(_name, _value)

one_thread_each()
