"""Small collections for tests: folders of sessions, and what a set holds, byte by byte."""

from __future__ import annotations

import hashlib
import os
from typing import TYPE_CHECKING

from tests.support.sessions import HOUR, Layout, make_tape

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path


def write_session(
    folder: Path,
    seed: int,
    seconds: float = 1,
    *,
    is_flawed: bool = False,
    notes: Mapping[str, object] | None = None,
) -> Path:
    """Write a session of two passes and return its sheet; one that is flawed has a mute in both."""
    tape = make_tape(seconds, 2, seed=seed)
    muted = tape.copy()
    muted[20_000:20_500, 0] = 0
    layout = Layout(folder, session={"title": f"Session {seed}"})
    layout.add_reel("A", ["One", "Two"])
    layout.add_pass("A1", "A", muted, HOUR)
    layout.add_pass("A2", "A", muted if is_flawed else tape, HOUR)
    sheet = layout.write()
    if notes:
        text = sheet.read_text(encoding="utf-8")
        words = ", ".join(f'{key} = "{value}"' for key, value in notes.items())
        reel = '[[reel]]\nname = "A"\n'
        assert reel in text
        sheet.write_text(text.replace(reel, f"{reel}prepared = {{ {words} }}\n"), encoding="utf-8")
    return sheet


def age(folder: Path, seconds: float = 60) -> None:
    """Let all files of a folder look as if they had been written some time ago, as those of an archive do."""
    for path in folder.rglob("*"):
        state = path.stat()
        os.utime(path, (state.st_atime - seconds, state.st_mtime - seconds))


def bytes_of(folder: Path) -> dict[str, str]:
    """Return the digest of every file of a folder by its path in it."""
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }
