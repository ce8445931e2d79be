"""A track that was just written, as the disk gives it back: read once, and held against what libsndfile finds there.

What libsndfile makes of a sample rests on the sample's own bytes alone. So where it finds the samples to begin, how
many there are, and what it makes of some of every block tell what it makes of all.
"""

from __future__ import annotations

import hashlib
from contextlib import ExitStack
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Self

import numpy as np

from assembler.consolidator.proof.examining import Heard, open_sound
from assembler.wave import unpack_samples

if TYPE_CHECKING:
    from collections.abc import Mapping
    from types import TracebackType

    import soundfile

    from assembler.publishing.staged import StagedFiles
    from assembler.wave import PcmFormat

DECODED: Final = 1 << 12
"""Samples that libsndfile decodes of each block: its last ones, so that a track's last ones are among them."""


@dataclass(frozen=True)
class ReadBack:
    """What reading a payload file has given, so that it need not be read again.

    Args:
        digests: by algorithm.
        heard: its samples, where it is a track.
    """

    digests: Mapping[str, str]
    heard: Heard | None = None


@dataclass(frozen=True)
class WrittenShape:
    """Where the samples of a track stand, by whoever wrote it.

    Args:
        pcm: their format; one channel.
        frames: how many there are.
        data_start: byte of the first one.
    """

    pcm: PcmFormat
    frames: int
    data_start: int


def read_track(files: StagedFiles, name: str, shape: WrittenShape, algorithms: tuple[str, ...]) -> ReadBack:
    """Return what the disk holds of a track that was written and closed.

    Args:
        files: of the set in the making.
        name: of the track inside the set.
        shape: as it was written.
        algorithms: of the digests.

    Raises:
        PublishError: it cannot be synced or read back.
    """
    with _Listener(files, name, shape) as listener:
        digests = files.hash_back(name, algorithms, listener.hear)
        return ReadBack(digests, listener.heard())


class _Listener:
    """Hears the blocks of a track as they are read."""

    def __init__(self, files: StagedFiles, name: str, shape: WrittenShape) -> None:
        self._path, self._shape = files.inside(name), shape
        self._files = ExitStack()
        self._sound: soundfile.SoundFile | None = None
        self._digest = hashlib.sha256()
        self._block = np.empty(DECODED, np.int32)
        self._problem = ""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._files.close()

    def heard(self) -> Heard:
        """Return what all blocks have shown."""
        return Heard(self._digest.hexdigest(), problem=self._problem)

    def hear(self, start: int, block: bytes) -> None:
        """Take in a block that begins at a byte of the file."""
        size = self._shape.frames * self._shape.pcm.block_align
        first = max(0, start - self._shape.data_start)
        last = min(size, start + len(block) - self._shape.data_start)
        if last <= first:
            return
        offset = self._shape.data_start - start
        samples = memoryview(block)[first + offset : last + offset]
        self._digest.update(samples)
        if not self._problem:
            try:
                self._problem = self._decoded_otherwise(first, samples)
            except RuntimeError as error:
                self._problem = f"libsndfile cannot read it: {error}"

    def _decoded_otherwise(self, first: int, data: memoryview) -> str:
        """Return what libsndfile makes otherwise of the last samples of a block; nothing where it agrees.

        Args:
            first: byte of the block, from the first sample on.
            data: all of it; samples may begin before it and end after it.
        """
        width, bits = self._shape.pcm.block_align, self._shape.pcm.container_bits
        end = (first + len(data)) // width
        begin = max(-(-first // width), end - DECODED)
        if end <= begin:
            return ""
        if self._sound is None:
            # By name libsndfile opens no file in a folder whose name is no UTF-8.
            raw = self._files.enter_context(self._path.open("rb", buffering=0))
            self._sound = self._files.enter_context(open_sound(raw.fileno(), self._shape.frames))
        own = unpack_samples(data[begin * width - first : end * width - first], bits) << (32 - bits)
        self._sound.seek(begin)
        found = self._block[: self._sound.buffer_read_into(self._block[: end - begin], "int32")]
        return "" if np.array_equal(found, own) else f"libsndfile finds other samples from {begin} to {end}"
