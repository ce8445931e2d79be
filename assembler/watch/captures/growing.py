"""A WAV file that is being recorded: its header says too little, and it holds more each time it is looked at.

Recorders write sizes of 0 or 0xFFFFFFFF first, or those of the last time they emptied their buffers, and the right
ones when they stop. Until then all that follows the head of the data chunk is samples.
"""

from __future__ import annotations

import os
from dataclasses import replace
from typing import TYPE_CHECKING

from assembler.errors import WaveError
from assembler.importer import PassAudio
from assembler.inputs import FileState
from assembler.wave import WaveFile, read_info

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path
    from typing import BinaryIO

    from assembler.wave import WaveInfo


class GrowingWave(WaveFile):
    """An open WAV file that may grow.

    Args:
        path: the file; it is opened read-only.

    Attributes:
        info: what it says about itself, with the samples that it holds by now.
        is_final: whether its header says just what it holds.

    Raises:
        WaveError: as for ``WaveFile``.
    """

    def __init__(self, path: Path) -> None:
        super().__init__(path)
        self.is_final = False
        self._state: FileState | None = None
        try:
            self.refresh()
        except WaveError:
            self.close()
            raise

    def refresh(self) -> bool:
        """Look at the file again; return whether it was written to since.

        Raises:
            WaveError: it has become shorter, or can no longer be read.
        """
        try:
            state = FileState.of(self.source.descriptor)
            if state == self._state:
                return False
            if self._state is not None and state.size < self._state.size:
                raise WaveError("has become shorter", path=self.path)
            with os.fdopen(self.source.descriptor, "rb", closefd=False) as stream:
                info = read_info(stream)
                is_final = not info.chunk_map.faults
                if not is_final and not _has_chunks_behind(stream, info):
                    info = replace(info, frames=(state.size - info.data_start) // info.format.block_align)
        except OSError as error:
            raise WaveError(f"cannot be read: {error.strerror}", path=self.path) from error
        self._state = state
        self.is_final = is_final
        self.info = info
        return True

    def fate(self) -> str:
        """Return what became of the file's name: "" while it stands for this file, else what happened to it."""
        try:
            there = FileState.of(self.path)
        except OSError:
            return "vanished"
        own = self._state
        same = own is not None and (there.device, there.inode) == (own.device, own.inode)
        return "" if same else "replaced"


def _has_chunks_behind(stream: BinaryIO, info: WaveInfo) -> bool:
    """Return whether whole chunks stand after the samples; samples look like the head of one now and then."""
    behind = [chunk for chunk in info.chunk_map.chunks if chunk.start > info.data_start]
    for chunk in behind:
        stream.seek(chunk.start - 4)
        if int.from_bytes(stream.read(4), "little") > chunk.size:
            return False
    return bool(behind)


def audio_of(files: Sequence[GrowingWave], bits: int) -> PassAudio:
    """Return the tracks of a capture's files one after another, as far as they have grown; values have so many bits."""
    channels = [
        (number, channel) for number, file in enumerate(files) for channel in range(file.info.format.channels)
    ]
    return PassAudio(files, channels, bits)


def settled_at(paths: Sequence[Path]) -> float:
    """Return when any of some files was written to last, in seconds since 1970; 0 where none is there."""
    times = [0.0]
    for path in paths:
        try:
            times.append(path.stat().st_mtime)
        except OSError:
            continue
    return max(times)


def is_finished(paths: Sequence[Path], now: float, patience: tuple[float, float]) -> bool:
    """Return whether nobody is writing to files that are seen for the first time.

    Args:
        paths: the files of a capture.
        now: seconds since 1970.
        patience: seconds without a change after which one with final headers is finished, and any.
    """
    age = now - settled_at(paths)
    return age >= patience[1] or (age >= patience[0] and all(_is_final(path) for path in paths))


def _is_final(path: Path) -> bool:
    try:
        with WaveFile(path) as file:
            return not file.info.chunk_map.faults
    except WaveError:
        return False
