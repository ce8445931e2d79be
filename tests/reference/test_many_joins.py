"""Tracks with thousands of joins and long texts, in the eyes of readers that this project did not write.

What stands before the samples is held in memory by some readers: libsndfile 1.2 refuses a file whose chunks it would
have to hold more of than 100 KiB (``psf_bump_header_allocation`` in its common.c). Each reader gets a track with more
joins than a session can have, at both word lengths, of odd and even length, as RIFF and as RF64.
"""

from __future__ import annotations

import io
import itertools
import json
import os
import shutil
import subprocess
from typing import TYPE_CHECKING

import numpy as np
import pytest
import soundfile
from wavinfo import WavInfoReader

from assembler.record.embedded.cuts import embedding_notes
from assembler.record.embedded.metadata import HEADER_LIMIT, TrackMetadata
from assembler.record.recorded.reading import read_unwritten
from assembler.wave import PcmFormat, pack_samples, read_chunks, wave_header, wave_trailer

if TYPE_CHECKING:
    from pathlib import Path

    from assembler.arrays import Int32s
    from assembler.record.recorded.whole import RecordedSet

JOINS = 10_000


def record_of_joins(joins: int, frames: int, word_length: int, name: str, uncured: int = 1) -> RecordedSet:
    """Return a record of one track with so many joins from pass to pass, of which the last is a fade."""
    at = np.linspace(0, frames, joins + 2).astype(int).tolist()
    names = [f"{name} 1", f"{name} 2"]
    spans = [
        {"start": start, "end": end, "pass": names[n % 2], "pass_start": start}
        for n, (start, end) in enumerate(itertools.pairwise(at))
    ]
    laws = ["identical"] * (joins - 1) + ["constant_power"] * min(joins, 1)
    one = {"reel": "A", "channels": [[0, 0]], "polarity": [1], "files": [{"path": "1.wav", "sha256": None}]}
    one["files"][0]["samples"] = frames  # type: ignore[index]
    told = {"number": 1, "name": "Kick", "reels": ["A"], "spans": spans}
    told["joins"] = [
        {"at": place, "fade": 0, "law": law, "correlation": 1.0, "difference_peak": 0}
        for place, law in zip(at[1:-1], laws, strict=True)
    ]
    session = {"title": "Fair", "sample_rate": 48000, "bit_depth": word_length, "frame_rate": "30"}
    return read_unwritten(
        json.dumps(
            {
                "format": 1,
                "program": "capture-assembler 0.1.0",
                "session": {**session, "word_length": word_length, "description": name * 20},
                "start": {"timecode": "00:00:00:00", "sample": 0},
                "length": frames,
                "reels": [{"name": "A", "tracks": ["Kick"]}],
                "passes": [{**one, "name": pass_name} for pass_name in names],
                "tracks": [told],
                "uncured": [
                    {"reel": "A", "track": "Kick", "start": frames - 9 - n, "end": frames - n, "kind": "mute"}
                    for n in range(uncured)
                ],
            }
        ).encode()
    )


def samples_of(frames: int, word_length: int) -> Int32s:
    """Return noise."""
    top = 1 << (word_length - 1)
    return np.random.default_rng(3).integers(-top, top, (frames, 1)).astype(np.int32)


def file_of(record: RecordedSet, largest_riff: int) -> bytes:
    """Return the track's file, with noise for sound."""
    word_length, frames = record.session.word_length, record.length
    pcm = PcmFormat(1, 48000, word_length, word_length)
    chunks = TrackMetadata(record, record.tracks[0]).chunks()
    header = wave_header(pcm, frames, chunks, largest_riff=largest_riff)
    return header + pack_samples(samples_of(frames, word_length), word_length) + wave_trailer(pcm, frames)


def run(*command: str) -> str:
    """Return what a tool prints; skip where it is not there, fail in CI."""
    if shutil.which(command[0]) is None:
        if os.environ.get("CI") == "true":
            pytest.fail(f"{command[0]} is not on the PATH")
        pytest.skip(f"{command[0]} is not on the PATH")
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


@pytest.mark.parametrize(
    "name", ["A", "Durchgang vom zweiten Abend, nach dem Reinigen " * 3], ids=["short", "long"]
)
@pytest.mark.parametrize("largest_riff", [0xFFFFFFFE, 100_000], ids=["RIFF", "RF64"])
@pytest.mark.parametrize("frames", [100_000, 100_001], ids=["even", "odd"])
@pytest.mark.parametrize("word_length", [16, 24])
def test_readers_take_a_track_of_many_joins(
    tmp_path: Path, word_length: int, frames: int, largest_riff: int, name: str
) -> None:
    """libsndfile, ffprobe, sox and wavinfo find samples, length and markers."""
    record = record_of_joins(JOINS, frames, word_length, name)
    path = tmp_path / "01_Kick.wav"
    path.write_bytes(file_of(record, largest_riff))
    samples, _ = soundfile.read(path, dtype="int32", always_2d=True)
    assert np.array_equal(samples >> (32 - word_length), samples_of(frames, word_length))
    cues = list(WavInfoReader(path).cues.to_dict().values())
    assert len(cues) >= 150
    assert (cues[-1]["label"], cues[-1]["frame"]) == ("Uncured mute", frames - 9)
    assert WavInfoReader(path).data.frame_count == frames
    show = ["ffprobe", "-v", "error", "-of", "json", "-show_entries", "stream=duration_ts", "-show_chapters"]
    found = json.loads(run(*show, str(path)))
    assert found["streams"] == [{"duration_ts": frames}]
    assert len(found["chapters"]) == len(cues)
    assert run("sox", "--i", "-s", str(path)).strip() == str(frames)


def test_what_a_person_has_to_hear_is_marked_first() -> None:
    """All uncured places and the fade are marked, identical joins as there is room, in the order of time; told."""
    record = record_of_joins(JOINS, 100_000, 24, "A", uncured=20)
    markers = TrackMetadata(record, record.tracks[0]).markers()
    assert [marker.sample for marker in markers] == sorted(marker.sample for marker in markers)
    assert sum(marker.label == "Uncured mute" for marker in markers) == 20
    assert sum("constant_power" in marker.note for marker in markers) == 1
    chunks = read_chunks(io.BytesIO(file_of(record, 0xFFFFFFFE)))
    assert sum(chunk.size + 8 for chunk in chunks.chunks[1:-1] if chunk.name != "fmt ") > HEADER_LIMIT - 200
    data = chunks.first("data")
    assert data is not None
    assert data.start <= HEADER_LIMIT + 100
    (told,) = [note.text for note in embedding_notes(record) if "room" in note.text]
    assert told == (
        f"a track's header has no room for all its markers: Kick {len(markers)} of {JOINS + 20}; "
        "joins.csv has all joins, assembly.json all uncured places"
    )


def test_few_joins_are_all_marked() -> None:
    """A track as most are has a marker at each place, and nothing is told."""
    record = record_of_joins(150, 100_000, 24, "A")
    assert len(TrackMetadata(record, record.tracks[0]).markers()) == 151
    assert not any("room" in note.text for note in embedding_notes(record))


@pytest.mark.parametrize("field", ["title", "originator", "reference", "description", "prepared", "name"])
def test_no_text_makes_a_header_too_long(field: str) -> None:
    """A text of any length in any field leaves the header inside its limit, with room for markers, and is told."""
    text = "&<ü " * 5000
    plain = record_of_joins(1000, 100_000, 24, "A")
    track = plain.tracks[0]
    if field == "prepared":
        reels = (plain.reels[0].model_copy(update={"prepared": {f"key{n}": text for n in range(9)}}),)
        record = plain.model_copy(update={"reels": reels})
    elif field == "name":
        track = track.model_copy(update={"name": text, "reels": (text,)})
        reels = (plain.reels[0].model_copy(update={"name": text, "tracks": (text,)}),)
        passes = tuple(one.model_copy(update={"reel": text}) for one in plain.passes)
        record = plain.model_copy(update={"reels": reels, "tracks": (track,), "passes": passes})
    else:
        record = plain.model_copy(update={"session": plain.session.model_copy(update={field: text})})
    metadata = TrackMetadata(record, track)
    assert sum(len(payload) + 8 for _, payload in metadata.chunks()) <= HEADER_LIMIT
    assert len(metadata.markers()) >= 100
    assert any("cut" in note.text for note in embedding_notes(record))
