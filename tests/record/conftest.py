"""The store of every state and its pages, made once for the tests that compare what is said of a reel."""

from __future__ import annotations

from pathlib import Path

import pytest

from dashboards.page_writing import write_pages
from pipeline.store.database import open_to_read
from tests.record.every_state import every_state


@pytest.fixture(scope="session")
def states(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with a reel in every state; read only."""
    return every_state(tmp_path_factory.mktemp("states") / "store")


@pytest.fixture(scope="session")
def state_pages(states: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Every page of that store."""
    out = tmp_path_factory.mktemp("site") / "pages"
    with open_to_read(states) as store:
        write_pages(store, out, lambda _what, _more: None)
    return out
