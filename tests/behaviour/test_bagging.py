"""What ``bag-info.txt`` says of the day and the program, in labels that a reader of RFC 8493 takes."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import bagit
import pytest

from assembler.cli.commands import run
from tests.support.sessions import Layout, make_tape

if TYPE_CHECKING:
    from pathlib import Path


@pytest.mark.parametrize(
    ("epoch", "date", "day", "is_said"),
    [
        ("1700000000", "1995-09-02", "2023-11-14", False),
        ("1700000000", None, "2023-11-14", False),
        (None, "1995-09-02", "1995-09-02", True),
        (None, None, None, False),
    ],
)
def test_the_day_of_bagging(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    epoch: str | None,
    date: str | None,
    day: str | None,
    is_said: bool,  # noqa: FBT001 - a parameter of the rows above
) -> None:
    """The environment's day; the session's only where nothing better is known, and said so; never the clock's."""
    monkeypatch.delenv("SOURCE_DATE_EPOCH", raising=False)
    if epoch is not None:
        monkeypatch.setenv("SOURCE_DATE_EPOCH", epoch)
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One"])
    layout.add_pass("A1", "A", make_tape(1, 1), "01:00:00:00")
    sheet = layout.write()
    if date is not None:
        text = sheet.read_text(encoding="utf-8").replace("[session]", f"[session]\ndate = {date}")
        sheet.write_text(text, encoding="utf-8")
    assert run(["build", str(sheet), "-o", str(tmp_path / "set")]) == 0
    info = bagit.Bag(str(tmp_path / "set")).info
    assert info.get("Bagging-Date") == day
    assert ("Bagging-Date-Is" in info) is is_said
    assert info["Set-Made-With"].startswith("capture-assembler ")
    if day is not None:
        assert dt.date.fromisoformat(day) != dt.datetime.now(dt.UTC).date()
