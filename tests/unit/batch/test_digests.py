"""A set tells what it was made from, and so does the session it was made of."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import pytest

from assembler import build_set, load_sheet
from assembler.batch.digests import inputs_digest, seen_digest, session_files, set_digest
from assembler.batch.finding import find_sheets, look_at
from assembler.errors import CaptureError
from tests.support.collections import age, write_session
from tests.support.sessions import HOUR, Layout, make_tape

if TYPE_CHECKING:
    from pathlib import Path


@pytest.mark.parametrize("kind", ["log", "label", "poly", "audio"])
def test_session_and_set_have_one_digest(tmp_path: Path, kind: str) -> None:
    """Whatever places the passes; and another one after a changed sample, a changed sheet, a changed log."""
    tape = make_tape(1, 2)
    layout = Layout(tmp_path / "session")
    layout.add_reel("A", ["One", "Two"])
    layout.add_pass("A1", "A", tape, "01:00:00:00" if kind == "label" else HOUR, poly=kind == "poly")
    if kind == "audio":
        layout.add_pass("A2", "A", tape, "01:00:00:00", timecode="audio")
    sheet = load_sheet(layout.write())
    build_set(tmp_path / "session/session.toml", tmp_path / "set")
    digest = inputs_digest(sheet, session_files(sheet))
    assert set_digest(tmp_path / "set") == digest
    for path in session_files(sheet):
        data = path.read_bytes()
        path.write_bytes(data[:-1] + bytes([data[-1] ^ 1]))
        assert inputs_digest(sheet, session_files(sheet)) != digest
        path.write_bytes(data)
    assert inputs_digest(sheet, session_files(sheet)) == digest
    assert set_digest(tmp_path) is None


def test_files_that_were_just_written_are_not_believed(tmp_path: Path) -> None:
    """Within the same tick of the clock they may be written again."""
    sheet = load_sheet(write_session(tmp_path, 1))
    files = session_files(sheet)
    assert seen_digest(sheet, files) == ""
    age(tmp_path)
    seen = seen_digest(sheet, files)
    assert seen == seen_digest(sheet, files)
    os.utime(files[0], (0, 0))
    assert seen_digest(sheet, files) not in (seen, "")


def test_sheets_are_found_and_nothing_else(tmp_path: Path) -> None:
    """No plan, no hidden folder, no set, nothing of the root's; the same sheet once."""
    write_session(tmp_path / "a/b", 1)
    write_session(tmp_path / ".hidden", 1)
    write_session(tmp_path / "root/x", 1)
    write_session(tmp_path / "set/data", 1)
    (tmp_path / "set/bagit.txt").touch()
    (tmp_path / "plan.toml").write_text("[[track]]\n", encoding="utf-8")
    (tmp_path / "odd.toml").write_text("[session\n[session]", encoding="utf-8")
    found = find_sheets([tmp_path, tmp_path / "a"], tmp_path / "root")
    assert {path.relative_to(tmp_path).as_posix(): name for path, name in found.items()} == {
        "odd.toml": "odd",
        "a/b/session.toml": "a_b",
    }
    os.rename(tmp_path / "odd.toml", os.fsencode(tmp_path) + b"/\xff.toml")  # noqa: PTH104 - no text
    with pytest.raises(CaptureError, match="not UTF-8"):
        find_sheets([tmp_path], tmp_path / "root")


def test_a_set_takes_what_was_foretold(tmp_path: Path) -> None:
    """No less than its samples, no more than these and the room for headers."""
    found = look_at(write_session(tmp_path, 1, 2), "one", allow_outside=False)
    samples = 2 * 2 * 2 * 48_000
    assert samples <= found.needed_bytes <= samples + 2 * 65_536
