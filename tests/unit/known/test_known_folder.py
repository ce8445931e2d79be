"""Where what is known is kept, and how much of it: by the XDG Base Directory Specification where there is one."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import pytest

from assembler.cli.commands import run
from assembler.known import FOLDER_VARIABLE, NOTHING, cache_folder, open_known

if TYPE_CHECKING:
    from pathlib import Path


@pytest.mark.skipif(sys.platform != "linux", reason="XDG is a convention of this platform")
def test_the_folder_is_the_users_cache(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """$XDG_CACHE_HOME, else .cache in the home; the program's own variable names any other."""
    monkeypatch.delenv(FOLDER_VARIABLE)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    assert cache_folder() == tmp_path / "capture-assembler"
    monkeypatch.delenv("XDG_CACHE_HOME")
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    assert cache_folder() == tmp_path / "home" / ".cache" / "capture-assembler"
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path / "own"))
    assert cache_folder() == tmp_path / "own"


def test_a_folder_that_cannot_be_made_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """A place where nobody may write, not even who may do all: one line, and nothing is kept."""
    monkeypatch.setenv(FOLDER_VARIABLE, "/proc/1/none")
    told: list[str] = []
    assert open_known(1, told.append) is NOTHING
    (line,) = told
    assert line.startswith("nothing is remembered for the next run: ")


@pytest.mark.parametrize("value", ["0", "-1", "1048577", "much", "nan", "1.5", ""])
def test_a_size_that_is_none_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], value: str
) -> None:
    """A plain line, status 2, whatever the command."""
    for command in ("check", "draft", "retakes", "plan", "watch"):
        assert run([command, str(tmp_path), "--cache-size", value]) == 2
        told = capsys.readouterr().err
        assert "--cache-size" in told
        assert len(told.strip().splitlines()) <= 2
