"""Cost of metering a track, in nanoseconds per sample of one thread, part by part.

Sizes: 60 s of 24-bit audio at 48 kHz, fed in blocks of 65536. Four signals: noise, a steady tone (where no
    stretch of the true peak can be passed over: the worst case), decaying strokes (like most music), silence
    after sound.
"""

from __future__ import annotations

import time
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

import numpy as np

from assembler.consolidator.metering.levels import SampleMeter
from assembler.consolidator.metering.loudness import LoudnessMeter
from assembler.consolidator.metering.track import TrackMeter
from assembler.consolidator.metering.true_peak import TruePeakMeter

if TYPE_CHECKING:
    from collections.abc import Callable

    from assembler.arrays import Int32s

SAMPLE_RATE = 48_000
SECONDS = 60
FULL_SCALE = 1 << 23
BLOCK = 65_536


def signals() -> dict[str, Int32s]:
    """Return the signals by name: shape (SECONDS * SAMPLE_RATE,) each."""
    rng = np.random.default_rng(5)
    seconds = np.arange(SECONDS * SAMPLE_RATE) / SAMPLE_RATE
    tone = np.sin(2 * np.pi * 997 * seconds)
    noise = rng.normal(scale=0.1, size=seconds.size)
    strokes = noise * np.exp(-6 * (seconds % 0.5)) + 0.3 * tone * np.exp(-3 * (seconds % 0.75))
    cut = np.where(seconds < 1, tone, 0.0)
    made = {"noise": noise, "tone": 0.5 * tone, "strokes": strokes, "cut to silence": cut}
    return {name: (values * FULL_SCALE).astype(np.int32) for name, values in made.items()}


def feed_track(samples: Int32s) -> None:
    """Meter a track as the program does."""
    meter = TrackMeter(SAMPLE_RATE, FULL_SCALE)
    for first in range(0, samples.size, BLOCK):
        meter.update(samples[first : first + BLOCK])
    meter.result()


def feed_levels(samples: Int32s) -> None:
    """Measure the samples as numbers."""
    meter = SampleMeter(SAMPLE_RATE, FULL_SCALE)
    for first in range(0, samples.size, SAMPLE_RATE):
        second = samples[first : first + SAMPLE_RATE]
        meter.update(second, second.astype(np.float64))


def feed_loudness(samples: Int32s) -> None:
    """Measure loudness and its range."""
    meter = LoudnessMeter(SAMPLE_RATE, FULL_SCALE)
    for first in range(0, samples.size, SAMPLE_RATE):
        meter.update(samples[first : first + SAMPLE_RATE].astype(np.float64))


def feed_true_peak(samples: Int32s) -> None:
    """Measure the true peak."""
    meter = TruePeakMeter(SAMPLE_RATE)
    for first in range(0, samples.size, SAMPLE_RATE):
        meter.update(samples[first : first + SAMPLE_RATE].astype(np.float64))
    meter.finish()


def feed_two_tracks(samples: Int32s) -> None:
    """Meter the two halves as tracks of their own, each in its thread."""
    with ThreadPoolExecutor(2) as pool:
        list(pool.map(feed_track, np.split(samples, 2)))


PARTS: dict[str, Callable[[Int32s], None]] = {
    "levels": feed_levels,
    "loudness": feed_loudness,
    "true peak": feed_true_peak,
    "all": feed_track,
    "all, 2 threads": feed_two_tracks,
}


def nanoseconds_per_sample(work: Callable[[Int32s], None], samples: Int32s) -> float:
    """Return the best of three runs."""
    best = float("inf")
    for _ in range(3):
        begun = time.perf_counter()
        work(samples)
        best = min(best, time.perf_counter() - begun)
    return best / samples.size * 1e9


def main() -> None:
    """Print the table."""
    print(f"{'ns per sample':16}" + "".join(f"{part:>16}" for part in PARTS))
    for name, samples in signals().items():
        print(
            f"{name:16}"
            + "".join(f"{nanoseconds_per_sample(work, samples):16.1f}" for work in PARTS.values())
        )


if __name__ == "__main__":
    main()
