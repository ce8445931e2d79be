"""LIST chunks: a four-character list type, then small chunks inside.

Source: Multimedia Programming Interface and Data Specifications 1.0 (IBM and Microsoft, 1991), chapter RIFF.
"""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING

from assembler.errors import WaveError

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

_HEADER = struct.Struct("<4sI")


def join_list(list_type: str, chunks: Iterable[tuple[str, bytes]]) -> bytes:
    """Return the payload of a LIST chunk, always even: odd payloads inside get their pad byte.

    Args:
        list_type: four ASCII characters, for instance ``INFO``.
        chunks: names of four ASCII characters, and payloads.
    """
    parts = [list_type.encode("ascii")]
    for name, payload in chunks:
        parts += [_HEADER.pack(name.encode("ascii"), len(payload)), payload, b"\0" * (len(payload) % 2)]
    return b"".join(parts)


def split_list(payload: bytes, list_type: str) -> Iterator[tuple[str, bytes]]:
    """Yield the names and payloads of the chunks inside a LIST chunk.

    Raises:
        WaveError: the list is of another type, or a chunk inside runs past its end.
    """
    if payload[:4] != list_type.encode("ascii"):
        raise WaveError(f"a LIST chunk of type {payload[:4]!r}, where {list_type} is needed")
    place = 4
    while place + _HEADER.size <= len(payload):
        name, size = _HEADER.unpack_from(payload, place)
        place += _HEADER.size
        if size > len(payload) - place:
            there = len(payload) - place
            raise WaveError(
                f"the {name!r} chunk in LIST {list_type} says {size} bytes, the list ends after {there}"
            )
        yield name.decode("latin-1"), payload[place : place + size]
        place += size + size % 2
