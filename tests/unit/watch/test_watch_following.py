"""A pass followed second by second: nothing is told twice, nothing of a clean tape, and no border of a window hides."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import numpy as np
import pytest

from assembler.watch import Board, Watch
from assembler.watch.captures.growing import GrowingWave
from assembler.watch.sound.examining import Seen
from assembler.watch.sound.told import ToldFlaws
from assembler.wave.samples import pack_samples
from tests.support.recorder import Recording, head, log_bytes
from tests.support.sessions import RATE, make_tape

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from assembler.arrays import Int32s
    from assembler.watch import Event

PIECE = 64_000
"""Bytes of a track and a second at 16 bits are 96 000; what is new at each look ends inside a second."""


def followed(folder: Path, samples: Int32s) -> Iterator[Event]:
    """Yield what is told while a polyphonic capture grows, piece by piece, with a log beside it."""
    spec = Recording(str(folder), "")
    path = folder / "A1.wav"
    channels = samples.shape[1]
    path.write_bytes(head(spec, channels, 0, final=False))
    (folder / "timecode.csv").write_bytes(log_bytes(spec, len(samples) / RATE))
    with Watch(folder) as watch, path.open("r+b") as out:
        out.seek(0, os.SEEK_END)
        now = 100.0
        for low in range(0, len(samples), PIECE):
            out.write(pack_samples(samples[low : low + PIECE], 24))
            out.flush()
            now += 1.0
            yield from watch.look(now)
        out.seek(0)
        out.write(head(spec, channels, samples.size * 3, final=True))
        out.flush()
        for _ in range(3):
            now += 4.0
            yield from watch.look(now)


def test_a_clean_tape_is_left_in_peace(tmp_path: Path) -> None:
    """No flaw, no lost timecode, no dead track."""
    told = list(followed(tmp_path, make_tape(30, 4, bits=24)))
    assert {one.event for one in told} <= {"recording", "timecode", "ended", "retakes"}
    assert [one.kind for one in told if one.event == "timecode"] == ["found"]
    assert [one.words for one in told if one.event == "ended"] == ["finished"]


@pytest.mark.parametrize(
    ("length", "first", "step"),
    [
        (500, PIECE + 200, 2 * PIECE),
        (500, 100_000, 163_333),
        (20_000, 100_000, 163_333),
        (100_000, 100_000, 163_333),
    ],
    ids=["just behind a border", "short", "long", "longer than a window"],
)
def test_a_mute_is_told_once_wherever_windows_end(tmp_path: Path, length: int, first: int, step: int) -> None:
    """Mutes of all tracks all over a pass."""
    samples = make_tape(30, 4, bits=24)
    places = [(start, start + length) for start in range(first, 30 * RATE - 150_000, step)]
    for start, end in places:
        samples[start:end] = 0
    told = [one for one in followed(tmp_path, samples) if one.event == "flaw"]
    assert [(one.kind, one.start, one.end, one.tracks) for one in told] == [
        ("mute", start, end, (0, 1, 2, 3)) for start, end in places
    ]


def test_concealed_samples_are_told_once_wherever_windows_end(tmp_path: Path) -> None:
    """Every second sample a mean of its neighbours, on all tracks, at the borders of the windows too."""
    samples = make_tape(30, 4, bits=24)
    places = [(start, start + 6000) for start in range(PIECE * 2 - 3000, 30 * RATE - PIECE, PIECE * 2)]
    for start, end in places:
        part = samples[start : end + 1].astype(np.int64)
        part[1:-1:2] = (part[0:-2:2] + part[2::2]) // 2
        samples[start : end + 1] = part
    told = [one for one in followed(tmp_path, samples) if one.event == "flaw"]
    assert [one.kind for one in told] == ["means"] * len(places)
    for one, (start, end) in zip(told, places, strict=True):
        # The excess of means is counted in windows of some hundred samples.
        assert one.start is not None
        assert one.end is not None
        assert abs(one.start - start) <= 600
        assert abs(one.end - end) <= 600


def test_a_capture_is_opened_for_reading_only(tmp_path: Path) -> None:
    """Nothing in the folder changes while it is watched."""
    path = tmp_path / "A1.wav"
    path.write_bytes(head(Recording("", ""), 2, 0, final=False) + bytes(6000))
    path.chmod(0o444)
    before = path.stat()
    with GrowingWave(path) as file, pytest.raises(OSError, match="Bad file descriptor"):
        os.write(file.source.descriptor, b"x")
    with Watch(tmp_path) as watch:
        list(watch.look(1.0))
    after = path.stat()
    assert (before.st_mtime_ns, before.st_ctime_ns) == (after.st_mtime_ns, after.st_ctime_ns)
    assert [one.name for one in tmp_path.iterdir()] == ["A1.wav"]


def test_a_flaw_that_goes_on_is_told_at_once_and_again_when_over() -> None:
    """What another pass shows to be wrong need not end before it is told; then its length is told."""
    told = ToldFlaws()
    seen = [Seen("mute", track, 1000, 90_000) for track in (0, 1)]
    assert list(told.fresh(seen, 80_000)) == [("mute", (1000, 90_000), [0, 1], True)]
    assert list(told.fresh(seen, 80_000)) == []
    over = [Seen("mute", track, 1000, 95_000) for track in (0, 1)]
    assert list(told.fresh(over, 200_000)) == [("mute", (1000, 95_000), [0, 1], False)]
    assert list(told.fresh(over, 200_000)) == []


def test_what_an_instrument_may_make_is_told_a_few_times() -> None:
    """Pauses in faint noise, clicks: more than a few of one track are how it is played; what proves itself is told."""
    told = ToldFlaws()
    places = [(start, start + 500) for start in range(10_000, 110_000, 10_000)]
    new = [list(told.fresh([Seen("mute", 2, *place, is_doubtful=True)], 1 << 30)) for place in places]
    assert [len(one) for one in new] == [1] * 4 + [0] * 6
    assert all(list(told.fresh([Seen("mute", 1, *place)], 1 << 30)) for place in places)
    assert [told.has(2, place) for place in places] == [False] * 10


@pytest.mark.parametrize("kind", ["mute", "hold"])
def test_a_long_flaw_of_one_track_is_told_soon(tmp_path: Path, kind: str) -> None:
    """A second and more of one track alone: it is told within 3 s of its end, though windows are shorter."""
    samples = make_tape(30, 4, bits=24)
    places = [(round(at * RATE), round((at + long) * RATE)) for at, long in ((3, 1.2), (8, 2.5), (14, 6))]
    for start, end in places:
        samples[start:end, 1] = 0 if kind == "mute" else samples[start, 1]
    told, length = [], 0
    for one in followed(tmp_path, samples):
        length = one.more.get("samples", length)
        if one.event == "flaw":
            assert one.end is not None
            assert length - one.end < 3 * RATE
            told.append((one.kind, one.start, one.end, one.tracks))
    assert told == [(kind, start, end, (1,)) for start, end in places]


@pytest.mark.parametrize("kind", ["mute", "hold", "repeat"])
def test_however_often_one_track_is_flawed_each_is_told(tmp_path: Path, kind: str) -> None:
    """A track that sounds on behind each of a dozen flaws as before does not rest."""
    samples = make_tape(40, 3, bits=24)
    places = [
        (start, start + 900 + 20 * n) for n, start in enumerate(range(2 * RATE, 38 * RATE, 3 * RATE + 777))
    ]
    for start, end in places:
        held = {"mute": 0, "hold": samples[start, 1], "repeat": samples[2 * start - end : start, 1]}[kind]
        samples[start:end, 1] = held
    told = [one for one in followed(tmp_path, samples) if one.event == "flaw"]
    assert [(one.kind, one.start, one.end, one.tracks) for one in told] == [
        (kind, start, end, (1,)) for start, end in places
    ]


def test_rests_of_a_played_track_are_told_a_few_times_at_most(tmp_path: Path) -> None:
    """Sound that is cut off and sets in from zero, each track in its own time: what a check takes for rests."""
    samples = make_tape(40, 4, bits=24)
    random = np.random.default_rng(5)
    for track in (1, 2):
        at = RATE
        while at < len(samples) - 2 * RATE:
            rest, note = (int(size) for size in random.integers((3000, 9000), 30000))
            samples[at : at + rest, track] = 0
            at += rest
            sets_in = np.minimum(1.0, np.arange(note) / 20) * np.exp(-np.arange(note) / 4000)
            samples[at : at + note, track] = (samples[at : at + note, track] * sets_in).astype(np.int32)
            at += note
    events = list(followed(tmp_path, samples))
    told = [one for one in events if one.event == "flaw"]
    assert len(told) <= 10, [(one.kind, one.start, one.end, one.tracks) for one in told]
    board = Board()
    for one in events:
        board.take(one)
    # What was called a flaw before it was known to be played has been taken back.
    back = [tuple(place) for one in events if one.event == "taken_back" for place in one.more["places"]]
    assert sorted(back) == sorted((one.start, one.end) for one in told)
    assert (board.passes["A1"].flaws, board.recent) == (0, [])


def test_rests_that_were_told_are_taken_back() -> None:
    """From so many on a pause is how the track is played: those told are no flaws, and are told again if they were."""
    told = ToldFlaws()
    places = [(start, start + 500) for start in range(10_000, 70_000, 10_000)]
    for place in places[:4]:
        list(told.fresh([Seen("mute", 2, *place, is_doubtful=True)], 1 << 30))
        assert told.may_be_played("mute", [2], place)
    assert told.taken_back() == []
    assert list(told.fresh([Seen("mute", 2, *places[4], is_doubtful=True)], 1 << 30)) == []
    assert told.taken_back() == [("mute", (2,), places[:4])]
    assert list(told.fresh([Seen("mute", 2, *places[5], is_doubtful=True)], 1 << 30)) == []
    assert told.taken_back() == []
    assert not any(told.has(2, place) for place in places)
