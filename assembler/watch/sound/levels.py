"""How loud each track of a capture is, and which tracks hold the same numbers."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from assembler.aligner.records.passes import TrackReader


def levels_of(audio: TrackReader, start: int, end: int, full_scale: int) -> list[float | None]:
    """Return the peak of each track in decibels of full scale; None where it holds nothing but zeros."""
    peaks = []
    for track in range(audio.tracks):
        samples = audio.read(track, start, end - start)
        largest = max(int(samples.max(initial=0)), -int(samples.min(initial=0)))
        peaks.append(round(20.0 * float(np.log10(largest / (full_scale + 1))), 1) if largest else None)
    return peaks


def alike_tracks(audio: TrackReader, start: int, end: int) -> frozenset[tuple[int, int]]:
    """Return pairs of tracks that sound and hold the same numbers."""
    heard: dict[bytes, int] = {}
    pairs = set()
    for track in range(audio.tracks):
        samples = audio.read(track, start, end - start)
        if np.any(samples[1:] != samples[:-1]):
            first = heard.setdefault(samples.tobytes(), track)
            if first != track:
                pairs.add((first, track))
    return frozenset(pairs)
