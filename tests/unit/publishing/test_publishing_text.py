"""A text in the place of one that a person wrote."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from assembler.errors import PublishError
from assembler.publishing.text import replace_text

if TYPE_CHECKING:
    from pathlib import Path


def test_the_old_text_is_kept_under_a_free_name(tmp_path: Path) -> None:
    """Each time another one; rights stay as they were."""
    sheet = tmp_path / "session.toml"
    sheet.write_text("one")
    sheet.chmod(0o640)
    assert replace_text(sheet, b"one", "two") == tmp_path / "session.toml.1.bak"
    assert replace_text(sheet, b"two", "three") == tmp_path / "session.toml.2.bak"
    assert {path.name: path.read_text() for path in tmp_path.iterdir()} == {
        "session.toml": "three", "session.toml.1.bak": "one", "session.toml.2.bak": "two",
    }  # fmt: skip
    assert sheet.stat().st_mode & 0o777 == 0o640


def test_what_was_changed_meanwhile_stands(tmp_path: Path) -> None:
    """Somebody saved the sheet in an editor while captures were heard: told, nothing else is left."""
    sheet = tmp_path / "session.toml"
    sheet.write_text("saved just now")
    with pytest.raises(PublishError, match="changed meanwhile"):
        replace_text(sheet, b"as it was read", "with more")
    assert [path.name for path in tmp_path.iterdir()] == ["session.toml"]
    assert sheet.read_text() == "saved just now"


def test_a_disk_that_fails_leaves_the_sheet(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The new text could not be put in its place."""
    sheet = tmp_path / "session.toml"
    sheet.write_text("one")

    def fail(*_: object) -> None:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(type(sheet), "replace", fail)
    with pytest.raises(PublishError, match="Input/output error"):
        replace_text(sheet, b"one", "two")
    assert [path.name for path in tmp_path.iterdir()] == ["session.toml"]
    assert sheet.read_text() == "one"
