"""Delivered samples from an edit: copied from the passes, computed only inside a fade of sides that differ.

What a span has from other passes than its own is copied from these, sample by sample.

Any stretch of a track can be rendered by itself, in any block size, with the same result: fades are computed
whole and their dither is keyed by position. The same code writes a set and later proves it.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np

from assembler.aligner import Runs, clipped, cross_fade, extent_of, triangular_dither

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from assembler.aligner import DeliveredTrack, Filled, Join, Span, TrackEdit
    from assembler.arrays import Int32s, Int64s
    from assembler.importer import ImportedPass


class SpanReader(Protocol):
    """Gives the samples of a pass for one delivered track."""

    def __call__(self, pass_name: str, start: int, count: int) -> Int32s:
        """Return ``count`` samples of the pass from its sample ``start`` on."""


@dataclass(frozen=True)
class SampleFormat:
    """How delivered samples are quantised.

    Args:
        word_length: bits of the file's container, 16 or 24.
        step: smallest difference that a delivered sample makes: 16 where 20 bits stand in 24, else 1.
    """

    word_length: int
    step: int


def sample_format(word_length: int, bit_depth: int) -> SampleFormat:
    """Return how samples of a tape's bit depth are quantised in a delivered word length.

    20 bits in 24 keep their low bits zero, in fades too.
    """
    return SampleFormat(word_length, 16 if bit_depth == 20 and word_length == 24 else 1)


def pass_reader(track: DeliveredTrack, passes: Sequence[ImportedPass]) -> SpanReader:
    """Return what reads any pass's samples for one delivered track."""
    sources = {
        one.name: (one.audio, track.tape_tracks[one.reel]) for one in passes if one.reel in track.tape_tracks
    }

    def read(pass_name: str, start: int, count: int) -> Int32s:
        audio, tape_track = sources[pass_name]
        return audio.read(tape_track, start, count)

    return read


class TrackRenderer:
    """Renders one delivered track.

    Args:
        edit: spans and joins, counted from the set's first sample.
        read: gives the samples of a pass for this track.
        quantised: of the delivered samples.
    """

    def __init__(self, edit: TrackEdit, read: SpanReader, quantised: SampleFormat) -> None:
        self._edit = edit
        self._read = read
        self._format = quantised
        self._ends = [span.end for span in edit.spans]
        self._filled = {span.start: _Fills(span.filled) for span in edit.spans if span.filled}
        self._fades = [(index, join) for index, join in enumerate(edit.joins) if join.fade]

    def block(self, start: int, end: int) -> Int32s:
        """Return the delivered samples ``start`` to ``end``, shape ``(end - start,)``."""
        first = bisect_right(self._ends, start)
        spans = self._edit.spans
        if spans[first].end >= end and spans[first].pass_name is not None:
            out = self._side(spans[first], start, end)
        else:
            out = np.zeros(end - start, np.int32)
            for span in spans[first:]:
                if span.start >= end:
                    break
                low, high = max(start, span.start), min(end, span.end)
                out[low - start : high - start] = self._side(span, low, high)
        for index, join in self._fades:
            low = join.at - join.fade // 2
            if low < end and low + join.fade > start:
                out = self._with_fade(out, start, index, join)
        return out

    def _with_fade(self, out: Int32s, start: int, index: int, join: Join) -> Int32s:
        low = join.at - join.fade // 2
        fade = self._fade(index, join)
        first, last = max(start, low), min(start + out.size, low + join.fade)
        out = out.copy()
        out[first - start : last - start] = fade[first - low : last - low]
        return out

    def _side(self, span: Span, start: int, end: int) -> Int32s:
        if span.pass_name is None:
            return np.zeros(end - start, np.int32)
        samples = self._read(span.pass_name, span.pass_start + start - span.start, end - start)
        fills = self._filled.get(span.start)
        if fills is None:
            return samples
        low = start - span.start
        samples = samples.copy()
        for filled, at in fills.between(low, end - span.start):
            first = int(at[0])
            found = self._read(filled.pass_name, filled.pass_start + first, int(at[-1]) + 1 - first)
            samples[at - low] = found[at - first]
        return samples

    def _fade(self, index: int, join: Join) -> Int32s:
        low = join.at - join.fade // 2
        before, behind = self._edit.spans[index], self._edit.spans[index + 1]
        outgoing = self._side(before, low, low + join.fade)
        incoming = self._side(behind, low, low + join.fade)
        positions = np.arange(low, low + join.fade, dtype=np.int64)
        dither = triangular_dither(positions, self._edit.track.number)
        mixed = cross_fade(outgoing, incoming, join.correlation, dither, self._format.step)
        return clipped(mixed, self._format.word_length, self._format.step)


class _Fills:
    """What a span has from other passes, ready to be asked for a part of it."""

    def __init__(self, filled: Sequence[Filled]) -> None:
        self._filled = [(one, Runs(one.at)) for one in filled]
        self._extents = np.array([extent_of(one.at) for one in filled], np.int64)

    def between(self, low: int, high: int) -> Iterator[tuple[Filled, Int64s]]:
        """Yield what is filled in a part, with the samples, counted from the span's start; never without any."""
        near = (self._extents[:, 0] < high) & (self._extents[:, 1] > low)
        for number in np.flatnonzero(near):
            filled, runs = self._filled[number]
            at = runs.within(low, high)
            if at.size:
                yield filled, at
