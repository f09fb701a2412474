"""A served site for tests that only read, and one of its own for each that acts."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.acts.decided_store import copied
from tests.desk.site import Site, site_of


@pytest.fixture(scope="session")
def read_site(judged_store: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """One site for all tests that put nothing on file."""
    with site_of(copied(judged_store, tmp_path_factory.mktemp("read") / "store")) as site:
        yield site


@pytest.fixture
def site(judged_store: Path, tmp_path: Path) -> Iterator[Site]:
    """A site of its own for one test."""
    with site_of(copied(judged_store, tmp_path / "store")) as found:
        yield found
