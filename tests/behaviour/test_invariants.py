"""The promises that hold for every set, one by one."""

from __future__ import annotations

import json
import os
import resource
import shutil
import signal
import subprocess
import sys
import time
from typing import TYPE_CHECKING

import numpy as np
import pytest
import soundfile

from assembler.cli.commands import run
from assembler.consolidator import sha256_of
from assembler.wave import WaveFile
from tests.support.sessions import HOUR, Layout, delivered, make_tape, run_json

if TYPE_CHECKING:
    from pathlib import Path

    from assembler.arrays import Int32s


def two_passes(folder: Path, *, bits: int = 16, poly: bool = False) -> tuple[Path, Int32s]:
    """Write a reel in two passes, each with flaws that the other has right; return the sheet and the tape."""
    tape = make_tape(4, 3, bits=bits)
    first, second = tape.copy(), tape[24000:168000].copy()
    first[60000:63000] = 0
    first[90000:90400, 1] = first[89999, 1]
    second[40000:41000, 2] = 0
    layout = Layout(folder, bits=bits)
    layout.add_reel("A", ["Kick", "Snare", "Bass"])
    layout.add_pass("A1", "A", first, HOUR, poly=poly)
    layout.add_pass("A2", "A", second, HOUR + 24000)
    return layout.write(), tape


def unlike_passes(folder: Path) -> tuple[Path, Int32s, Int32s]:
    """Write two reels of one track that follow one another, overlap, and hold different sound."""
    first, second = make_tape(2, 1, seed=3), make_tape(2, 1, seed=4)
    layout = Layout(folder)
    layout.add_reel("A", ["Voice"])
    layout.add_reel("B", ["Voice"])
    layout.add_pass("A1", "A", first, "01:00:00:00")
    layout.add_pass("B1", "B", second, "01:00:01:15")
    return layout.write(), first, second


def test_captures_are_never_altered(tmp_path: Path) -> None:
    """Invariant 1: captures may be read-only, and hold the same bytes and times after check, build and verify."""
    sheet, _ = two_passes(tmp_path)
    captures = sorted((tmp_path / "captures").rglob("*.*"))
    for path in captures:
        path.chmod(0o444)
    before = [(sha256_of(path), path.stat().st_mtime_ns) for path in captures]
    assert run(["check", str(sheet)]) == 0
    assert run(["build", str(sheet), "-o", str(tmp_path / "set")]) == 0
    assert run(["verify", str(tmp_path / "set"), "--against", str(sheet)]) == 0
    assert [(sha256_of(path), path.stat().st_mtime_ns) for path in captures] == before


def test_captures_are_opened_read_only(tmp_path: Path) -> None:
    """Invariant 1: no file below the captures is ever opened in a way that could write."""
    sheet, _ = two_passes(tmp_path)
    seen: list[tuple[str, int]] = []

    def watch(event: str, arguments: tuple[object, ...]) -> None:
        if event == "open" and isinstance(arguments[2], int):
            seen.append((str(arguments[0]), arguments[2]))

    # An audit hook cannot be taken out again; it goes quiet with the list.
    sys.addaudithook(watch)
    assert run(["build", str(sheet), "-o", str(tmp_path / "set")]) == 0
    flags = [flag for path, flag in seen if "/captures/" in path]
    seen.clear()
    assert len(flags) >= 7
    assert all(flag & (os.O_WRONLY | os.O_RDWR | os.O_TRUNC) == 0 for flag in flags)


@pytest.mark.parametrize("bits", [16, 20, 24])
def test_every_sample_outside_fades_is_the_named_pass_sample(
    tmp_path: Path, bits: int, capsys: pytest.CaptureFixture[str]
) -> None:
    """Invariant 2: each span holds the very numbers of the capture file and place that the record names."""
    sheet, _ = two_passes(tmp_path, bits=bits)
    _, record = run_json(capsys, "build", sheet, "-o", tmp_path / "set")
    passes = {one["name"]: one for one in record["passes"]}
    compared = 0
    for track in record["tracks"]:
        out, _ = soundfile.read(tmp_path / "set" / "data" / track["file"], dtype="int32")
        for span in track["spans"]:
            one = passes[span["pass"]]
            file, channel = one["channels"][track["number"] - 1]
            capture, _ = soundfile.read(tmp_path / one["files"][file]["path"], dtype="int32", always_2d=True)
            length = span["end"] - span["start"]
            there = capture[span["pass_start"] : span["pass_start"] + length, channel]
            assert np.array_equal(out[span["start"] : span["end"]], there)
            compared += length
    assert compared == 3 * record["length"]


@pytest.mark.parametrize(("bits", "poly"), [(16, False), (20, False), (24, True)])
def test_flawed_passes_give_the_tape_back(
    tmp_path: Path, bits: int, *, poly: bool, capsys: pytest.CaptureFixture[str]
) -> None:
    """What at least one pass has right is delivered right, at every word length, mono or polyphonic."""
    sheet, tape = two_passes(tmp_path, bits=bits, poly=poly)
    status, record = run_json(capsys, "build", sheet, "-o", tmp_path / "set")
    assert status == 0
    assert np.array_equal(delivered(tmp_path / "set", bits), tape)
    assert sum(len(one["flaws"]) for one in record["passes"]) == 3


def test_joins_of_identical_sides_compute_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Invariant 3: where both sides agree a join has no fade, and the record says how that is known."""
    sheet, _ = two_passes(tmp_path)
    _, record = run_json(capsys, "build", sheet, "-o", tmp_path / "set")
    joins = [join for track in record["tracks"] for join in track["joins"]]
    assert len(joins) == 8
    for join in joins:
        assert (join["law"], join["fade"], join["correlation"], join["difference_peak"]) == (
            "identical",
            0,
            1.0,
            0,
        )


def test_only_the_fade_of_differing_sides_is_computed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Invariant 3: outside the fade the numbers are those of the two reels; inside it both are mixed."""
    sheet, first, second = unlike_passes(tmp_path)
    _, record = run_json(capsys, "build", sheet, "-o", tmp_path / "set")
    (join,) = record["tracks"][0]["joins"]
    assert join["law"] == "constant_power"
    assert join["fade"] == 480
    assert join["difference_peak"] > 0
    out = delivered(tmp_path / "set")[:, 0]
    low = join["at"] - join["fade"] // 2
    high = low + join["fade"]
    assert np.array_equal(out[:low], first[:low, 0])
    assert np.array_equal(out[high:], second[high - 72000 :, 0])
    inside = np.arange(low, high)
    assert np.mean((out[low:high] != first[low:high, 0]) & (out[low:high] != second[inside - 72000, 0])) > 0.9


@pytest.mark.parametrize("bits", [16, 20, 24])
def test_all_tracks_have_one_shape(tmp_path: Path, bits: int, capsys: pytest.CaptureFixture[str]) -> None:
    """Invariant 4: same first sample, length, rate and word length; zero where no pass covers."""
    layout = Layout(tmp_path, bits=bits)
    layout.add_reel("A", ["One", "Two"])
    layout.add_reel("B", ["Three"])
    tape_a, tape_b = make_tape(1, 2, bits=bits), make_tape(1.5, 1, seed=9, bits=bits)
    layout.add_pass("A1", "A", tape_a, "10:00:00:00")
    layout.add_pass("B1", "B", tape_b, "10:00:02:00")
    status, record = run_json(capsys, "build", layout.write(), "-o", tmp_path / "set")
    assert status == 0
    assert record["length"] == 3.5 * 48000
    for track in record["tracks"]:
        with WaveFile(tmp_path / "set" / "data" / track["file"]) as file:
            assert file.info.frames == record["length"]
            assert file.info.format.sample_rate == 48000
            assert file.info.format.container_bits == (16 if bits == 16 else 24)
            assert file.info.bext is not None
            # 10:00:00 at 48 kHz is sample 1728000000 of the day.
            assert file.info.bext.time_reference == 1728000000
    out = delivered(tmp_path / "set", bits)
    assert np.array_equal(out[:48000, :2], tape_a)
    assert not out[48000:, :2].any()
    assert not out[:96000, 2].any()
    assert np.array_equal(out[96000:, 2], tape_b[:, 0])


def test_a_killed_build_leaves_no_set(tmp_path: Path) -> None:
    """Invariant 5: a build killed at any moment leaves no set, and an older one is as it was."""
    sheet, _ = two_passes(tmp_path)
    older = tmp_path / "older"
    assert run(["build", str(sheet), "-o", str(older)]) == 0
    before = {path: path.read_bytes() for path in older.rglob("*") if path.is_file()}
    target = tmp_path / "set"
    command = [sys.executable, "-m", "assembler", "build", str(sheet), "-o", str(target)]
    killed = 0
    for delay in (0.6, 0.9, 1.2, 1.5):
        process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        time.sleep(delay)
        process.send_signal(signal.SIGKILL)
        killed += process.wait() == -signal.SIGKILL
        if target.exists():
            # Killed behind the rename, or not at all: then the set is whole.
            assert run(["verify", str(target)]) == 0
            shutil.rmtree(target)
    assert killed
    assert {path: path.read_bytes() for path in older.rglob("*") if path.is_file()} == before
    assert run(["build", str(sheet), "-o", str(target)]) == 0
    assert not [path for path in tmp_path.iterdir() if path.name.startswith(".")]


def test_a_terminated_build_clears_up(tmp_path: Path) -> None:
    """Invariant 5: a build told to stop says so in one line, ends with 130 and leaves nothing behind."""
    sheet, _ = two_passes(tmp_path)
    script = (
        "import os, signal, sys\n"
        "from assembler.consolidator.tracks.rendering import TrackRenderer\n"
        "kept = TrackRenderer.block\n"
        "def stop(self, start, end):\n"
        "    os.kill(os.getpid(), signal.SIGTERM)\n"
        "    return kept(self, start, end)\n"
        "TrackRenderer.block = stop\n"
        "sys.argv = ['assembler', 'build', *sys.argv[1:]]\n"
        "from assembler.cli import main\n"
        "main()\n"
    )
    command = [sys.executable, "-c", script, str(sheet), "-o", str(tmp_path / "set")]
    process = subprocess.run(command, capture_output=True, text=True, check=False)
    assert process.returncode == 130
    assert process.stderr.split("\n") == ["", "assembler: interrupted; no set was written", ""]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["captures", "session.toml"]


def test_a_full_disk_is_told_in_one_line(tmp_path: Path) -> None:
    """Invariant 5: a disk that takes no more gives one plain line, status 2, no set, no remains."""
    sheet, _ = two_passes(tmp_path)

    def small_files() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000))

    command = [sys.executable, "-m", "assembler", "build", str(sheet), "-o", str(tmp_path / "set")]
    process = subprocess.run(command, capture_output=True, text=True, check=False, preexec_fn=small_files)
    assert process.returncode == 2
    assert len(process.stderr.splitlines()) == 1
    assert "no set was written" in process.stderr
    assert sorted(path.name for path in tmp_path.iterdir()) == ["captures", "session.toml"]


def test_an_existing_target_is_refused_untouched(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Invariant 5: a folder that has the set's name already, empty or not, is left as it is."""
    sheet, _ = two_passes(tmp_path)
    (tmp_path / "set").mkdir()
    assert run(["build", str(sheet), "-o", str(tmp_path / "set")]) == 2
    assert "exists already" in capsys.readouterr().err
    assert list((tmp_path / "set").iterdir()) == []


def test_corrections_and_uncured_places_are_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Invariant 6: a mute no pass cures, a short track and a relabelled rate stand in record and page."""
    tape = make_tape(3, 2)
    broken = tape.copy()
    broken[60000:64000, 0] = 0
    layout = Layout(tmp_path, rate=44100)
    layout.add_reel("A", ["One", "Two"])
    layout.add_pass("A1", "A", broken, "01:00:00:00", relabel=True)
    for path, track in (("01.wav", 0), ("02.wav", 1)):
        kept = broken[: None if track == 0 else 100_000, track]
        soundfile.write(tmp_path / "captures" / "A1" / path, kept.astype(np.int16), 48000, subtype="PCM_16")
    status, record = run_json(capsys, "build", layout.write(), "-o", tmp_path / "set")
    assert status == 1
    assert {note["kind"] for note in record["notes"]} >= {"relabelled", "short_track"}
    kinds = {(place["track"], place["kind"], place["start"], place["end"]) for place in record["uncured"]}
    assert kinds == {("One", "mute", 60000, 64000), ("Two", "missing", 100_000, 144_000)}
    page = (tmp_path / "set" / "data" / "report.html").read_text()
    assert "Needs a person" in page
    assert "relabelled" in page
    assert np.array_equal(delivered(tmp_path / "set")[:, 0], broken[:, 0])


def test_two_builds_give_the_same_bytes(tmp_path: Path) -> None:
    """Invariant 7: the same session in another folder, with other file times, gives an identical set."""
    sheet, _, _ = unlike_passes(tmp_path / "one")
    shutil.copytree(tmp_path / "one", tmp_path / "two")
    for path in (tmp_path / "two").rglob("*"):
        os.utime(path, (1_000_000, 1_000_000))
    sets = []
    for name in ("one", "two"):
        target = tmp_path / f"set-{name}"
        assert run(["build", str(tmp_path / name / sheet.name), "-o", str(target)]) == 0
        sets.append({str(p.relative_to(target)): sha256_of(p) for p in target.rglob("*") if p.is_file()})
    assert sets[0] == sets[1]
    assert len(sets[0]) == 10


def test_memory_does_not_grow_with_the_session(tmp_path: Path) -> None:
    """Invariant 8: a session eight times as long needs no more memory (within the noise of an allocator)."""
    peaks = []
    for name, seconds in (("short", 12), ("long", 96)):
        tape = np.tile(make_tape(12, 2), (seconds // 12, 1))
        tape[:, 0] += np.arange(tape.shape[0], dtype=np.int32) % 7
        layout = Layout(tmp_path / name)
        layout.add_reel("A", ["One", "Two"])
        for one in ("A1", "A2"):
            layout.add_pass(one, "A", tape, "01:00:00:00")
        script = (
            "import sys\n"
            "from assembler.cli.commands import run\n"
            "status = run(['build', sys.argv[1], '-o', sys.argv[2], '--json'])\n"
            "lines = open('/proc/self/status').read().splitlines()\n"
            "print(next(l.split()[1] for l in lines if l.startswith('VmHWM')), file=sys.stderr)\n"
        )
        command = [sys.executable, "-c", script, str(layout.write()), str(tmp_path / f"set-{name}")]
        process = subprocess.run(command, capture_output=True, text=True, check=True)
        assert json.loads(process.stdout)["sound"]
        peaks.append(int(process.stderr.splitlines()[-1]))
    # 84 s of two tracks in two passes are 32 MB as 32-bit numbers; a tenth of that would show a leak.
    assert peaks[1] - peaks[0] < 12 * 1024
