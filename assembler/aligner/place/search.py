"""Looking for a pass where anchors found nothing: anywhere in another pass, or by mere likeness."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.place.agreement import belongs
from assembler.aligner.place.anchors import anchor_positions, read_all
from assembler.aligner.place.limits import ANCHOR_SAMPLES, LEAST_ANCHORS, LEAST_VOTES, PLACES, SCOUTS
from assembler.aligner.place.matching import count_votes, find_match, informative
from assembler.aligner.records.limits import READ_SAMPLES
from assembler.aligner.sound.chain.measures import correlation_along, empty_bits_of_both, fraction_behind
from assembler.aligner.sound.limits import ALIKE, FRACTION_TOLD, LEVEL_TOLD_DB, PIECE_SAMPLES
from assembler.arrays import median

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.records.passes import TrackReader
    from assembler.arrays import Float64s, Int32s


@dataclass(frozen=True)
class Likeness:
    """Two passes that run along closely without being identical.

    Args:
        shift: probe sample to reference sample.
        correlation: normalised, at that shift.
        level_db: level of the probe over that of the reference.
        largest_difference: in sample values, after alignment, level as captured.
        difference_db: power of the difference over that of the reference.
        fraction: of a sample that the probe lies after, beyond ``shift``; within half a sample.
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
    chosen = places[:: max(1, len(places) // PLACES)]
    probes = [(at, read_all(probe, at, ANCHOR_SAMPLES)) for at in chosen]
    probes.sort(key=lambda row: -sum(int(informative(track).sum()) for track in row[1]))
    for at, samples in probes[:4]:
        sounding = [track for track, piece in enumerate(samples) if informative(piece).any()]
        for start in range(-ANCHOR_SAMPLES, reference.length, READ_SAMPLES):
            window = read_all(reference, start, READ_SAMPLES + ANCHOR_SAMPLES)
            if not _may_hold([window[t] for t in sounding], [samples[t] for t in sounding]):
                continue
            match = find_match(window, samples, 0)
            if match is None or match.identical <= 0.5:
                continue
            for there in (match.shift, *match.rivals):
                shift = start + there - at
                if belongs(reference, probe, [(place, shift) for place, _ in probes]):
                    return shift
    return None


def _may_hold(window: Sequence[Int32s], samples: Sequence[Int32s]) -> bool:
    """Return whether it is worth while to look for the samples here: a few of them are found at one shift."""
    if not samples:
        return False
    return int(count_votes(window, samples, SCOUTS).max(initial=0)) >= LEAST_VOTES * SCOUTS


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
    found: list[Likeness] = []
    size = min(PIECE_SAMPLES, overlap[1] - overlap[0])
    positions = anchor_positions(*overlap)
    starts = [min(at, overlap[1] - size) for at in positions[:: max(1, len(positions) // PLACES)]]
    for start in starts:
        for track in range(probe.tracks):
            piece = probe.read(track, start, size).astype(np.float64)
            window = reference.read(track, start + shift - radius, size + 2 * radius).astype(np.float64)
            likeness = _likeness_of(window, piece, shift - radius)
            found += [likeness] if likeness else []
    # A steady tone is like itself a period off: all tracks together tell which of the places it is.
    best: dict[int, Likeness] = {}
    for likeness in sorted(found, key=lambda one: -one.correlation):
        best.setdefault(likeness.shift, likeness)
    rated = [
        (_typical_correlation(reference, probe, starts, size, at), likeness.correlation, likeness)
        for at, likeness in list(best.items())[:LEAST_ANCHORS]
    ]
    typical, _, likeness = max(rated, key=lambda row: row[:2], default=(0.0, 0.0, None))
    return likeness if typical >= ALIKE else None


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
    return median(found) if found else 0.0


def _likeness_of(window: Float64s, piece: Float64s, first_shift: int) -> Likeness | None:
    power = float(np.dot(piece, piece))
    if power == 0.0:
        return None
    alike = correlation_along(window, piece)
    peak = int(np.argmax(alike))
    correlation = float(alike[peak])
    if correlation < ALIKE:
        return None
    there = window[peak : peak + piece.size]
    difference = piece - there
    reference_power = float(np.dot(there, there))
    first, second = empty_bits_of_both([there.astype(np.int32)], [piece.astype(np.int32)])
    return Likeness(
        first_shift + peak,
        min(1.0, correlation),
        10 * float(np.log10(power / reference_power)),
        int(np.abs(difference).max()),
        10 * float(np.log10(max(float(np.dot(difference, difference)), 1e-9) / reference_power)),
        fraction_behind(there, piece)[0],
        max(0, second - first),
    )
