"""The tutorial of the package: its lines are run, and come to what it says."""

from __future__ import annotations

import doctest
from pathlib import Path
from typing import TYPE_CHECKING

import assembler
from tests.support.collections import age
from tests.support.sessions import HOUR, Layout, make_tape

if TYPE_CHECKING:
    import pytest

TUTORIAL = Path(__file__).resolve().parents[2] / "docs" / "library.md"


def write_tutorial_session(folder: Path) -> None:
    """Write the session that the tutorial tells of."""
    tape = make_tape(4, 2, seed=7)
    tape[120_000:121_000, 1] = 0
    muted = tape.copy()
    muted[60_000:60_500, 0] = 0
    layout = Layout(folder, session={"title": "Two captures"})
    layout.add_reel("A", ["Kick", "Bell"])
    layout.add_pass("A1", "A", muted, HOUR)
    layout.add_pass("A2", "A", tape, HOUR)
    layout.write()
    age(folder)


def test_the_tutorial_is_true(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every line of it runs and prints what stands below it."""
    write_tutorial_session(tmp_path / "session")
    monkeypatch.chdir(tmp_path)
    told: list[str] = []
    test = doctest.DocTestParser().get_doctest(
        TUTORIAL.read_text(encoding="utf-8"), {}, TUTORIAL.name, str(TUTORIAL), 0
    )
    found = doctest.DocTestRunner(verbose=False).run(test, out=told.append)
    assert found.attempted > 30
    assert found.failed == 0, "".join(told)


def test_every_public_name_is_there_and_told_of() -> None:
    """What the face names can be had, has a text, and, but for errors and results, stands in the face's own text."""
    text = assembler.__doc__ or ""
    for name in assembler.__all__:
        thing = getattr(assembler, name)
        if name.startswith("__"):
            continue
        assert thing.__doc__, name
        if callable(thing) and not isinstance(thing, type):
            assert f"    {name} " in text, name
    assert len(assembler.__all__) <= 36
