"""The invented site, written once for every test that opens one of its pages."""

from pathlib import Path

import pytest

from tests.dashboards.invented_site import write_site


@pytest.fixture(scope="session")
def site_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("pages") / "site"
    write_site(folder)
    return folder
