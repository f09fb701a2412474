"""Damaged files are read, or refused in words; more of each with REELPROOF_MUTATIONS=5000."""

import os
from pathlib import Path

import pytest

from tests.store.mutated_files import handed_in, try_kind

MUTATIONS = int(os.environ.get("REELPROOF_MUTATIONS", "10"))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("handed_in")


def test_a_damaged_file_is_read_or_refused_in_words(folder: Path) -> None:
    for name, kind in handed_in(folder).items():
        outcomes, _ = try_kind(kind, MUTATIONS, seed=20261129, folder=folder)
        assert sum(outcomes.values()) > MUTATIONS // 2, name
        if "of a pack" in name:
            assert outcomes["read"] == 0, f"a changed {name} passes as whole"
