"""How exactly a stripe places its pass: seeded trials, a plain table.

Sizes: trials per row as given (default 200), one stripe of 16 bits each, 10 or 60 s, from a random frame and a random
place between two samples; edges of 25 to 65 microseconds. Noise is white up to half the sample rate; its level is root
mean square against the peak of the stripe. Where a cell has a whole number of samples (30 or 25 frames at 48 kHz) all
edges have one place between two samples: what that does to them is the same all through, and no mean takes it away.

Run: python -m scripts.bench.ltc_accuracy [TRIALS]
"""

from __future__ import annotations

import sys
from dataclasses import dataclass

import numpy as np

from assembler.timecode import ClockFit, decode_ltc, encode_ltc, fit_clock, frame_rate, ltc_points

LEVEL = 0.5
FULL_SCALE = 1 << 15
RISE_SECONDS = (25e-6, 65e-6)


@dataclass(frozen=True)
class Case:
    """One row of the table."""

    sample_rate: int
    rate: str
    seconds: float
    noise_db: float | None


CASES = tuple(
    Case(sample_rate, rate, seconds, noise_db)
    for sample_rate in (44100, 48000)
    for rate in ("30", "25", "29.97")
    for seconds, noise_db in ((10, None), (60, None), (10, -30), (60, -30), (10, -15))
)


def place_stripe(case: Case, generator: np.random.Generator) -> tuple[float, ClockFit]:
    """Return how far a stripe puts its pass off, in samples, and the whole fit."""
    rate = frame_rate(case.rate)
    first_sample, frame = generator.uniform(0, 3000), int(generator.integers(0, 2_000_000))
    made = encode_ltc(
        frame,
        round(case.seconds * float(rate.exact)),
        rate,
        case.sample_rate,
        level=LEVEL,
        first_sample=first_sample,
        rise_seconds=generator.uniform(*RISE_SECONDS),
    )
    if case.noise_db is not None:
        made = made + generator.normal(scale=LEVEL * 10 ** (case.noise_db / 20), size=made.size)
    stripe = np.rint(FULL_SCALE * made).astype(np.int32)
    fit = fit_clock(ltc_points(decode_ltc([stripe], case.sample_rate, rate)), rate, case.sample_rate)
    truth = frame * case.sample_rate / float(rate.exact) - first_sample
    return fit.stretches[0].shift_samples - truth, fit


def main() -> None:
    """Print the table."""
    trials = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    print(f"{'rate':>6} {'frames':>6} {'s':>4} {'noise':>6} {'bias':>8} {'p95':>7} {'worst':>7}", end=" ")
    print(f"{'stated':>7} {'in 95%':>7} {'slips':>6} {'not locked':>10}")
    for case in CASES:
        generator = np.random.default_rng(3)
        found = [place_stripe(case, generator) for _ in range(trials)]
        errors = np.array([error for error, _ in found])
        stated = np.array([fit.stretches[0].uncertainty_samples for _, fit in found])
        held = 100 * np.mean(np.abs(errors) <= 1.96 * stated)
        slips = sum(len(fit.stretches) - 1 for _, fit in found)
        moving = sum(fit.verdict != "locked" for _, fit in found)
        noise = "none" if case.noise_db is None else f"{case.noise_db:.0f} dB"
        print(
            f"{case.sample_rate:6} {case.rate:>6} {case.seconds:4.0f} {noise:>6} {errors.mean():+8.4f}"
            f" {np.quantile(np.abs(errors), 0.95):7.4f} {np.abs(errors).max():7.4f} {stated.mean():7.4f}"
            f" {held:6.1f}% {slips:6} {moving:10}",
            flush=True,
        )


if __name__ == "__main__":
    main()
