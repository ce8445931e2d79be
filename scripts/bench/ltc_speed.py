"""Linear timecode: how fast a stripe is read, how exactly, and through how much noise.

Sizes: 120 s of 30 frames a second at 48 and 96 kHz for speed, fed in blocks of 65536; 60 s at 48 kHz for the rest.
    Noise is white up to half the sample rate; its level is root mean square against the peak of the stripe.
"""

from __future__ import annotations

import time
from contextlib import suppress

import numpy as np

from assembler.errors import TimecodeLogError
from assembler.timecode import frame_rate
from assembler.timecode.ltc import decode_ltc, encode_ltc

RATE = frame_rate("30")
SPEED_SECONDS = 120
NOISE_SECONDS = 60
BLOCK = 65_536
FULL_SCALE = 1 << 23
FIRST_FRAME = 108_000
FIRST_SAMPLE = 4_800.3


def print_speed(sample_rate: int) -> None:
    """Print how many times faster than it plays a stripe, and noise without one, is read."""
    stripe = encode_ltc(FIRST_FRAME, 30 * SPEED_SECONDS, RATE, sample_rate)
    noise = np.random.default_rng(8).normal(scale=0.1, size=stripe.size)
    for name, signal in (("stripe", stripe), ("noise", noise)):
        samples = (signal * FULL_SCALE).astype(np.int32)
        blocks = [samples[first : first + BLOCK] for first in range(0, samples.size, BLOCK)]
        started = time.perf_counter()
        with suppress(TimecodeLogError):
            decode_ltc(blocks, sample_rate, RATE)
        ratio = SPEED_SECONDS / (time.perf_counter() - started)
        print(f"{sample_rate:>7} {name:<7} {ratio:>8.0f} times real time")


def print_noise(noise_db: float) -> None:
    """Print how many words are read through noise, and how far their starts are off."""
    stripe = encode_ltc(FIRST_FRAME, 30 * NOISE_SECONDS, RATE, 48_000, first_sample=FIRST_SAMPLE)
    scale = 0.5 * 10 ** (noise_db / 20)
    noisy = stripe + np.random.default_rng(9).normal(scale=scale, size=stripe.size)
    log = decode_ltc([noisy], 48_000, RATE)
    errors = log.start_samples - FIRST_SAMPLE - 1600 * (log.frames - FIRST_FRAME)
    share = log.frames.size / (30 * NOISE_SECONDS - 1)
    print(f"{noise_db:>7.0f} {share:>8.1%} {np.mean(errors):>+9.3f} {np.std(errors):>9.3f} {log.refused:>8}")


def main() -> None:
    """Print both tables."""
    for sample_rate in (48_000, 96_000):
        print_speed(sample_rate)
    print(f"\n{'noise':>7} {'words':>8} {'mean':>9} {'deviation':>9} {'refused':>8}")
    print(f"{'dB':>7} {'read':>8} {'samples':>9} {'samples':>9}")
    for noise_db in (-90, -30, -20, -15, -10, -6, -3):
        print_noise(noise_db)


if __name__ == "__main__":
    main()
