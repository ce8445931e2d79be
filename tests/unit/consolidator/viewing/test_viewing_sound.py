"""Lines, windows and clips of a place, from arrays whose every sample is known."""

from __future__ import annotations

import io
import json
import shutil
import subprocess
from typing import TYPE_CHECKING

import numpy as np
import pytest
import soundfile

from assembler.consolidator.viewing.hushing import clip_samples, flac_of, held_back
from assembler.consolidator.viewing.layout import clip_of, frames_of
from assembler.consolidator.viewing.limits import QUIET_SHARE
from assembler.consolidator.viewing.tracing import Sound, numbers_size, traces_of
from assembler.report.views import RESULT

if TYPE_CHECKING:
    from pathlib import Path

    from assembler.arrays import Int32s

RATE = 48_000
FULL = 1 << 15


def music(size: int, peak: int = 3000, seed: int = 1) -> Int32s:
    """Return a tone with a little noise."""
    random = np.random.default_rng(seed)
    tone = 0.9 * peak * np.sin(np.arange(size) / 17) + random.uniform(-0.1, 0.1, size) * peak
    return np.round(tone).astype(np.int32)


def noise(size: int) -> Int32s:
    """Return noise at full scale."""
    return np.random.default_rng(2).integers(-FULL, FULL, size).astype(np.int32)


def test_nothing_is_held_back_that_is_no_louder() -> None:
    """Samples come back as they are, where no range is flawed and where a flawed one is as loud as the rest."""
    samples = music(RATE)
    for flawed in ([], [(20_000, 30_000)], [(-50, 40)], [(RATE - 10, RATE + 10)]):
        found, is_held_back = held_back(samples, flawed, FULL, RATE)
        assert found is samples
        assert not is_held_back


@pytest.mark.parametrize(
    "place", [(20_000, 20_001), (20_000, 20_300), (20_000, 44_000), (0, 9_000), (40_000, RATE)]
)
def test_a_burst_is_lowered_to_what_is_around_it(place: tuple[int, int]) -> None:
    """By one gain over all of it, with smooth sides; beyond 5 ms nothing changes, and nothing gets louder."""
    samples = music(RATE)
    samples[slice(*place)] = noise(place[1] - place[0]) if place[1] - place[0] > 1 else FULL - 1
    found, is_held_back = held_back(samples, [place], FULL, RATE)
    assert is_held_back
    assert (np.abs(found) <= np.abs(samples)).all()
    assert np.abs(found[slice(*place)]).max() <= 3000
    power = max(float(np.sum(found[at : at + 480] ** 2.0)) for at in range(place[0], place[1], 480))
    assert power <= 480 * 3000**2 / 2
    gain = (
        found[slice(*place)][samples[slice(*place)] != 0]
        / samples[slice(*place)][samples[slice(*place)] != 0]
    )
    assert np.ptp(gain) < 1e-9
    far = np.r_[0 : max(0, place[0] - 320), min(RATE, place[1] + 320) : RATE]
    assert np.array_equal(found[far], samples[far])
    with np.errstate(invalid="ignore"):
        curve = np.where(samples == 0, np.nan, found / samples)
    steps = np.abs(np.diff(curve[~np.isnan(curve)]))
    assert steps.max() < 0.05


@pytest.mark.parametrize("around", [0, 3])
def test_a_burst_in_silence_rises_to_a_low_level_alone(around: int) -> None:
    """-48 dB of full scale, where what is around is quieter still; silence stays silence."""
    samples = np.full(RATE, around, np.int32)
    samples[10_000:20_000] = noise(10_000)
    found, is_held_back = held_back(samples, [(10_000, 20_000)], FULL, RATE)
    assert is_held_back
    assert np.abs(found).max() <= QUIET_SHARE * FULL
    assert np.abs(found[10_000:20_000]).max() > QUIET_SHARE * FULL / 2
    assert (found[:9_000] == around).all()
    silence, is_held_back = held_back(np.zeros(RATE, np.int32), [(0, RATE)], FULL, RATE)
    assert not silence.any()
    assert not is_held_back


def test_noise_among_short_peaks_is_no_louder_than_these() -> None:
    """Peaks of a drum let noise rise as high, which would be far louder: power counts, too."""
    samples = music(RATE, peak=200)
    samples[::4_000] = 20_000
    samples[20_100:23_900] = noise(3_800)
    found, _ = held_back(samples, [(20_100, 23_900)], FULL, RATE)
    pieces = found[20_100:23_900], samples[:20_100], samples[23_900:]
    burst, *around = (np.convolve(part.astype(float) ** 2, np.ones(480)).max() for part in pieces)
    assert 0.9 * max(around) < burst <= max(around)


def test_noise_alone_is_held_back_to_a_low_level() -> None:
    """Where all of a clip is flawed, there is nothing around: full-scale noise never reaches anybody."""
    found, is_held_back = held_back(noise(RATE), [(-100, RATE + 100)], FULL, RATE)
    assert is_held_back
    assert np.abs(found).max() <= QUIET_SHARE * FULL


def test_a_clip_is_rounded_towards_zero() -> None:
    """No sample becomes louder by its shorter word; what has none below stays what it is."""
    samples = np.array([0, 255, -255, 256, -256, 511, -511, (1 << 23) - 1, -(1 << 23)], np.int32)
    assert clip_samples(samples, 24).tolist() == [0, 0, 0, 1, -1, 1, -1, FULL - 1, -FULL]
    plain = np.array([0, 1, -1, FULL - 1, -FULL], np.int32)
    assert clip_samples(plain, 16).tolist() == plain.tolist()
    assert clip_samples(np.array([1.9, -1.9, FULL], np.float64), 16).tolist() == [1, -1, FULL - 1]


@pytest.mark.parametrize("rate", [8_000, 44_100, 48_000, 96_000, 192_000])
def test_clips_are_read_by_others(tmp_path: Path, rate: int) -> None:
    """As libsndfile reads them they are the very samples; ffprobe says rate, length and channel."""
    samples = music(rate * 2)
    audio = flac_of(samples, rate)
    assert audio == flac_of(samples.copy(), rate)
    found, read_rate = soundfile.read(io.BytesIO(audio), dtype="int16")
    assert read_rate == rate
    assert np.array_equal(found, samples)
    assert len(audio) < 2 * samples.size
    if shutil.which("ffprobe") is None:
        return
    (tmp_path / "clip.flac").write_bytes(audio)
    command = ["ffprobe", "-v", "error", "-of", "json", "-show_streams", str(tmp_path / "clip.flac")]
    (stream,) = json.loads(subprocess.run(command, capture_output=True, check=True).stdout)["streams"]
    assert (stream["codec_name"], stream["sample_rate"], stream["channels"]) == ("flac", str(rate), 1)
    assert float(stream["duration"]) == 2.0


def test_columns_hold_extremes_and_gaps() -> None:
    """Least and greatest of each column, None where a pass has nothing; the last column may be shorter."""
    held = np.array([True] * 4 + [False] * 5 + [True])
    first = Sound("A1", np.arange(10, dtype=np.int32), held)
    nothing = Sound("A2", np.zeros(10, np.int32), np.zeros(10, bool))
    result = Sound(RESULT, np.full(10, 5, np.int32), None)
    one, delivered, difference = traces_of([first, nothing, result], 3)
    assert (one.source, one.low, one.high) == ("A1", (0, 3, None, 9), (2, 3, None, 9))
    assert (delivered.source, delivered.low) == (RESULT, (5, 5, 5, 5))
    assert difference.low == difference.high == (5, 2, None, 4)
    single = traces_of([first, result], 1)[0]
    assert single.low == (0, 1, 2, 3, None, None, None, None, None, 9)
    assert single.low is single.high


def test_rows_that_stand_again_count_once() -> None:
    """The result is mostly one of the passes."""
    sounds = [Sound(name, music(600), None) for name in ("A1", RESULT)]
    lines = traces_of(sounds, 1)
    assert lines[0].low is lines[1].low
    texts = {id(line.low): ",".join(map(str, line.low)) for line in lines}
    assert sum(map(len, texts.values())) <= numbers_size(lines) < 3 * 600 * 5


def test_windows_keep_to_the_set_and_to_their_columns() -> None:
    """Of any place: as many columns as asked for at most, within the set, both borders in them."""
    for length in (100, RATE, 60 * RATE):
        for start, end in ((0, 0), (0, 5), (50, 100), (length - 1, length), (length, length), (10, length)):
            for is_join in (False, True):
                frames = frames_of(
                    (start, end), is_join=is_join, columns=120, length=length, sample_rate=RATE
                )
                assert frames
                for frame in frames:
                    assert 0 <= frame.start < frame.end <= length
                    assert -(-(frame.end - frame.start) // frame.step) <= 120
                assert frames[0].start <= start <= frames[0].end
                assert frames[-1].start <= end <= frames[-1].end
                low, high = clip_of((start, end), length=length, sample_rate=RATE)
                assert 0 <= low < high <= length
                assert high - low <= 4 * RATE
