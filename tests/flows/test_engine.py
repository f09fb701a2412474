"""An engine that does not start is told in a sentence, with what works without it."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from contextvars import copy_context
from pathlib import Path

import pytest

from pipeline.errors import StoreError
from tests.live.test_opc_ua import free_port


def test_an_engine_that_does_not_start_is_a_sentence() -> None:
    from pipeline.flows.engine import engine

    with pytest.raises(StoreError) as told, engine():
        raise RuntimeError("Timed out while attempting to connect to ephemeral Prefect API server.")
    assert str(told.value) == (
        "workflow engine: it did not start within 240 s, as on a machine with all processors busy or the "
        "loopback address closed. Nothing was changed: run the command again, or work without the engine with "
        "reelproof load, assess and pages."
    )


def test_another_fault_stays_what_it_is() -> None:
    from pipeline.flows.engine import engine

    with pytest.raises(RuntimeError, match=r"^something else$"), engine():
        raise RuntimeError("something else")


def test_a_serving_process_can_hand_the_watch_to_the_one_it_starts() -> None:
    """It sends the flow by value, which leaves out what only annotations name: so they may name built-in types only."""
    import cloudpickle

    from pipeline.flows import served_watch

    cloudpickle.register_pickle_by_value(served_watch)
    try:
        sent = cloudpickle.dumps(served_watch.watch_pass)
    finally:
        cloudpickle.unregister_pickle_by_value(served_watch)
    given = {"inbox": "/lines/inbox", "store": "/lines/store", "quiet_s": 10}
    assert cloudpickle.loads(sent).validate_parameters(given) == given


def run_apart(*words: str) -> int:
    """The exit code of a command run in a thread: browser tests leave an event loop running in the first one."""
    from pipeline.cli.app import run

    with ThreadPoolExecutor(1) as pool:
        return pool.submit(copy_context().run, run, list(words)).result()


def test_a_watch_that_cannot_be_served_says_so_and_nothing_else(tmp_path, capsys) -> None:
    from prefect.settings import PREFECT_API_URL, temporary_settings

    nobody = f"http://127.0.0.1:{free_port()}/api"
    with temporary_settings({PREFECT_API_URL: nobody}):
        assert run_apart("watch", str(tmp_path), "--serve") == 3
    assert capsys.readouterr().err == (
        f"PREFECT_API_URL {nobody}: no Prefect server answers there (All connection attempts failed). Start it, or "
        "correct the address, then run the same command again; what was finished is on file.\n"
    )
    with temporary_settings(restore_defaults={PREFECT_API_URL}):
        for inbox, told in (
            (tmp_path, "PREFECT_API_URL: no Prefect server is named. Set it to the server's address, as "),
            (
                tmp_path / "no",
                f"{tmp_path / 'no'}: this is not a folder. Name the folder that runs arrive in.",
            ),
        ):
            assert run_apart("watch", str(inbox), "--serve") == 2
            shown = capsys.readouterr()
            assert shown.out == ""
            assert shown.err.startswith(told)


def test_a_flow_reviews_a_run_and_the_passing_engine_asks_for_a_password(
    tmp_path: Path, small_run: Path
) -> None:
    """It listens on a port that everybody on this machine can reach."""
    import httpx
    from prefect import flow
    from prefect.server.api.server import SubprocessASGIServer

    from pipeline.flows.engine import engine
    from pipeline.flows.review_flow import review_as_flow
    from pipeline.job.whole_job import ReviewOutcome

    asked: list[int] = []
    reviewed: list[ReviewOutcome] = []

    @flow
    def ask() -> None:
        servers = [one for one in SubprocessASGIServer._instances.values() if one.running]
        asked.extend(
            httpx.post(f"{one.api_url}/flow_runs/filter", json={}, timeout=30).status_code for one in servers
        )

    def run() -> None:
        with engine():
            ask()
        reviewed.append(review_as_flow((small_run,), tmp_path / "store", print, print, 0.0, 1))

    with ThreadPoolExecutor(1) as pool:
        pool.submit(copy_context().run, run).result()
    assert asked and set(asked) == {401}
    (outcome,) = reviewed
    assert outcome.index.is_file() and outcome.refused == []
    assert [(one.outcome, one.releasable, one.held) for one in outcome.assessments] == [("judged", 2, 1)]
