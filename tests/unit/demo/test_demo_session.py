"""What the demo writes, read back by other programs' readers."""

from __future__ import annotations

import csv
import hashlib
import tomllib
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

import mido
import numpy as np
import pytest
import soundfile

from assembler.demo import PASSES, REELS, DemoPass, DemoSummary, demo_truth, read_demo_sheet, write_demo
from assembler.demo.logs import log_messages
from assembler.demo.recording import capture_pass, captured_samples, pass_generator
from assembler.demo.telling import tell_faults, tell_passes
from assembler.errors import PublishError

if TYPE_CHECKING:
    from assembler.demo.medium.recorder import Capture

_PROJECT = Path(__file__).parents[3]
_TRACKS = {reel.name: reel.tracks for reel in REELS}


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> DemoSummary:
    """The demo session, written once for this file."""
    return write_demo(tmp_path_factory.mktemp("demo") / "new parent" / "a session")


@dataclass(frozen=True)
class Again:
    """A second run, and how it told its progress."""

    summary: DemoSummary
    calls: tuple[tuple[str, float], ...]


@pytest.fixture(scope="module")
def again(tmp_path_factory: pytest.TempPathFactory) -> Again:
    """The demo session once more, into an empty folder."""
    calls: list[tuple[str, float]] = []
    summary = write_demo(
        tmp_path_factory.mktemp("again"), progress=lambda what, share: calls.append((what, share))
    )
    return Again(summary, tuple(calls))


def _hashes(folder: Path) -> dict[str, str]:
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def test_the_summary_tells_what_stands_in_the_folder(written: DemoSummary) -> None:
    """Sheet, passes, number of files and bytes are as found; the session stays under 40 MB."""
    files = [path for path in written.sheet.parent.rglob("*") if path.is_file()]
    assert written.sheet.name == "session.toml"
    assert written.captures == ("A1", "A2", "A3", "B1", "B2")
    assert written.files == len(files) == 3 * 8 + 4 + 1 + 5 + 2
    assert written.bytes == sum(path.stat().st_size for path in files)
    assert 20_000_000 < written.bytes < 40_000_000


def test_the_same_bytes_are_written_every_time(written: DemoSummary, again: Again) -> None:
    """A second run writes the same files, byte for byte, into an empty folder that exists."""
    assert _hashes(again.summary.sheet.parent) == _hashes(written.sheet.parent)
    assert again.summary.bytes == written.bytes


def test_progress_counts_the_passes(again: Again) -> None:
    """Progress runs from nothing to all of it, a step for each pass."""
    assert again.calls == tuple(("writing captures", done / 5) for done in range(6))


def test_captures_hold_the_passes(written: DemoSummary) -> None:
    """Files are 16-bit WAV at 48 kHz, in tape order by name, and hold what the passes captured."""
    truth = demo_truth()
    for one in PASSES:
        files = sorted((written.sheet.parent / "captures" / one.name).glob("*.wav"))
        assert len(files) == (1 if one.polyphonic else len(_TRACKS[one.reel]))
        for path in files:
            about = soundfile.info(path)
            assert (about.format, about.subtype, about.samplerate) in {
                ("WAV", "PCM_16", 48_000),
                ("WAVEX", "PCM_16", 48_000),
            }
        audio = np.column_stack([soundfile.read(path, dtype="int16")[0] for path in files])
        assert np.array_equal(audio, captured_samples(capture_pass(one, truth.reels[one.reel])))


def test_the_sheet_and_the_story_agree(written: DemoSummary) -> None:
    """Reels, tracks, passes and their order in the sheet are those of the story's tables; files are found."""
    sheet = tomllib.loads(written.sheet.read_text(encoding="utf-8"))
    assert {reel["name"]: tuple(reel["tracks"]) for reel in sheet["reel"]} == _TRACKS
    assert [(one["name"], one["reel"]) for one in sheet["pass"]] == [(one.name, one.reel) for one in PASSES]
    assert sheet["session"]["timecode_delay_ms"] == pytest.approx(0.8)
    for one in sheet["pass"]:
        assert list(written.sheet.parent.glob(one["audio"]))
        assert (written.sheet.parent / one.get("timecode", "session.toml")).is_file()


def test_the_example_sheet_is_the_one_that_is_written(written: DemoSummary) -> None:
    """The sheet shown in demo_sessions is the demo's own, byte for byte."""
    shown = (_PROJECT / "demo_sessions" / "harvest_supper.toml").read_bytes()
    assert shown == read_demo_sheet() == written.sheet.read_bytes()


def test_the_readmes_tell_what_the_story_says(written: DemoSummary) -> None:
    """Both READMEs hold the tables of passes and faults as the story has them now."""
    for page in (_PROJECT / "demo_sessions" / "README.md", written.sheet.parent / "README.md"):
        text = page.read_text(encoding="utf-8")
        assert tell_passes() in text
        assert tell_faults() in text


@pytest.fixture(scope="module")
def captures() -> dict[str, Capture]:
    """What the passes captured, made once for this file."""
    truth = demo_truth()
    return {one.name: capture_pass(one, truth.reels[one.reel]) for one in PASSES}


def _tape_samples_of_labels(data: list[int]) -> list[int]:
    """Decode every whole reading by hand: the label of the frame in which its first message was sent.

    Source: MIDI timecode, MMA RP-004: pieces 0 to 7 carry frames, seconds, minutes, hours, low nibble first;
    the last also the rate, 3 for 30 frames.
    """
    samples = []
    starts = [place for place in range(len(data) - 7) if data[place] >> 4 == 0]
    for start in starts:
        pieces = data[start : start + 8]
        assert [byte >> 4 for byte in pieces] == list(range(8))
        low = [byte & 15 for byte in pieces]
        frames, seconds, minutes = (low[place] + 16 * low[place + 1] for place in (0, 2, 4))
        assert low[7] >> 1 == 3
        hours = low[6] + 16 * (low[7] & 1)
        samples.append((((hours * 60 + minutes) * 60 + seconds) * 30 + frames) * 1600 - 3600 * 48_000)
    return samples


@pytest.mark.parametrize("one", PASSES, ids=lambda one: one.name)
def test_a_log_tells_where_the_tape_was(captures: dict[str, Capture], one: DemoPass) -> None:
    """Each label lies where the tape was, 0.8 to 1.8 ms before it was logged; messages lack out of lock only."""
    capture = captures[one.name]
    seconds, data = log_messages(capture, pass_generator(one))
    assert np.all(np.diff(seconds) > 0)
    late_ms = []
    unlocked = sum(fault.samples for fault in one.faults if fault.kind == "unlock")
    # Before a break, and behind it, each reading is whole; the one that is broken is no reading.
    breaks = np.flatnonzero(np.diff(seconds) > 0.012) + 1
    assert len(breaks) == bool(unlocked)
    for part in np.split(np.arange(data.size), breaks):
        first = int(np.flatnonzero(data[part] >> 4 == 0)[0])
        told = np.array(_tape_samples_of_labels(data[part].tolist()))
        logged = seconds[part][first::8][: told.size] * 48_000
        late_ms.extend(((logged - np.searchsorted(capture.place, told)) / 48).tolist())
    assert all(0.79 < late < 1.81 for late in late_ms)
    assert np.ptp(late_ms) > 0.6
    assert data.size == pytest.approx((one.end - one.start - unlocked) / 400, abs=2)


def test_the_plain_midi_log_is_read_by_another_reader(
    written: DemoSummary, captures: dict[str, Capture]
) -> None:
    """The reader of mido finds the very messages and times, to half a tick, in the log in ticks per beat."""
    one = PASSES[0]
    seconds, data = log_messages(captures[one.name], pass_generator(one))
    path = written.sheet.parent / "captures" / one.name / "timecode.mid"
    heard = [message for message in mido.MidiFile(path) if message.type == "quarter_frame"]
    times = np.cumsum([message.time for message in heard])
    assert [16 * message.frame_type + message.frame_value for message in heard] == data.tolist()
    assert np.max(np.abs(times - seconds)) <= 0.5 / 1920 + 1e-9


def test_the_escaped_midi_log_has_millisecond_ticks(
    written: DemoSummary, captures: dict[str, Capture]
) -> None:
    """The other log counts 25 frames of 40 ticks and holds each message in an escape event (SMF 1.0)."""
    one = PASSES[1]
    _, data = log_messages(captures[one.name], pass_generator(one))
    file = (written.sheet.parent / "captures" / one.name / "timecode.mid").read_bytes()
    assert file[12:14] == bytes([0xE7, 0x28])
    assert file.count(bytes([0xF7, 0x02, 0xF1])) == data.size


@pytest.mark.parametrize(("name", "header"), [("A3", "seconds"), ("B2", "sample")])
def test_a_csv_log_holds_every_message(
    written: DemoSummary, captures: dict[str, Capture], name: str, header: str
) -> None:
    """A table has its header, times that rise, and one message a row."""
    one = next(one for one in PASSES if one.name == name)
    seconds, data = log_messages(captures[one.name], pass_generator(one))
    path = written.sheet.parent / "captures" / name / "timecode.csv"
    with path.open(encoding="ascii", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert [bytes.fromhex(row["bytes"]) for row in rows] == [bytes([0xF1, byte]) for byte in data]
    times = [float(row[header]) / (1 if header == "seconds" else 48_000) for row in rows]
    assert all(before < after for before, after in pairwise(times))
    assert np.max(np.abs(np.array(times) - seconds)) < 0.6 / 48_000


def test_a_folder_that_holds_something_is_left_alone(tmp_path: Path) -> None:
    """A folder with a file in it is refused by name, in one line, and stays as it was."""
    (tmp_path / "mine.txt").write_text("keep", encoding="ascii")
    with pytest.raises(PublishError, match=r"exists already.*another name") as caught:
        write_demo(tmp_path)
    assert str(tmp_path) in str(caught.value)
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


def test_a_parent_that_is_a_file_is_told(tmp_path: Path) -> None:
    """A target that cannot be made is one plain line."""
    (tmp_path / "file").write_text("", encoding="ascii")
    with pytest.raises(PublishError, match="nothing was written"):
        write_demo(tmp_path / "file" / "session")


def test_a_run_that_is_broken_off_leaves_nothing(tmp_path: Path) -> None:
    """When writing stops half way, neither the folder nor its temporary sibling is left."""

    def stop(_what: str, share: float) -> None:
        if share > 0:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_demo(tmp_path / "session", progress=stop)
    assert not list(tmp_path.iterdir())
