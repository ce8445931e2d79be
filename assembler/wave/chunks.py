"""Finds the chunks of a RIFF/WAVE, RF64 or BW64 stream without reading what they hold.

Conventions: offsets are bytes from the start of the stream; a chunk's ``start`` is its payload's first byte,
and its ``size`` counts the payload bytes that are really there, so ``start + size`` never lies past the
stream's end.

A capture may come from a recorder that crashed or a program that wrote its sizes wrongly. What can be read
all the same is read, and each thing that was wrong is reported in ``faults``; an error is raised only where
nothing is left to use.

Sources: Multimedia Programming Interface and Data Specifications 1.0 (IBM and Microsoft, 1991), chapter RIFF;
EBU Tech 3306 (RF64); ITU-R BS.2088 (BW64).
"""

from __future__ import annotations

import os
import struct
from dataclasses import dataclass
from typing import TYPE_CHECKING, BinaryIO

from assembler.errors import WaveError

if TYPE_CHECKING:
    from collections.abc import Iterator

FORMS = ("RIFF", "RF64", "BW64")
SIZE_ELSEWHERE = 0xFFFFFFFF  # a 32-bit size that defers to the ds64 chunk (BS.2088 Annex 1)

LEAST_MORE = 4096
"""Bytes after the samples that are more of them: recorders empty larger buffers (common practice, no source)."""

# A capture has a dozen chunks. The limits only keep garbage from costing time or memory.
_MOST_CHUNKS = 4096
_MOST_DS64_ENTRIES = 256

_FORM_HEADER = struct.Struct("<4sI4s")
_CHUNK_HEADER = struct.Struct("<4sI")
_DS64 = struct.Struct("<QQQI")
_DS64_ENTRY = struct.Struct("<4sQ")


@dataclass(frozen=True)
class Chunk:
    """One chunk: its four-character name (latin-1), its payload's first byte, and how many bytes it has."""

    name: str
    start: int
    size: int

    @property
    def end(self) -> int:
        """The byte after the payload, before any pad byte."""
        return self.start + self.size


@dataclass(frozen=True)
class ChunkMap:
    """The form of a stream, its chunks in file order, and what was wrong but could be read all the same."""

    form: str
    chunks: tuple[Chunk, ...]
    faults: tuple[str, ...]

    def first(self, name: str) -> Chunk | None:
        """Return the first chunk called ``name``, or None."""
        return next((chunk for chunk in self.chunks if chunk.name == name), None)


def read_chunks(stream: BinaryIO) -> ChunkMap:
    """Return where the chunks of a WAVE stream lie.

    Payloads are seeked over, never read (the ds64 chunk aside), so the time taken depends on the number of
    chunks, which is limited, and not on the length of the stream.

    Args:
        stream: open for reading, seekable; it is read from its first byte, whatever its position.

    Returns:
        The form, the chunks, and the faults in plain words: a RIFF size that is not the file's, a chunk cut
        off by the end of the file, a data chunk whose size was never filled in, a missing pad byte, bytes
        that are no chunk.

    Raises:
        WaveError: the stream does not begin as a RIFF, RF64 or BW64 file of type WAVE.
    """
    length = stream.seek(0, os.SEEK_END)
    form, riff_size = _read_form(stream, length)
    walk = _Walk(stream, length)
    if form != "RIFF":
        riff_size = walk.read_long_sizes(riff_size)
    walk.form_end = riff_size + 8
    if riff_size + 8 != length:
        walk.faults.append(f"the {form} size says the file has {riff_size + 8} bytes, it has {length}")
    chunks = tuple(walk.chunks())
    return ChunkMap(form, chunks, tuple(walk.faults))


def _read_form(stream: BinaryIO, length: int) -> tuple[str, int]:
    """Return the form's name and its 32-bit size field."""
    stream.seek(0)
    head = stream.read(_FORM_HEADER.size)
    if not head:
        raise WaveError("an empty file, not a WAV file")
    if len(head) < _FORM_HEADER.size:
        raise WaveError(f"{length} bytes long, too short for a WAV file")
    name, size, kind = _FORM_HEADER.unpack(head)
    form = name.decode("latin-1")
    if form not in FORMS:
        raise WaveError(f"not a WAV file: it begins with {name!r}, where RIFF, RF64 or BW64 is needed")
    if kind != b"WAVE":
        raise WaveError(f"not a WAV file: a {form} file of type {kind!r}, where WAVE is needed")
    return form, size


class _Walk:
    """One walk over a stream: its length, its 64-bit sizes, and the faults met on the way."""

    def __init__(self, stream: BinaryIO, length: int) -> None:
        self._stream = stream
        self._length = length
        self._long_sizes: dict[str, int] = {}
        self.form_end = length
        self.faults: list[str] = []

    def read_long_sizes(self, riff_size: int) -> int:
        """Take the sizes of the ds64 chunk and return the RIFF size that holds."""
        payload = self._ds64_payload()
        if payload is None:
            self.faults.append(
                "no ds64 chunk at the start; a size past 4 GiB is taken from the file's length"
            )
            return self._length - 8 if riff_size == SIZE_ELSEWHERE else riff_size
        long_riff_size, data_size, _, entries = _DS64.unpack_from(payload)
        room = (len(payload) - _DS64.size) // _DS64_ENTRY.size
        if entries > room:
            self.faults.append(f"the ds64 chunk says {entries} entries, {room} could be read")
        for index in range(min(entries, room)):
            name, size = _DS64_ENTRY.unpack_from(payload, _DS64.size + index * _DS64_ENTRY.size)
            self._long_sizes.setdefault(name.decode("latin-1"), size)
        self._long_sizes["data"] = data_size
        return int(long_riff_size) if riff_size == SIZE_ELSEWHERE else riff_size

    def _ds64_payload(self) -> bytes | None:
        """Return the ds64 payload, which must be the first chunk's; None if it is not there or too short."""
        header = self._header(_FORM_HEADER.size)
        if header is None or header[0] != "ds64":
            return None
        payload = self._stream.read(min(header[1], _DS64.size + _MOST_DS64_ENTRIES * _DS64_ENTRY.size))
        return payload if len(payload) >= _DS64.size else None

    def chunks(self) -> Iterator[Chunk]:
        """Yield the chunks in file order, up to the end or to what is no chunk."""
        place = _FORM_HEADER.size
        for _ in range(_MOST_CHUNKS):
            header = self._header(place)
            if header is None:
                if place < self._length:
                    self.faults.append(f"{self._length - place} bytes from byte {place} on are no chunk")
                return
            chunk = self._present(header[0], place + _CHUNK_HEADER.size, self._true_size(*header))
            yield chunk
            place = self._after(chunk)
        self.faults.append(f"more than {_MOST_CHUNKS} chunks; what follows byte {place} was not looked at")

    def _header(self, place: int) -> tuple[str, int] | None:
        """Return the name and 32-bit size at ``place``, or None where no chunk header stands."""
        self._stream.seek(place)
        head = self._stream.read(_CHUNK_HEADER.size)
        if len(head) < _CHUNK_HEADER.size:
            return None
        name, size = _CHUNK_HEADER.unpack(head)
        # Names are printable ASCII, padded with blanks (RIFF chapter, "Chunks"); samples seldom look so.
        if not all(0x20 <= byte < 0x7F for byte in name):
            return None
        return name.decode("latin-1"), size

    def _true_size(self, name: str, size: int) -> int:
        return self._long_sizes.get(name, size) if size == SIZE_ELSEWHERE else size

    def _present(self, name: str, start: int, size: int) -> Chunk:
        """Return the chunk with the size that is really there; tell where it claims another."""
        there = self._length - start
        if size > there:
            self.faults.append(f"the {name.strip()} chunk says {size} bytes, the file ends after {there}")
            return Chunk(name, start, there)
        if name == "data" and self._goes_on(start, size):
            self.faults.append(
                f"the data chunk says {size} bytes, {there - size} follow that are no chunk: taken as samples"
            )
            return Chunk(name, start, there)
        return Chunk(name, start, size)

    def _goes_on(self, start: int, size: int) -> bool:
        """Tell whether samples stand after those that the data chunk counts.

        A recorder writes the sizes when it stops, or each time it empties its buffers; after a crash they are 0, or
        those of some time before, but the samples are there. Such a header claims nothing after the samples.
        """
        end = start + size
        if size == 0:
            return end < self._length and not self._follows(end)
        claims_more = end + size % 2 < self.form_end <= self._length
        is_chunk = self._follows(end) or self._follows(end + size % 2)
        return self._length - end >= LEAST_MORE and not claims_more and not is_chunk

    def _follows(self, place: int) -> bool:
        """Tell whether a chunk that fits into the file starts at ``place``."""
        header = self._header(place)
        return header is not None and self._true_size(*header) <= self._length - place - _CHUNK_HEADER.size

    def _after(self, chunk: Chunk) -> int:
        """Return where the next chunk's header is: past the pad byte of an odd payload, if it was written."""
        if chunk.size % 2 == 0 or chunk.end == self._length:
            return chunk.end
        if not self._follows(chunk.end + 1) and self._follows(chunk.end):
            self.faults.append(f"the {chunk.name.strip()} chunk has an odd size and no pad byte after it")
            return chunk.end
        return chunk.end + 1
