"""What every test must not see: the settings of whoever runs it."""

import os
from collections.abc import Iterator
from pathlib import Path

import pytest


@pytest.fixture(scope="session", autouse=True)
def _nobodys_settings(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """A voice that was set up here would change what the commands hear (on Linux, where CI is)."""
    before = os.environ.get("XDG_CONFIG_HOME")
    folder: Path = tmp_path_factory.mktemp("settings")
    os.environ["XDG_CONFIG_HOME"] = str(folder)
    yield
    if before is None:
        del os.environ["XDG_CONFIG_HOME"]
    else:
        os.environ["XDG_CONFIG_HOME"] = before
