"""The audio of one pass: its tape tracks, wherever they lie in the capture's files, read in pieces.

Samples come as ``int32`` at the word length of the set, one track at a time, zero outside the capture.
Files are opened read-only and never held in memory; reading is safe from several threads.
"""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING, Any, Self

import numpy as np

from assembler.errors import CaptureError

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from assembler.arrays import Int32s
    from assembler.wave import PackedSamples, WaveFile


class PassAudio:
    """Tape tracks of one pass, in tape order.

    Args:
        files: the capture's open files.
        channels: for each tape track, the index of its file and the channel in it.
        word_length: word length of the set in bits; samples are widened or narrowed to it, exactly.
        polarity: 1 or -1 for each tape track.
    """

    def __init__(
        self,
        files: Sequence[WaveFile],
        channels: Sequence[tuple[int, int]],
        word_length: int,
        polarity: Sequence[int] | None = None,
    ) -> None:
        self.files = tuple(files)
        self.channels = tuple(channels)
        self.word_length = word_length
        self.polarity = tuple(polarity or [1] * len(channels))
        self.track_lengths = tuple(files[file].info.frames for file, _ in channels)
        self.length = max(self.track_lengths)
        # The last block of each polyphonic file: its tracks are asked for one after another.
        self._blocks: dict[int, tuple[int, int, Int32s]] = {}
        self._lock = threading.Lock()

    def __reduce__(self) -> tuple[Any, ...]:
        """Return what makes the same of the files in another process, where they are opened again."""
        return PassAudio, (self.files, self.channels, self.word_length, self.polarity)

    @property
    def sample_rate(self) -> int:
        """Samples per second, as the files' headers say."""
        return self.files[0].info.format.sample_rate

    @property
    def file_bits(self) -> int:
        """Bits of a sample that every file holds."""
        return min(file.info.format.valid_bits for file in self.files)

    @property
    def tracks(self) -> int:
        """Number of tape tracks, unused ones counted."""
        return len(self.channels)

    def read(self, track: int, start: int, count: int) -> Int32s:
        """Return samples ``start`` to ``start + count`` of one tape track, shape ``(count,)``.

        Positions before the first or after the last sample of the track give zero.

        Raises:
            CaptureError: the file holds bits below the word length of the set, or cannot be read.
        """
        first, last = max(0, start), min(start + count, self.track_lengths[track])
        if first >= last:
            return np.zeros(count, np.int32)
        found = self._fitted(track, first, self._raw(track, first, last - first))
        if self.polarity[track] < 0:
            # The most negative number has no opposite; it can't be a sample that was inverted exactly.
            found = np.asarray(-found, np.int32)
        if last - first == count:
            return found
        padded = np.zeros(count, np.int32)
        padded[first - start : last - start] = found
        return padded

    def packed(self, track: int, start: int, count: int) -> PackedSamples | None:
        """Return what ``read`` unpacks where it does nothing else: one channel, at the set's word length; else None.

        Raises:
            CaptureError: the file cannot be read.
        """
        file = self.files[self.channels[track][0]]
        pcm = file.info.format
        is_plain = pcm.channels == 1 and pcm.container_bits == self.word_length and self.polarity[track] > 0
        if not is_plain or start < 0 or start + count > self.track_lengths[track]:
            return None
        return file.read_packed(start, count)

    def rewired(self, channels: Sequence[tuple[int, int]], polarity: Sequence[int]) -> PassAudio:
        """Return the same open files read with other channels or polarity for each tape track."""
        return PassAudio(self.files, channels, self.word_length, polarity)

    def known_as(self) -> tuple[object, ...]:
        """Return what tells these samples from any others: their files, and how they are read."""
        sources = tuple(file.source for file in self.files)
        return sources, self.channels, self.polarity, self.word_length

    def close(self) -> None:
        """Close the files."""
        for file in self.files:
            file.close()

    def __enter__(self) -> Self:
        """Return the audio itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """Close the files."""
        self.close()

    def path(self, track: int) -> Path:
        """Return the file that holds a tape track."""
        return self.files[self.channels[track][0]].path

    def _raw(self, track: int, start: int, count: int) -> Int32s:
        index, channel = self.channels[track]
        file = self.files[index]
        if file.info.format.channels == 1:
            return np.asarray(file.read(start, count)[:, 0], np.int32)
        with self._lock:
            held = self._blocks.get(index)
            if held is None or held[:2] != (start, count):
                held = (start, count, np.ascontiguousarray(file.read(start, count).T))
                self._blocks[index] = held
            return np.asarray(held[2][channel], np.int32)

    def _fitted(self, track: int, start: int, samples: Int32s) -> Int32s:
        surplus = self.files[self.channels[track][0]].info.format.container_bits - self.word_length
        if surplus == 0:
            return samples
        if surplus < 0:
            return np.left_shift(samples, -surplus)
        low = np.bitwise_and(samples, (1 << surplus) - 1)
        if low.any():
            at = start + int(np.flatnonzero(low)[0])
            raise CaptureError(
                f"sample {at} uses bits below the {self.word_length}-bit word length that is to be delivered; "
                f"set [session] bit_depth or [deliver] word_length to what the capture holds",
                path=self.path(track),
            )
        return np.right_shift(samples, surplus)
