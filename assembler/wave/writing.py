"""The bytes around the samples of a WAV file that this package writes.

The order is: form, ``JUNK`` (or ``ds64`` in its place), ``bext``, ``fmt ``, everything else, ``data``. A file that
grows past 4 GiB turns into RF64 without a byte moving: the header only changes its values.

Every payload before the samples is even, since a common reader of RF64 forgets the pad byte of an odd one and loses
its place. An odd number of 24-bit mono samples cannot be even, and a sample more would be one that no tape has. So the
data chunk is the last: its pad byte is written and counted as RIFF asks, and a reader that forgets it has nothing left
to lose.

What stands before the samples has to be small, which is for the caller to see to: libsndfile refuses a file of whose
chunks it would have to hold more than 100 KiB.

Sources: Multimedia Programming Interface and Data Specifications 1.0 (IBM and Microsoft, 1991), chapter RIFF;
EBU Tech 3306 and ITU-R BS.2088 Annex 1 (``ds64``, and the ``JUNK`` chunk that keeps its place).
"""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING

from assembler.errors import WaveError
from assembler.wave.chunks import SIZE_ELSEWHERE
from assembler.wave.format import encode_format
from assembler.wave.metadata.text import is_plain

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.wave.format import PcmFormat

# The largest size that is no mark for "look into ds64".
LARGEST_RIFF = 0xFFFFFFFE

_CHUNK_HEADER = struct.Struct("<4sI")
_DS64 = struct.Struct("<QQQI")
_OWN_CHUNKS = {"fmt ", "data", "JUNK", "ds64"}


def wave_header(
    pcm: PcmFormat, frames: int, chunks: Sequence[tuple[str, bytes]], *, largest_riff: int = LARGEST_RIFF
) -> bytes:
    """Return all bytes of a WAV file up to its first sample.

    Their number depends only on the sizes of the payloads: a header for 0 frames keeps the place of the final
    one.

    Args:
        pcm: the format of the samples; always written as plain PCM.
        frames: frames that the data chunk holds.
        chunks: names and payloads in the order they are to have; ``bext`` goes before ``fmt ``.
        largest_riff: RIFF size past which the file becomes RF64.

    Raises:
        WaveError: a payload is odd, a name is not four ASCII characters or one that the header writes itself,
            the format is not 16 or 24 bit, or there are fewer than no frames.
    """
    _check_chunks(chunks)
    if frames < 0:
        raise WaveError(f"{frames} frames; 0 or more are needed")
    data_size = frames * pcm.block_align
    before = [_encode_chunk(name, payload) for name, payload in chunks if name == "bext"]
    behind = [_encode_chunk(name, payload) for name, payload in chunks if name != "bext"]
    body = b"".join([*before, _encode_chunk("fmt ", encode_format(pcm)), *behind])
    riff_size = (
        4 + _CHUNK_HEADER.size + _DS64.size + len(body) + _CHUNK_HEADER.size + data_size + data_size % 2
    )
    if riff_size <= largest_riff:
        form = _CHUNK_HEADER.pack(b"RIFF", riff_size)
        sizes = _encode_chunk("JUNK", bytes(_DS64.size))
        data = _CHUNK_HEADER.pack(b"data", data_size)
    else:
        form = _CHUNK_HEADER.pack(b"RF64", SIZE_ELSEWHERE)
        sizes = _encode_chunk("ds64", _DS64.pack(riff_size, data_size, frames, 0))
        data = _CHUNK_HEADER.pack(b"data", SIZE_ELSEWHERE)
    return b"".join([form, b"WAVE", sizes, body, data])


def wave_trailer(pcm: PcmFormat, frames: int) -> bytes:
    """Return what follows the last sample: the pad byte of an odd data chunk, or nothing."""
    return b"\0" * (frames * pcm.block_align % 2)


def _check_chunks(chunks: Sequence[tuple[str, bytes]]) -> None:
    for name, payload in chunks:
        if len(name) != 4 or not is_plain(name) or name in _OWN_CHUNKS:
            raise WaveError(
                f"chunk name {name!r}; four ASCII characters are needed, and no name of the header's own"
            )
        if len(payload) % 2:
            raise WaveError(f"the {name.strip()} chunk has {len(payload)} bytes; an even number is needed")


def _encode_chunk(name: str, payload: bytes) -> bytes:
    return _CHUNK_HEADER.pack(name.encode("ascii"), len(payload)) + payload
