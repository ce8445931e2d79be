"""The sheets in demo_sessions are what a user copies: each of them must be read."""

from __future__ import annotations

from pathlib import Path

import pytest

from assembler.sheet import load_sheet

_SHEETS = sorted((Path(__file__).parents[3] / "demo_sessions").glob("*.toml"))


def test_there_are_sheets_to_copy() -> None:
    """The folder holds the demo's own sheet and two to copy."""
    assert [path.stem for path in _SHEETS] == ["harvest_supper", "punches", "two_reels"]


@pytest.mark.parametrize("path", _SHEETS, ids=lambda path: path.stem)
def test_a_sheet_to_copy_is_read(path: Path) -> None:
    """Every sheet is accepted as it stands, and each of its reels has a pass."""
    sheet = load_sheet(path)
    assert {one.reel for one in sheet.passes} == {reel.name for reel in sheet.reels}


def test_the_punches_come_from_passes_that_are_there() -> None:
    """The sheet with punches names two stretches, one of them with a fade of its own."""
    sheet = load_sheet(next(path for path in _SHEETS if path.stem == "punches"))
    assert [(punch.pass_name, punch.fade_ms) for punch in sheet.punches] == [("A2", None), ("A3", 5)]
