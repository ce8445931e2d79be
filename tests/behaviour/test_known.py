"""What is known is kept between commands, and never trusted with what is delivered."""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.aligner.comparison import BLOCK_SAMPLES
from assembler.cli.commands import run
from assembler.importer import PassAudio
from assembler.inputs import FileState
from assembler.known import FOLDER_VARIABLE
from assembler.known.program import program_words
from tests.support.sessions import HOUR, RATE, Layout, make_tape, write_wave

if TYPE_CHECKING:
    from collections.abc import Callable

    from assembler.arrays import Int32s
    from assembler.wave import PackedSamples


@pytest.fixture
def cache() -> Path:
    """Return the folder that entries of this test lie in."""
    return Path(os.environ[FOLDER_VARIABLE]) / "known"


@pytest.fixture
def reads(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Return a list to which the file's folder is added whenever samples of a capture are read."""
    found: list[str] = []
    follow(monkeypatch, lambda audio, track, _: found.append(audio.path(track).parent.name))
    return found


def follow(monkeypatch: pytest.MonkeyPatch, seen: Callable[[PassAudio, int, int], None]) -> None:
    """Have something done before samples of a capture are read, unpacked or not: with audio, track and their number."""
    read, packed = PassAudio.read, PassAudio.packed

    def reading(self: PassAudio, track: int, start: int, count: int) -> Int32s:
        seen(self, track, count)
        return read(self, track, start, count)

    def packing(self: PassAudio, track: int, start: int, count: int) -> PackedSamples | None:
        seen(self, track, count)
        return packed(self, track, start, count)

    monkeypatch.setattr(PassAudio, "read", reading)
    monkeypatch.setattr(PassAudio, "packed", packing)


def settle(folder: Path) -> None:
    """Make all files of a session as old as files are that nobody is writing to."""
    minute_ago = time.time() - 60
    for path in folder.rglob("*"):
        if path.is_file():
            os.utime(path, (minute_ago, minute_ago))


def two_reels(folder: Path) -> Path:
    """Write a session of two reels, two passes each, one pass flawed; return the sheet's path."""
    layout = Layout(folder)
    for number, name in enumerate("AB"):
        tape = make_tape(6, seed=number + 1)
        layout.add_reel(name, [f"{name} Kick", f"{name} Bass"])
        flawed = tape.copy()
        flawed[50_000:52_000, 0] = 0
        layout.add_pass(f"{name}1", name, flawed, HOUR + number * 10 * RATE + 17)
        layout.add_pass(f"{name}2", name, tape, HOUR + number * 10 * RATE + 20_000 - 20_000)
    path = layout.write()
    settle(folder)
    return path


def tell(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str]:
    """Run a command; return its status and what it printed on standard output."""
    status = run([str(argument) for argument in arguments])
    return status, capsys.readouterr().out


def test_a_second_check_reads_no_capture_and_says_the_same(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], reads: list[str]
) -> None:
    """Neither samples nor logs."""
    sheet = two_reels(tmp_path)
    first = tell(capsys, "check", sheet, "--json")
    assert reads
    reads.clear()
    assert tell(capsys, "check", sheet, "--json") == first
    assert reads == []
    assert tell(capsys, "plan", sheet)[0] == 0
    assert reads == []


def test_a_folder_is_listened_to_once(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], reads: list[str]
) -> None:
    """What a draft heard is known to the next one, to a list for a folder, and to a sheet that grows."""
    sheet = two_reels(tmp_path)
    sheet.unlink()
    drafted = tell(capsys, "draft", tmp_path)
    assert set(reads) == {"A1", "A2", "B1", "B2"}
    reads.clear()
    assert tell(capsys, "draft", tmp_path) == drafted
    assert reads == []
    listed = tell(capsys, "retakes", tmp_path, "--json")
    reads.clear()
    assert tell(capsys, "retakes", tmp_path, "--json") == listed
    assert reads == []
    assert tell(capsys, "retakes", tmp_path, "--json", "--no-cache") == listed
    assert tell(capsys, "draft", tmp_path, "--no-cache") == drafted
    sheet.write_text(drafted[1])
    tape = make_tape(6, seed=2)
    for track in range(2):
        write_wave(tmp_path / "captures" / "B3" / f"{track}.wav", tape[40_000:120_000, track], 16)
    settle(tmp_path / "captures" / "B3")
    reads.clear()
    grown = tell(capsys, "draft", tmp_path, "--into", sheet)
    assert "B3" in reads
    sheet.write_text(drafted[1])
    reads.clear()
    assert tell(capsys, "draft", tmp_path, "--into", sheet)[1].replace(".2.bak", ".1.bak") == grown[1]
    assert reads == []


def test_without_the_cache_all_is_found_anew_and_nothing_kept(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], reads: list[str], cache: Path
) -> None:
    """``--no-cache`` neither reads nor writes the folder."""
    sheet = two_reels(tmp_path)
    first = tell(capsys, "check", sheet, "--json", "--no-cache")
    assert not cache.exists()
    tell(capsys, "check", sheet, "--json")
    reads.clear()
    assert tell(capsys, "check", sheet, "--json", "--no-cache") == first
    assert reads


def test_after_a_pass_is_added_the_other_reel_is_known(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], reads: list[str]
) -> None:
    """Only the reel that has a new pass is looked at again, and it is told as without the cache."""
    sheet = two_reels(tmp_path)
    text = sheet.read_text()
    tell(capsys, "check", sheet, "--json")
    tape = make_tape(6, seed=2)
    for track in range(2):
        write_wave(tmp_path / "captures" / "B3" / f"{track}.wav", tape[40_000:120_000, track], 16)
    settle(tmp_path / "captures" / "B3")
    added = '\n[[pass]]\nname = "B3"\nreel = "B"\naudio = "captures/B3/*.wav"\ntimecode = "audio"\n'
    sheet.write_text(text + added)
    reads.clear()
    second = tell(capsys, "check", sheet, "--json")
    assert set(reads) & {"B1", "B2", "B3"}
    placed = [name for name in reads if name in ("A1", "A2")]
    assert len(placed) < 40, len(placed)
    assert tell(capsys, "check", sheet, "--json", "--no-cache") == second


def test_in_a_reel_only_the_blocks_that_a_new_pass_lies_in_are_compared(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A retake of a second costs what it covers, not the tape; and it is told as without the cache."""
    blocks: list[int] = []
    follow(
        monkeypatch, lambda _audio, _track, count: blocks.append(count) if count >= BLOCK_SAMPLES else None
    )
    layout = Layout(tmp_path)
    layout.add_reel("A", ["Kick", "Bass"])
    tape = make_tape(30, seed=1)
    flawed = tape.copy()
    flawed[1_000_000:1_001_000, 0] = 0
    layout.add_pass("A1", "A", flawed, "01:00:00:00")
    layout.add_pass("A2", "A", tape, "01:00:00:00")
    sheet = layout.write()
    settle(tmp_path)
    tell(capsys, "check", sheet, "--json")
    whole = len(blocks)
    assert whole > 30
    layout.add_pass("A3", "A", tape[990_000:1_040_000], "01:00:20:18")
    layout.write()
    settle(tmp_path / "captures" / "A3")
    blocks.clear()
    second = tell(capsys, "check", sheet, "--json")
    assert len(blocks) < whole / 3, (whole, len(blocks))
    assert tell(capsys, "check", sheet, "--json", "--no-cache") == second


def test_a_change_of_what_matters_is_found_anew(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], reads: list[str]
) -> None:
    """A capture that changed, and a setting of the sheet; not a comment in it."""
    sheet = two_reels(tmp_path)
    tell(capsys, "check", sheet)
    reads.clear()
    sheet.write_text("# a comment\n" + sheet.read_text())
    tell(capsys, "check", sheet)
    assert reads == []
    sheet.write_text(sheet.read_text() + '\n[repair]\nmode = "off"\n')
    changed = tell(capsys, "check", sheet, "--json")
    assert reads
    assert changed == tell(capsys, "check", sheet, "--json", "--no-cache")
    tape = make_tape(6, seed=1)
    tape[100_000:100_500, 1] = 0
    write_wave(tmp_path / "captures" / "A2" / "02.wav", tape[:, 1], 16)
    settle(tmp_path)
    other = tell(capsys, "check", sheet, "--json")
    assert other != changed
    assert other == tell(capsys, "check", sheet, "--json", "--no-cache")


def test_files_that_were_written_just_now_are_not_remembered(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], reads: list[str]
) -> None:
    """They may be written to again within the same tick of the clock."""
    sheet = two_reels(tmp_path)
    for path in (tmp_path / "captures").rglob("*.wav"):
        os.utime(path)
    tell(capsys, "check", sheet)
    reads.clear()
    tell(capsys, "check", sheet)
    assert reads


def test_files_from_the_future_are_not_remembered(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], reads: list[str]
) -> None:
    """The clock was set back, or a recorder's is ahead: nothing tells that nobody is writing, and all is found anew."""
    sheet = two_reels(tmp_path)
    first = tell(capsys, "check", sheet, "--json")
    ahead = time.time() + 86_400
    for path in (tmp_path / "captures").rglob("*.wav"):
        os.utime(path, (ahead, ahead))
    for _ in range(2):
        reads.clear()
        assert tell(capsys, "check", sheet, "--json") == first
        assert reads


def test_a_capture_put_back_to_its_size_and_time_is_found_anew(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The system's own time of that very change cannot be set back."""
    sheet = two_reels(tmp_path)
    first = tell(capsys, "check", sheet, "--json")
    path = tmp_path / "captures" / "A2" / "01.wav"
    before = path.stat()
    data = bytearray(path.read_bytes())
    data[200_000:202_000] = bytes(2000)
    with path.open("r+b") as file:
        file.write(data)
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert (path.stat().st_size, path.stat().st_mtime_ns) == (before.st_size, before.st_mtime_ns)
    assert tell(capsys, "check", sheet, "--json") != first


def digests_of(folder: Path) -> dict[str, str]:
    """Return the digest of every file of a set."""
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def test_a_set_has_the_same_bytes_with_and_without(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Built of what is known, or of nothing."""
    sheet = two_reels(tmp_path / "session")
    tell(capsys, "check", sheet)
    for name, more in (("known", []), ("again", []), ("without", ["--no-cache"])):
        assert tell(capsys, "build", sheet, "-o", tmp_path / name, *more)[0] == 0
    assert digests_of(tmp_path / "known") == digests_of(tmp_path / "without")
    assert digests_of(tmp_path / "again") == digests_of(tmp_path / "without")


@pytest.fixture
def blind(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the system see no difference between a file and another one of the same length at its path."""
    seen: dict[object, FileState] = {}
    real = FileState.of.__func__  # type: ignore[attr-defined]

    def of(cls: type[FileState], file: int | Path) -> FileState:
        path = Path(f"/proc/self/fd/{file}").readlink() if isinstance(file, int) else Path(file).resolve()
        return seen.setdefault(path, real(cls, file))

    monkeypatch.setattr(FileState, "of", classmethod(of))


@pytest.mark.usefixtures("blind")
def test_a_build_finds_anew_what_a_changed_capture_belies(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The same size and times and other bytes: told, set aside, and the set is that of the bytes."""
    sheet = two_reels(tmp_path / "session")
    assert run(["build", str(sheet), "-o", str(tmp_path / "first")]) == 0
    tape = make_tape(6, seed=1)
    tape[200_000:201_000, 0] = 0
    write_wave(sheet.parent / "captures" / "A2" / "01.wav", tape[:, 0], 16)
    capsys.readouterr()
    run(["build", str(sheet), "-o", str(tmp_path / "second")])
    told = capsys.readouterr().err
    assert "captures/A2/01.wav: holds other bytes than it did before" in told
    run(["build", str(sheet), "-o", str(tmp_path / "without"), "--no-cache"])
    assert digests_of(tmp_path / "second") == digests_of(tmp_path / "without")
    # From now on the state of that file proves nothing.
    capsys.readouterr()
    tell(capsys, "check", sheet)
    run(["build", str(sheet), "-o", str(tmp_path / "third")])
    assert digests_of(tmp_path / "third") == digests_of(tmp_path / "without")


def test_damaged_entries_are_as_if_absent(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], cache: Path
) -> None:
    """Cut, emptied, overwritten, replaced by a folder, or telling something else with a digest that is right."""
    sheet = two_reels(tmp_path)
    first = tell(capsys, "check", sheet, "--json")
    entries = sorted(cache.iterdir())
    assert len(entries) > 4

    def planted(text: str) -> bytes:
        return hashlib.sha256(text.encode()).hexdigest().encode() + b"\n" + text.encode()

    damage: list[Callable[[bytes], bytes]] = [
        lambda data: data[: len(data) // 2],
        lambda _: b"",
        lambda data: bytes(byte ^ 0xFF for byte in data),
        lambda _: planted('{"record":[".notes:Note"]}'),
        lambda _: planted("[" * 100_000),
        lambda _: planted("{"),
    ]
    for change in damage:
        for path in entries:
            path.write_bytes(change(path.read_bytes()))
        assert tell(capsys, "check", sheet, "--json") == first
    for path in entries:
        path.unlink()
        path.mkdir()
    assert tell(capsys, "check", sheet, "--json") == first


def test_a_folder_that_cannot_be_used_is_told_and_stops_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], cache: Path
) -> None:
    """One plain line; the check is made."""
    sheet = two_reels(tmp_path)
    cache.parent.mkdir(exist_ok=True)
    cache.write_text("a file")
    status = run(["check", str(sheet), "--json"])
    found = capsys.readouterr()
    assert status == 0
    assert json.loads(found.out)
    assert "nothing is remembered for the next run" in found.err
    assert "Traceback" not in found.err


def test_the_folder_keeps_its_bound(tmp_path: Path, capsys: pytest.CaptureFixture[str], cache: Path) -> None:
    """``--cache-size`` in mebibytes; what is older goes."""
    sheet = two_reels(tmp_path)
    cache.mkdir(parents=True, mode=0o700)
    for number in range(3):
        (cache / f"{number:064d}").write_bytes(b"x" * 400_000)
        os.utime(cache / f"{number:064d}", (1_000_000 + number,) * 2)
    tell(capsys, "check", sheet, "--cache-size", 1)
    assert sum(path.stat().st_size for path in cache.iterdir()) <= 1 << 20
    assert not (cache / f"{0:064d}").exists()


def test_two_processes_at_once_and_a_killed_one_do_no_harm(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """All tell the same, and so does whoever comes after."""
    sheet = two_reels(tmp_path)
    command = [sys.executable, "-m", "assembler", "check", str(sheet), "--json"]
    killed = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    both = [subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) for _ in range(2)]
    time.sleep(1)
    killed.kill()
    killed.wait()
    told = [one.communicate(timeout=120)[0] for one in both]
    assert [one.returncode for one in both] == [0, 0]
    assert told[0] == told[1]
    assert json.loads(tell(capsys, "check", sheet, "--json")[1]) == json.loads(told[0])
    assert np.all([b'"sound": true' in one or b'"sound":true' in one for one in told])


def test_what_another_version_has_found_is_not_believed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], reads: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A program whose sources differ listens for itself; back at the first one all is known again."""
    sheet = two_reels(tmp_path)
    settle(tmp_path)
    run(["check", str(sheet), "--jobs", "1"])
    assert reads
    reads.clear()
    run(["check", str(sheet), "--jobs", "1"])
    assert reads == []
    own = program_words()
    with monkeypatch.context() as other:
        other.setattr("assembler.known.known.program_words", lambda: (own[0], "another digest", *own[2:]))
        run(["check", str(sheet), "--jobs", "1"])
    assert reads
    reads.clear()
    run(["check", str(sheet), "--jobs", "1"])
    assert reads == []
    capsys.readouterr()
