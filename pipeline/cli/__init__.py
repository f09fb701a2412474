"""The commands; turns errors into a sentence and an exit code."""

from __future__ import annotations

import os
import sys
from contextlib import suppress

from pipeline.one_thread import one_thread_each

one_thread_each()
STOPPED = "Stopped. What was finished is on file; nothing half-written was kept."


def main() -> None:
    """Run the command line and leave with its exit code."""
    try:
        from pipeline.cli.app import run

        code = run(sys.argv[1:])
    except KeyboardInterrupt:
        code = 130
    if code == 130:
        # The store has unwound by now. Libraries that were interrupted in the middle of an import or a read leave
        # exit hooks that fail noisily, so this process leaves without them.
        print(STOPPED, file=sys.stderr, flush=True)
        if "pipeline.flows.engine" in sys.modules:
            from pipeline.flows.engine import stop_engine

            with suppress(Exception, KeyboardInterrupt):
                stop_engine()
        if "multiprocessing.util" in sys.modules:
            from multiprocessing import util

            with suppress(Exception, KeyboardInterrupt):
                # Semaphores shared with processes that judged: else Python tells of them as leaked.
                util._run_finalizers(0)  # type: ignore[attr-defined]
        os._exit(130)
    sys.exit(code)
