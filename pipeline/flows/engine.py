"""The engine a flow runs on: what is set for it, and a sentence where it does not start."""

from __future__ import annotations

import os
import secrets
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from typing import Any

import httpx
from prefect.settings import (
    PREFECT_API_AUTH_STRING,
    PREFECT_API_URL,
    PREFECT_FLOWS_HEARTBEAT_FREQUENCY,
    PREFECT_SERVER_API_AUTH_STRING,
    temporary_settings,
)

from pipeline.errors import Complaint, StoreError


@contextmanager
def reached() -> Iterator[None]:
    """Turn a Prefect server that does not answer into a complaint that says so."""
    try:
        yield
    except httpx.TransportError as fault:
        if PREFECT_API_URL.value() is None:
            raise StoreError(
                Complaint(
                    "workflow engine",
                    f"it stopped answering ({fault})",
                    "Run the same command again: what was finished is on file",
                )
            ) from fault
        raise StoreError(
            Complaint(
                f"PREFECT_API_URL {PREFECT_API_URL.value()}",
                f"no Prefect server answers there ({fault})",
                "Start it, or correct the address, then run the same command again; what was finished is on file",
            )
        ) from fault


def _password() -> dict[Any, str]:
    """A password for the passing engine, which listens on a port that everybody on this machine can reach."""
    if PREFECT_API_URL.value() is not None:
        return {}  # the plant's own server has its own rule
    return {PREFECT_SERVER_API_AUTH_STRING: _secret(), PREFECT_API_AUTH_STRING: _secret()}


@cache
def _secret() -> str:
    """One a process, since its engine goes on from flow to flow."""
    return f"reelproof:{secrets.token_urlsafe(24)}"


@contextmanager
def engine() -> Iterator[None]:
    """Run flows inside this, on the engine a plant has set, or a passing one.

    Raises:
        StoreError: the passing engine did not start in time, and nothing was changed; or the server that is set does
            not answer.
    """
    with reached(), temporary_settings({PREFECT_FLOWS_HEARTBEAT_FREQUENCY: None, **_password()}):
        try:
            yield
        except RuntimeError as fault:
            # Prefect has no class of its own for this.
            if "ephemeral Prefect API server" not in str(fault):
                raise
            waited = os.environ["PREFECT_SERVER_EPHEMERAL_STARTUP_TIMEOUT_SECONDS"]
            raise StoreError(
                Complaint(
                    "workflow engine",
                    f"it did not start within {waited} s, as on a machine with all processors busy or the "
                    "loopback address closed",
                    "Nothing was changed: run the command again, or work without the engine with reelproof "
                    "load, assess and pages",
                )
            ) from fault


def stop_engine() -> None:
    """Stop the passing engine's server, which outlives a process that leaves without its exit hooks."""
    server = sys.modules.get("prefect.server.api.server")
    if server is not None:
        for one in list(server.SubprocessASGIServer._instances.values()):
            one.stop()
