"""A capture's WAV file: what it says about itself, and its samples wherever they are asked for.

Files are opened read-only. Nothing is held in memory but what was asked for.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from typing import TYPE_CHECKING, BinaryIO, Self

from assembler.errors import CaptureError, WaveError
from assembler.inputs import InputFile
from assembler.wave.chunks import read_chunks
from assembler.wave.format import parse_format
from assembler.wave.metadata.bext import decode_bext
from assembler.wave.samples import PackedSamples

if TYPE_CHECKING:
    from pathlib import Path
    from types import TracebackType

    from assembler.arrays import Int32s
    from assembler.wave.chunks import Chunk, ChunkMap
    from assembler.wave.format import PcmFormat
    from assembler.wave.metadata.bext import BroadcastExtension

# Metadata is read whole, up to this many bytes; a coding history or a picture is far below.
_LARGEST_METADATA = 16 << 20


@dataclass(frozen=True)
class WaveInfo:
    """What a WAV file says about itself, and what of it is really there.

    Attributes:
        format: how the samples lie.
        frames: whole frames that are really in the file.
        data_start: byte of the first sample.
        chunk_map: all chunks.
        bext: the broadcast extension, if the file has one that can be read.
        faults: what is wrong with the file but did not keep it from being read, in plain words.
    """

    format: PcmFormat
    frames: int
    data_start: int
    chunk_map: ChunkMap
    bext: BroadcastExtension | None
    faults: tuple[str, ...]


def read_info(stream: BinaryIO) -> WaveInfo:
    """Return what a WAV stream says about itself; samples are not read.

    Args:
        stream: open for reading, seekable.

    Raises:
        WaveError: not a WAV file, no ``fmt `` or ``data`` chunk, ``fmt `` after ``data``, or samples in a
            form that is not 16 or 24 bit PCM. A cut-off file is no error: ``frames`` counts what is there,
            and ``faults`` tells.
    """
    chunk_map = read_chunks(stream)
    format_chunk, data = chunk_map.first("fmt "), chunk_map.first("data")
    if data is None:
        told = f" ({chunk_map.faults[-1]})" if chunk_map.faults else ""
        raise WaveError(f"the file has no data chunk, so no samples{told}")
    if format_chunk is None:
        raise WaveError("the file has no fmt chunk, so its samples cannot be read")
    if format_chunk.start > data.start:
        raise WaveError(
            "the fmt chunk stands after the data chunk; it must come first",
            place=f"byte {format_chunk.start}",
        )
    format_payload = _read_at(stream, format_chunk, 64)
    pcm = parse_format(format_payload)
    frames, rest = divmod(data.size, pcm.block_align)
    faults = [*chunk_map.faults, *_format_faults(format_payload, pcm), *_repeated(chunk_map)]
    if rest:
        faults.append(f"the data chunk ends inside a frame: {rest} of {pcm.block_align} bytes left over")
    bext, bext_faults = _read_bext(stream, chunk_map)
    return WaveInfo(pcm, frames, data.start, chunk_map, bext, (*faults, *bext_faults))


class WaveFile:
    """An open WAV file whose samples can be read from several threads at once.

    Args:
        path: the file, or it open already; it is opened read-only, and closed by ``close`` or at the end of a
            ``with`` block.

    Attributes:
        source: the open file, for its digest and the proof that it is unchanged.
        info: what it says about itself.

    Raises:
        WaveError: the file cannot be opened or is not a WAV file that ``read_info`` accepts; ``path`` is in
            the error.
    """

    def __init__(self, path: Path | str | InputFile) -> None:
        try:
            self.source = path if isinstance(path, InputFile) else InputFile(path)
        except CaptureError as error:
            raise WaveError(error.problem, path=error.path) from error
        try:
            with os.fdopen(self.source.descriptor, "rb", closefd=False) as stream:
                self.info = read_info(stream)
        except WaveError as error:
            self.close()
            raise WaveError(error.problem, path=self.path, place=error.place) from error
        except OSError as error:
            self.close()
            raise WaveError(f"cannot be read: {error.strerror}", path=self.path) from error

    @property
    def path(self) -> Path:
        """The file, as it was named."""
        return self.source.path

    def __enter__(self) -> Self:
        """Return the file itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the file."""
        self.close()

    def close(self) -> None:
        """Close the file; once is enough, more does no harm."""
        self.source.close()

    def read(self, start: int, count: int) -> Int32s:
        """Return ``count`` frames from frame ``start`` on.

        Returns:
            Shape (count, channels), C order, right-justified at the container's word length.

        Raises:
            ValueError: the range is not inside the file.
            WaveError: the disk fails, or the file has become shorter since it was opened.
        """
        return self.read_packed(start, count).unpacked().reshape(count, self.info.format.channels)

    def read_packed(self, start: int, count: int) -> PackedSamples:
        """Return ``count`` frames from frame ``start`` on as they stand in the file. Raises as ``read`` does."""
        if start < 0 or count < 0 or start + count > self.info.frames:
            raise ValueError(f"frames {start} to {start + count} of a file with {self.info.frames}")
        pcm = self.info.format
        data = self._read_bytes(self.info.data_start + start * pcm.block_align, count * pcm.block_align)
        return PackedSamples(data, pcm.container_bits)

    def read_chunk(
        self, name: str, list_type: str | None = None, most: int = _LARGEST_METADATA
    ) -> bytes | None:
        """Return the payload of the first chunk called ``name``, or None.

        Args:
            name: four characters.
            list_type: for ``LIST`` chunks, the type that is wanted: ``INFO`` or ``adtl``.
            most: bytes that are read.

        Raises:
            WaveError: the chunk has more bytes than that, or the disk fails.
        """
        for chunk in self.info.chunk_map.chunks:
            if chunk.name != name or (list_type is not None and not self._is_list(chunk, list_type)):
                continue
            if chunk.size > most:
                problem = f"the {name.strip()} chunk has {chunk.size} bytes, at most {most} are read"
                raise WaveError(problem, path=self.path)
            return self._read_bytes(chunk.start, chunk.size)
        return None

    def _is_list(self, chunk: Chunk, list_type: str) -> bool:
        return chunk.size >= 4 and self._read_bytes(chunk.start, 4) == list_type.encode("latin-1")

    def _read_bytes(self, start: int, count: int) -> bytes:
        try:
            return self.source.read(start, count)
        except CaptureError as error:
            raise WaveError(error.problem, path=error.path, place=error.place) from error


def _read_at(stream: BinaryIO, chunk: Chunk, most: int) -> bytes:
    stream.seek(chunk.start)
    return stream.read(min(chunk.size, most))


def _format_faults(payload: bytes, pcm: PcmFormat) -> list[str]:
    byte_rate = int.from_bytes(payload[8:12], "little")
    expected = pcm.sample_rate * pcm.block_align
    if byte_rate == expected:
        return []
    return [f"the fmt chunk says {byte_rate} bytes a second, {expected} is right"]


def _repeated(chunk_map: ChunkMap) -> list[str]:
    names = [chunk.name for chunk in chunk_map.chunks]
    return [
        f"{names.count(name)} {name.strip()} chunks; the first one is used"
        for name in ("fmt ", "data", "bext")
        if names.count(name) > 1
    ]


def _read_bext(stream: BinaryIO, chunk_map: ChunkMap) -> tuple[BroadcastExtension | None, list[str]]:
    chunk = chunk_map.first("bext")
    if chunk is None:
        return None, []
    if chunk.size > _LARGEST_METADATA:
        return None, [f"the bext chunk has {chunk.size} bytes and was not read"]
    try:
        return decode_bext(_read_at(stream, chunk, _LARGEST_METADATA)), []
    except WaveError as error:
        return None, [f"{error.problem}; it was not read"]
