"""No test writes to the cache folder of whoever runs it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from assembler.known import FOLDER_VARIABLE

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture(autouse=True)
def _cache_of_its_own(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Give each test, and the commands it starts, an empty cache folder."""
    folder = tmp_path_factory.mktemp("cache")
    monkeypatch.setenv(FOLDER_VARIABLE, str(folder))
    return folder
