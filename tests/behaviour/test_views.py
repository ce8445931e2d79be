"""What the page of a set is given of each place: the captures' own samples, and clips that nobody's ears need fear."""

from __future__ import annotations

import io
import json
import shutil
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pytest
import soundfile

from assembler.consolidator import build_set, building, verify_set
from assembler.consolidator.tracks import writing
from assembler.importer import PassAudio
from assembler.report.views import DIFFERENCE, RESULT, Views
from tests.support.sessions import HOUR, RATE, Layout, make_tape

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path
    from typing import Any

    from assembler.arrays import Int32s, Int64s
    from assembler.record.recorded.whole import RecordedSet
    from assembler.report.views import Clip, View

BURST = (100_000, 101_500)
BITS = 24
FULL_SCALE = 1 << (BITS - 1)


@dataclass(frozen=True)
class Built:
    """A set, what its page was given, and where its captures lie."""

    folder: Path
    target: Path
    record: Any  # JSON
    views: Views

    def capture(self, name: str, track: int) -> tuple[Int32s, int]:
        """Return a pass's samples as libsndfile reads them, and its sample at the set's first one."""
        reel = next(one["reel"] for one in self.record["passes"] if one["name"] == name)
        names = next(one["tracks"] for one in self.record["reels"] if one["name"] == reel)
        wanted = next(one["name"] for one in self.record["tracks"] if one["number"] == track)
        path = self.folder / "captures" / name / f"{names.index(wanted) + 1:02d}.wav"
        samples: Int32s = soundfile.read(path, dtype="int32")[0] >> (32 - BITS)
        (stretch,) = next(one["stretches"] for one in self.record["passes"] if one["name"] == name)
        first: int = self.record["start"]["sample"] - stretch["timeline_start"] + stretch["pass_start"]
        return samples, first

    def result(self, track: int) -> Int32s:
        """Return a delivered track as libsndfile reads it."""
        file = next(one["file"] for one in self.record["tracks"] if one["number"] == track)
        samples: Int32s = soundfile.read(self.target / "data" / file, dtype="int32")[0] >> (32 - BITS)
        return samples

    def source(self, source: str, track: int, start: int, count: int) -> list[int | None]:
        """Return what a source has of a range of the set; None where it has nothing."""
        samples, first = (self.result(track), 0) if source == RESULT else self.capture(source, track)
        places = range(start + first, start + first + count)
        return [int(samples[at]) if 0 <= at < samples.size else None for at in places]

    def view(self, track: int, start: int, end: int) -> View:
        """Return the view of a place."""
        (found,) = [one for one in self.views.views if (one.track, one.start, one.end) == (track, start, end)]
        return found


def write_session(folder: Path) -> Path:
    """Write a reel with a burst that a pass cures, a mute that none does, and a reel that goes on with other sound."""
    tape = make_tape(4, 2, bits=BITS)
    tape[150_000:151_000, 1] = 0
    first, second = tape.copy(), tape[24_000:].copy()
    random = np.random.default_rng(7)
    noise = random.integers(-FULL_SCALE, FULL_SCALE, BURST[1] - BURST[0])
    first[BURST[0] : BURST[1], 0] = noise
    layout = Layout(folder, bits=BITS)
    layout.add_reel("A", ["Kick", "Snare"])
    layout.add_pass("A1", "A", first, HOUR)
    layout.add_pass("A2", "A", second, HOUR + 24_000)
    layout.add_reel("B", ["Snare"])
    layout.add_pass("B1", "B", make_tape(2, 1, seed=5, bits=BITS), HOUR + tape.shape[0] - 24_000)
    return layout.write()


def build(folder: Path, target: Path, monkeypatch: pytest.MonkeyPatch, jobs: int = 1) -> Built:
    """Build a set and return it with what its page was given."""
    given = []

    def page(_record: RecordedSet, views: Views) -> bytes:
        given.append(views)
        return b"page"

    monkeypatch.setattr(building, "report_page", page)
    build_set(folder / "session.toml", target, jobs=jobs)
    record = json.loads((target / "data" / "assembly.json").read_text())
    return Built(folder, target, record, given[0])


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Built:
    """Return the session, built."""
    folder = tmp_path_factory.mktemp("views")
    write_session(folder)
    with pytest.MonkeyPatch.context() as patch:
        return build(folder, folder / "set", patch)


def decoded(clip: Clip) -> Int32s:
    """Return the samples of a clip at the word length of the captures, as libsndfile reads them."""
    with soundfile.SoundFile(io.BytesIO(clip.audio)) as file:
        assert (file.format, file.channels, file.samplerate) == ("FLAC", 1, RATE)
        samples: Int32s = file.read(dtype="int16").astype(np.int32) << (BITS - 16)
    return samples


def test_every_open_place_join_and_flaw_has_a_view(built: Built) -> None:
    """What nothing cured, what is computed, and what was cured: each once, with waveforms and clips, in time order."""
    numbers = {one["name"]: one["number"] for one in built.record["tracks"]}
    wanted = {(numbers[one["track"]], one["start"], one["end"]) for one in built.record["uncured"]}
    assert wanted
    computed = [
        (track["number"], join["at"] - join["fade"] // 2, join["at"] - join["fade"] // 2 + join["fade"])
        for track in built.record["tracks"]
        for join in track["joins"]
        if join["law"] == "constant_power"
    ]
    assert len(computed) == 1
    found = [(one.track, one.start, one.end) for one in built.views.views]
    assert wanted | {*computed, (numbers["Kick"], *BURST)} <= set(found)
    assert len(set(found)) == len(found)
    assert [one[1:] for one in found] == sorted(one[1:] for one in found)
    assert all(one.windows and one.clips for one in built.views.views)
    assert (built.views.without_clips, built.views.without_windows) == (0, 0)


def test_lines_are_the_samples_that_captures_and_set_hold(built: Built) -> None:
    """Each column has the least and the greatest sample of the file, read by libsndfile; the difference is theirs."""
    seen = set()
    for view in built.views.views:
        for window in view.windows:
            *lines, difference = window.traces
            assert difference.source == DIFFERENCE
            columns = len(difference.low)
            held = {}
            for line in lines:
                samples = built.source(line.source, view.track, window.start, columns * window.step)
                held[line.source] = samples
                for column in range(columns):
                    part = samples[column * window.step : (column + 1) * window.step]
                    there = [value for value in part if value is not None]
                    expected = (min(there), max(there)) if there else (None, None)
                    assert (line.low[column], line.high[column]) == expected, (view, line.source, column)
                assert (line.low is line.high) or window.step > 1
                seen.add((line.source, window.title))
            for column in range(columns):
                distances = []
                for at in range(column * window.step, (column + 1) * window.step):
                    there = [value for row in held.values() if (value := row[at]) is not None]
                    if len(there) > 1:
                        distances.append(max(there) - min(there))
                assert difference.low[column] == max(distances, default=None)
    assert {("B1", "join"), ("A1", "where it begins"), (RESULT, "whole place")} <= seen


def test_clips_are_their_sources_where_nothing_is_held_back(built: Built) -> None:
    """Sixteen bits of the very samples, a second before the place and a second after; none is louder."""
    free = 0
    for view in built.views.views:
        assert [one.source for one in view.clips][-1] == RESULT
        for clip in view.clips:
            samples = decoded(clip)
            source = built.source(clip.source, view.track, clip.start, samples.size)
            expected = np.array([value or 0 for value in source])
            assert (np.abs(samples) <= np.abs(expected)).all()
            assert clip.start == max(0, view.start - RATE)
            assert clip.start + samples.size == min(built.record["length"], view.end + RATE)
            if not clip.is_held_back:
                assert np.array_equal(samples, np.trunc(expected / 256) * 256)
                free += 1
    assert free > 5


def test_a_burst_is_heard_no_louder_than_what_is_around(built: Built) -> None:
    """Neither its peak nor its power in any 10 ms; what cured it is heard as it is."""
    view = built.view(1, *BURST)
    clips = {one.source: one for one in view.clips}
    assert {name: one.is_held_back for name, one in clips.items()} == {"A1": True, "A2": False, RESULT: False}
    samples = decoded(clips["A1"]).astype(float)
    place = slice(BURST[0] - clips["A1"].start, BURST[1] - clips["A1"].start)
    around = np.delete(samples, np.r_[place])
    assert np.abs(around).max() > 0.05 * FULL_SCALE
    assert 0 < np.abs(samples[place]).max() <= np.abs(around).max()

    powers = [np.convolve(part**2, np.ones(480)).max() for part in (samples[place], around)]
    assert powers[0] <= powers[1]


def test_views_are_the_same_for_any_number_of_jobs(built: Built, monkeypatch: pytest.MonkeyPatch) -> None:
    """Down to the bytes of the clips; the sets are the same, too, and are proved."""
    target = built.target.parent / "other"
    again = build(built.folder, target, monkeypatch, jobs=2)
    assert again.views == built.views
    assert verify_set(target, against=built.folder / "session.toml").is_sound
    for path in built.target.rglob("*"):
        assert path.is_dir() or path.read_bytes() == (target / path.relative_to(built.target)).read_bytes()


def reads_of(
    built: Built, monkeypatch: pytest.MonkeyPatch, page: Callable[[RecordedSet], bytes] | None
) -> dict[tuple[str, int], Int64s]:
    """Return how often each sample of each pass's tracks is read while the tracks of a set are written."""
    counts: dict[tuple[str, int], Int64s] = {}
    real_read, real_write = PassAudio.read, writing.write_tracks

    def read(self: PassAudio, track: int, start: int, count: int) -> Int32s:
        row = counts.setdefault((self.path(track).parent.name, track), np.zeros(self.length, np.int64))
        row[max(0, start) : start + count] += 1
        return real_read(self, track, start, count)

    def write(*arguments: Any, **more: Any) -> object:  # noqa: ANN401 - passed on
        with monkeypatch.context() as counting:
            counting.setattr(PassAudio, "read", read)
            return real_write(*arguments, **more)

    target = built.target.parent / "counted"
    with monkeypatch.context() as patch:
        patch.setattr(building, "write_tracks", write)
        patch.setattr(building, "report_page", lambda _record, views: bytes(len(views.views)))
        build_set(built.folder / "session.toml", target, page=page)
    shutil.rmtree(target)
    return counts


def test_no_sample_is_read_again_that_rendering_read(built: Built, monkeypatch: pytest.MonkeyPatch) -> None:
    """With views each sample of a pass is read as often as without while tracks are written, or else once."""
    bare = reads_of(built, monkeypatch, lambda _: b"")
    viewed = reads_of(built, monkeypatch, None)
    assert set(viewed) == {("A1", 0), ("A1", 1), ("A2", 0), ("A2", 1), ("B1", 0)}
    more = 0
    for key, row in viewed.items():
        before = bare.get(key, np.zeros_like(row))
        assert (row <= np.maximum(before, 1)).all()
        more += int(np.count_nonzero(row > before))
    assert 0 < more < 2 * built.record["length"]
