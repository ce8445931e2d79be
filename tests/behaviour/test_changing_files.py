"""What is rendered is what is digested: a file that changes while it is read ends the run, and no set appears."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.cli.commands import run
from assembler.consolidator import build_set, check_session, verify_set
from assembler.errors import CaptureError
from assembler.timecode import frame_rate
from assembler.timecode.ltc import encode_ltc
from tests.support.sessions import HOUR, RATE, Layout, make_tape, write_wave

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path


def session(folder: Path) -> Path:
    """Write a sound session of one reel and two passes."""
    tape = make_tape(2, 2)
    layout = Layout(folder)
    layout.add_reel("A", ["Kick", "Snare"])
    layout.add_pass("A1", "A", tape, HOUR)
    layout.add_pass("A2", "A", tape[12000:], HOUR + 12000)
    return layout.write()


def write_with_old_time(path: Path) -> None:
    """Change a file's last byte but one in place and put its time of last change back."""
    before = path.stat()
    with path.open("r+b") as file:
        file.seek(-2, os.SEEK_END)
        byte = file.read(1)
        file.seek(-2, os.SEEK_END)
        file.write(bytes([byte[0] ^ 1]))
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))


def replace_with_old_time(path: Path) -> None:
    """Put another file of the same size and time in the place of one that stays as it was."""
    other = path.with_name("other")
    shutil.copy2(path, other)
    write_with_old_time(other)
    other.replace(path)


def take_away(path: Path) -> None:
    """Remove a file."""
    path.unlink()


DAMAGES = [write_with_old_time, replace_with_old_time, take_away]
STAGES = ["reading logs", "hashing captures", "writing tracks", "reading back"]


def once(stage: str, damage: Callable[[Path], None], path: Path) -> Callable[[str, float], None]:
    """Return a progress function that damages a file when a stage is first told of."""
    left = [path]

    def progress(what: str, _share: float) -> None:
        if what == stage and left:
            damage(left.pop())

    return progress


@pytest.mark.parametrize("damage", DAMAGES)
@pytest.mark.parametrize("stage", STAGES)
@pytest.mark.parametrize("name", ["01.wav", "timecode.mid"])
def test_a_changed_file_is_never_published(
    tmp_path: Path, name: str, stage: str, damage: Callable[[Path], None]
) -> None:
    """A capture or a log that is rewritten, replaced or removed at any time: refused by name, nothing left."""
    sheet = session(tmp_path)
    path = tmp_path / "captures" / "A1" / name
    with pytest.raises(CaptureError, match=name) as told:
        build_set(sheet, tmp_path / "set", page=lambda _: b"", progress=once(stage, damage, path))
    assert "no set was written" in str(told.value)
    assert len(str(told.value).splitlines()) == 1
    assert sorted(each.name for each in tmp_path.iterdir()) == ["captures", "session.toml"]


@pytest.mark.parametrize("damage", DAMAGES)
def test_a_check_tells_of_a_changed_file(tmp_path: Path, damage: Callable[[Path], None]) -> None:
    """What a check says of a capture that changed meanwhile is of no use."""
    sheet = session(tmp_path)
    path = tmp_path / "captures" / "A1" / "02.wav"
    with pytest.raises(CaptureError, match=r"02\.wav"):
        check_session(sheet, progress=once("reading logs", damage, path))


def test_a_changed_stripe_is_never_published(tmp_path: Path) -> None:
    """A recording of timecode beside the tracks is watched like a log."""
    tape = make_tape(2, 1)
    layout = Layout(tmp_path)
    layout.add_reel("A", ["One"])
    layout.add_pass("A1", "A", tape, "x", timecode={"ltc": "captures/A1/stripe/ltc.wav"})
    path = tmp_path / "captures" / "A1" / "stripe" / "ltc.wav"
    sound = encode_ltc(30 * 3600, 60, frame_rate("30"), RATE) * 20000
    write_wave(path, np.round(sound).astype(np.int32), 16)
    progress = once("reading logs", write_with_old_time, path)
    with pytest.raises(CaptureError, match="ltc"):
        build_set(layout.write(), tmp_path / "set", page=lambda _: b"", progress=progress)


def test_digests_are_those_of_the_files(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Every capture and log stands in the record with the digest that hashlib gives for the file."""
    sheet = session(tmp_path)
    assert run(["build", str(sheet), "-o", str(tmp_path / "set"), "--json"]) == 0
    record = json.loads(capsys.readouterr().out)
    named = [file for one in record["passes"] for file in (*one["files"], one["log"])]
    assert len(named) == 6
    for file in named:
        data = (tmp_path / file["path"]).read_bytes()
        assert file["sha256"] == hashlib.sha256(data).hexdigest()


@pytest.mark.parametrize("damage", DAMAGES)
def test_a_proof_against_a_changing_capture_fails(tmp_path: Path, damage: Callable[[Path], None]) -> None:
    """Verifying tells of a capture that was changed after its digest was compared."""
    sheet = session(tmp_path)
    build_set(sheet, tmp_path / "set", page=lambda _: b"page")
    path = tmp_path / "captures" / "A1" / "01.wav"
    assert verify_set(tmp_path / "set", against=sheet).is_sound
    result = verify_set(tmp_path / "set", against=sheet, progress=once("proving tracks", damage, path))
    assert any("01.wav" in problem.path for problem in result.problems)
