"""Looking for a pass where anchors found nothing: anywhere in another pass, or by mere likeness."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.signal import correlate

from assembler.aligner.matching import count_votes, find_match, informative
from assembler.aligner.relating import ANCHOR_SAMPLES, anchor_positions, read_all

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.relating import TrackReader
    from assembler.arrays import Float64s, Int32s

SCAN_BLOCK = 1 << 18
PROBES = 8
SCOUTS = 16
LEAST_SCOUTS = 4
"""Telling samples that rule out most blocks of a long pass, and how many must agree: half of a probe may be flawed,
and by chance so many hardly ever do."""

LIKE_CORRELATION = 0.9
LIKE_SAMPLES = 16384
FRACTION_TOLD = 0.02
LEVEL_TOLD_DB = 0.02


@dataclass(frozen=True)
class Likeness:
    """Two passes that run along closely without being identical.

    Args:
        shift: probe sample to reference sample.
        correlation: normalised, at that shift.
        level_db: level of the probe over that of the reference.
        largest_difference: in sample values, after alignment, level as captured.
        difference_db: power of the difference over that of the reference.
        fraction: of a sample that the probe lies behind, beyond ``shift``; within half a sample.
        empty_bits: lowest bits that are zero in every sample of the probe and not in the reference.
    """

    shift: int
    correlation: float
    level_db: float
    largest_difference: int
    difference_db: float
    fraction: float = 0.0
    empty_bits: int = 0

    @property
    def cause(self) -> str:
        """What the difference looks like, in an engineer's words."""
        if self.empty_bits:
            return f"its lowest {self.empty_bits} bits are always zero: a shorter word length was in the way"
        if abs(self.fraction) > FRACTION_TOLD:
            return f"it lies {self.fraction:+.2f} sample off the grid: a rate converter or an analogue path in the way"
        if abs(self.level_db) > LEVEL_TOLD_DB:
            return f"its level is {self.level_db:+.2f} dB off: a gain in the way"
        return "a mixer, a rate converter or dither in the way"


def find_anywhere(reference: TrackReader, probe: TrackReader) -> int | None:
    """Return the shift of a pass found by its sound anywhere in another pass, or None.

    The loudest of a few probes is searched first; memory is bounded by a block, time by the length.
    """
    places = anchor_positions(0, probe.length)
    if not places:
        return None
    chosen = places[:: max(1, len(places) // PROBES)]
    probes = [(at, read_all(probe, at, ANCHOR_SAMPLES)) for at in chosen]
    probes.sort(key=lambda row: -sum(int(informative(track).sum()) for track in row[1]))
    for at, samples in probes[:4]:
        sounding = [track for track, piece in enumerate(samples) if informative(piece).any()]
        for start in range(-ANCHOR_SAMPLES, reference.length, SCAN_BLOCK):
            window = read_all(reference, start, SCAN_BLOCK + ANCHOR_SAMPLES)
            if not _may_hold([window[t] for t in sounding], [samples[t] for t in sounding]):
                continue
            match = find_match(window, samples, 0)
            if match is not None and match.identical > 0.5:
                return start + match.shift - at
    return None


def _may_hold(window: Sequence[Int32s], samples: Sequence[Int32s]) -> bool:
    """Return whether it is worth while to look for the samples here: a few of them are found at one shift."""
    if not samples:
        return False
    return int(count_votes(window, samples, SCOUTS).max(initial=0)) >= LEAST_SCOUTS


def find_likeness(
    reference: TrackReader, probe: TrackReader, overlap: tuple[int, int], shift: int, radius: int
) -> Likeness | None:
    """Return how two passes resemble each other near ``shift``, or None where they do not.

    Args:
        reference: the pass searched in.
        probe: the pass whose place is sought.
        overlap: range of probe samples expected inside the reference.
        shift: expected shift.
        radius: how far around it to look.
    """
    best: Likeness | None = None
    size = min(LIKE_SAMPLES, overlap[1] - overlap[0])
    positions = anchor_positions(*overlap)
    starts = [min(at, overlap[1] - size) for at in positions[:: max(1, len(positions) // PROBES)]]
    for start in starts:
        for track in range(probe.tracks):
            piece = probe.read(track, start, size).astype(np.float64)
            window = reference.read(track, start + shift - radius, size + 2 * radius).astype(np.float64)
            found = _likeness_of(window, piece, shift - radius)
            if found and (best is None or found.correlation > best.correlation):
                best = found
    if best is None or _typical_correlation(reference, probe, starts, size, best.shift) < LIKE_CORRELATION:
        return None
    return best


def _typical_correlation(
    reference: TrackReader, probe: TrackReader, starts: Sequence[int], size: int, shift: int
) -> float:
    """Return the middle correlation of all sounding tracks at all places: one tune that comes again is not a tape."""
    found = []
    for start in starts:
        for track in range(probe.tracks):
            piece = probe.read(track, start, size).astype(np.float64)
            there = reference.read(track, start + shift, size).astype(np.float64)
            power = float(np.sqrt(np.dot(piece, piece) * np.dot(there, there)))
            if power > 0.0:
                found.append(float(np.dot(piece, there)) / power)
    return float(np.median(found)) if found else 0.0


def _likeness_of(window: Float64s, piece: Float64s, first_shift: int) -> Likeness | None:
    power = float(np.dot(piece, piece))
    if power == 0.0:
        return None
    products = correlate(window, piece, mode="valid", method="fft")
    powers = _moving(window, piece.size)
    scale = np.sqrt(np.maximum(powers, 1e-9) * power)
    peak = int(np.argmax(products / scale))
    correlation = float(products[peak] / scale[peak])
    if correlation < LIKE_CORRELATION:
        return None
    there = window[peak : peak + piece.size]
    difference = piece - there
    reference_power = float(np.dot(there, there))
    return Likeness(
        first_shift + peak,
        min(1.0, correlation),
        10 * float(np.log10(power / reference_power)),
        int(np.abs(difference).max()),
        10 * float(np.log10(max(float(np.dot(difference, difference)), 1e-9) / reference_power)),
        _fraction_behind(there, piece),
        max(0, _empty_bits(piece) - _empty_bits(there)),
    )


def _fraction_behind(reference: Float64s, probe: Float64s) -> float:
    """Return the fraction of a sample that the probe lies behind the reference: the slope of their cross phase.

    Weighted least squares through zero over all frequencies, weights the cross power; right within half a sample.
    """
    window = np.hanning(reference.size)
    cross = np.fft.rfft(reference * window) * np.conj(np.fft.rfft(probe * window))
    frequencies = np.linspace(0.0, np.pi, cross.size)
    weights = np.abs(cross)
    total = float(np.sum(weights * frequencies**2))
    return float(np.sum(weights * frequencies * np.angle(cross))) / total if total else 0.0


def _empty_bits(samples: Float64s) -> int:
    """Return how many of the lowest bits are zero in every sample."""
    used = int(np.bitwise_or.reduce(samples.astype(np.int64)))
    return (used & -used).bit_length() - 1 if used else 0


def _moving(window: Float64s, size: int) -> Float64s:
    """Return the power of every stretch of ``size`` samples."""
    sums = np.concatenate(([0.0], np.cumsum(window**2)))
    return np.asarray(sums[size:] - sums[:-size], np.float64)
