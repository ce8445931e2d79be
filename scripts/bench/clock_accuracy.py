"""How exactly the clock fit places passes: seeded trials, a plain table.

Sizes: trials per row as given (default 200), two passes each, settled together; 60 s or 30 min of quarter frames;
48 kHz; lateness evenly spread from 0 to 1 ms. Times are exact in some rows, in log ticks in others. Soft lateness has
no edge, so that a pass alone lies off by what `common_samples` says; against each other two passes do not.

Run: python scripts/bench/clock_accuracy.py [TRIALS]
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assembler.timecode import FRAME_RATES, FrameRate, TimecodePoints, draft_clock, settle_clocks
from assembler.timecode.clock.lateness.pools import find_pools

if TYPE_CHECKING:
    from assembler.arrays import Float64s
    from assembler.timecode import ClockDraft

SAMPLE_RATE = 48000
LATEST_SECONDS = 1e-3


@dataclass(frozen=True)
class Case:
    """One row of the table."""

    name: str
    seconds: float
    ppm: float = 0.0
    tick: float = 0.0
    rate: str = "30"
    missing: float = 0.0
    late: str = "even"


CASES = (
    Case("60 s, exact times", 60),
    Case("60 s, 52 us ticks", 60, tick=1 / 19200),
    Case("60 s, 0.52 ms ticks", 60, tick=1 / 1920),
    Case("60 s, 1 ms ticks", 60, tick=1e-3),
    Case("60 s, 1 ms ticks, 29.97", 60, tick=1e-3, rate="29.97"),
    Case("60 s, 25 frames, 0.52 ms ticks", 60, tick=1 / 1920, rate="25"),
    Case("60 s, a tenth missing", 60, missing=0.1),
    Case("60 s, 5 in 100 up to 20 ms late", 60, late="stragglers"),
    Case("60 s, exponential, mean 0.3 ms", 60, late="exponential"),
    Case("60 s, bell-shaped, 0.25 ms", 60, late="bell"),
    Case("30 min, log clock +50 ppm", 1800, ppm=50),
    Case("30 min, +50 ppm, 0.52 ms ticks", 1800, ppm=50, tick=1 / 1920),
    Case("60 s, log clock +50 ppm", 60, ppm=50),
    Case("60 s, log clock +1 ppm", 60, ppm=1),
)


def make_points(
    case: Case, generator: np.random.Generator, slip: tuple[float, int] | None = None
) -> tuple[TimecodePoints, float]:
    """Return points of one pass, and its true shift in samples; a slip loses samples at a time."""
    rate: FrameRate = FRAME_RATES[case.rate]
    count = int(case.seconds * 4 * float(rate.exact))
    first = int(generator.integers(0, 4 * rate.frames_per_day // 2))
    frames = (first + np.arange(count)) / 4
    tape = frames / float(rate.exact)
    shift = tape[0] - generator.uniform(0.0, 0.05)
    elapsed = tape - shift
    if slip is not None:
        elapsed = elapsed - np.where(elapsed > slip[0], slip[1] / SAMPLE_RATE, 0.0)
    seconds = (elapsed + _lateness(case.late, count, generator)) * (1 + case.ppm * 1e-6)
    if case.tick:
        seconds = np.rint(seconds / case.tick) * case.tick
    kept = generator.random(count) >= case.missing
    order = np.argsort(seconds[kept], kind="stable")
    points = TimecodePoints(seconds[kept][order], frames[kept][order], 3, int(kept.sum()), 0.0, case.tick, ())
    return points, shift * SAMPLE_RATE


def _lateness(kind: str, count: int, generator: np.random.Generator) -> Float64s:
    if kind == "exponential":
        return generator.exponential(0.3e-3, count)
    if kind == "bell":
        return generator.normal(1.5e-3, 0.25e-3, count)
    late = generator.uniform(0.0, LATEST_SECONDS, count)
    if kind == "stragglers":
        late = np.where(generator.random(count) < 0.05, generator.uniform(0.0, 20e-3, count), late)
    return late


def draft(case: Case, points: TimecodePoints) -> ClockDraft:
    """Return what the log says under the case's rate."""
    return draft_clock(points, FRAME_RATES[case.rate], SAMPLE_RATE)


def report_placement(trials: int) -> None:
    """Print the error of one pass alone, and of two reels against each other, fitted together."""
    print(
        f"{'case':34} {'bias':>7} {'stated':>7} {'in 95%':>7} | {'p95':>6} {'worst':>6} {'in 95%':>7} {'pooled':>6}"
        f" slips  s/fit"
    )
    for case in CASES:
        generator = np.random.default_rng(1)
        lone, pairs, pooled, slips, started = [], [], 0, 0, time.perf_counter()
        for _ in range(trials):
            (first, truth), (second, other) = make_points(case, generator), make_points(case, generator)
            drafts = [draft(case, first), draft(case, second)]
            together = [fit.stretches[0] for fit in settle_clocks(drafts)]
            pooled += len(find_pools([one.line.logged for one in drafts])) == 1
            shifts = together[0].shift_samples - truth, together[1].shift_samples - other
            pairs.append(
                (shifts[0] - shifts[1], np.hypot(together[0].apart_samples, together[1].apart_samples))
            )
            for one, true in zip(drafts, (truth, other), strict=True):
                (fit,) = settle_clocks([one])
                lone.append((fit.stretches[0].shift_samples - true, fit.stretches[0].uncertainty_samples))
                slips += len(fit.stretches) - 1
        took = (time.perf_counter() - started) / (2 * trials)
        error, sigma = np.array(lone).T
        apart, both = np.array(pairs).T
        inside = 100 * np.mean(np.abs(error) <= 1.96 * sigma)
        held = 100 * np.mean(np.abs(apart) <= 1.96 * both)
        print(
            f"{case.name:34} {error.mean():7.3f} {sigma.mean():7.3f} {inside:6.1f}% |"
            f" {np.quantile(np.abs(apart), 0.95):6.3f} {np.abs(apart).max():6.3f} {held:6.1f}%"
            f" {100 * pooled / trials:5.0f}% {slips:5d} {took:6.3f}",
            flush=True,
        )


def report_slips(trials: int) -> None:
    """Print how often a slip in a lone pass is found, and how far from its place."""
    print(
        f"\n{'slip in 60 s':34} {'found':>7} {'in 0.5 s':>9} {'worst place':>12} {'worst size':>11} {'too many':>9}"
    )
    for case in (CASES[0], CASES[2], CASES[3], CASES[7], CASES[9]):
        for size in (8, -8, 64):
            generator = np.random.default_rng(2)
            found, places, sizes, extra = 0, [0.0], [0.0], 0
            for _ in range(trials):
                at = float(generator.uniform(4, 56))
                points, _ = make_points(case, generator, (at, size))
                stretches = settle_clocks([draft(case, points)])[0].stretches
                extra += len(stretches) > 2
                if len(stretches) == 2:
                    found += 1
                    places.append(abs(stretches[1].log_start - at))
                    sizes.append(abs(stretches[1].shift_samples - stretches[0].shift_samples - size))
            share = 100 * found / trials
            near = 100 * float(np.mean(np.array(places[1:]) <= 0.5)) if found else 0.0
            print(
                f"{case.name:28} {size:+5d} {share:6.1f}% {near:8.1f}% {max(places):10.3f} s"
                f" {max(sizes):11.2f} {extra:9d}"
            )


if __name__ == "__main__":
    wanted = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    report_placement(wanted)
    report_slips(wanted)
