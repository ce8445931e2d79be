"""Captures that this project did not make: every bit of the tape back, from two flawed passes."""

from __future__ import annotations

import hashlib
import os
import re
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
import soundfile

from assembler.consolidator import sha256_of
from tests.support.sessions import run_json

if TYPE_CHECKING:
    from collections.abc import Mapping

EXAMPLE = Path(__file__).resolve().parents[3] / "shared" / "example-session"


@pytest.fixture(scope="module")
def tape_hashes() -> Mapping[str, str]:
    """The tape's own hashes by track name, from the README beside the captures."""
    if not EXAMPLE.is_dir():
        if os.environ.get("CI"):
            pytest.fail("the example session is missing beside the checkout")
        pytest.skip("the example session is not beside the checkout")
    rows = re.findall(r"^\s+([0-9a-f]{64})\s+(\S+)$", (EXAMPLE / "README.md").read_text(), re.MULTILINE)
    return {name: digest for digest, name in rows}


def test_example_session_gives_the_tape_back(
    tmp_path: Path, tape_hashes: Mapping[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    """Each delivered track holds exactly the samples of the tape, and the run is sound."""
    captures = sorted(path for path in EXAMPLE.rglob("*") if path.is_file())
    before = [sha256_of(path) for path in captures]
    status, record = run_json(capsys, "build", EXAMPLE / "session.toml", "-o", tmp_path / "set")
    assert status == 0
    assert record["uncured"] == []
    found = {}
    for track in record["tracks"]:
        samples, rate = soundfile.read(tmp_path / "set" / "data" / track["file"], dtype="int16")
        assert rate == 48000
        found[track["name"]] = hashlib.sha256(samples.astype("<i2").tobytes()).hexdigest()
        assert all(join["law"] == "identical" and join["fade"] == 0 for join in track["joins"])
    assert len(tape_hashes) == 8
    assert found == tape_hashes
    assert [sha256_of(path) for path in captures] == before


def test_example_session_is_proved_against_its_captures(
    tmp_path: Path, tape_hashes: Mapping[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    """Verifying against the sheet computes every delivered sample again and finds it the same."""
    run_json(capsys, "build", EXAMPLE / "session.toml", "-o", tmp_path / "set")
    status, report = run_json(capsys, "verify", tmp_path / "set", "--against", EXAMPLE / "session.toml")
    assert status == 0
    assert report["problems"] == []
    assert report["proved_samples"] == len(tape_hashes) * 943189
