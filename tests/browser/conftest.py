"""One browser for all tests of the page, and the page of a small session that was built."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.consolidator import build_set
from assembler.record.recorded.reading import read_record
from tests.support.browser import running_browser
from tests.support.sessions import HOUR, RATE, Layout, make_tape

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from playwright.sync_api import Browser

    from assembler.record.recorded.whole import RecordedSet


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Give a running browser."""
    with running_browser() as browser:
        yield browser


@pytest.fixture(scope="session")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the data folder of a set: a slip, cured mutes, an uncured one, a fade between reels, silence."""
    folder = tmp_path_factory.mktemp("browsed")
    tape, other = make_tape(4, 2, seed=5), make_tape(2, 1, seed=6)
    slipped = np.delete(tape, slice(50_000, 50_400), axis=0)
    slipped[70_000:70_300, 0] = 0
    slipped[100_000:100_024, :] = 0
    tape[150_000:151_000, 1] = slipped[149_600:150_600, 1] = 0
    layout = Layout(folder, more='[[reel]]\nname = "B"\ntracks = ["One"]\n')
    layout.add_reel("A", ["One", "Two"])
    layout.add_pass("A1", "A", slipped, HOUR)
    layout.add_pass("A2", "A", tape[20_000:], HOUR + 20_000)
    layout.add_pass("B1", "B", other, HOUR + 3 * RATE + 20_000)
    build_set(layout.write(), folder / "set")
    return folder / "set" / "data"


@pytest.fixture(scope="session")
def page(built: Path) -> Path:
    """Return the page of the built set."""
    return built / "report.html"


@pytest.fixture(scope="session")
def record(built: Path) -> RecordedSet:
    """Return the record of the built set."""
    return read_record((built / "assembly.json").read_bytes())
