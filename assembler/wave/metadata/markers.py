"""Markers: the ``cue `` chunk and the ``LIST adtl`` chunk that names its points.

Source: Multimedia Programming Interface and Data Specifications 1.0 (IBM and Microsoft, 1991), WAVE,
"Cue-Points Chunk" and "Associated Data Chunk". The purpose of a stretch is ``scrp``, script text,
which that document names.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import TYPE_CHECKING

from assembler.errors import WaveError
from assembler.wave.metadata.lists import join_list, split_list
from assembler.wave.metadata.text import transliterate

if TYPE_CHECKING:
    from collections.abc import Sequence

_COUNT = struct.Struct("<I")
_POINT = struct.Struct("<II4sIII")  # name, position, fccChunk, chunk start, block start, sample offset
_STRETCH = struct.Struct("<II4sHHHH")  # name, length, purpose, country, language, dialect, code page
_LARGEST = 0xFFFFFFFF


@dataclass(frozen=True)
class Marker:
    """A named place in a file.

    Attributes:
        sample: frame from the file's first, from 0.
        length: frames the marker covers; 0 for a point.
        label: what programs show beside it.
        note: a longer remark, or nothing.
    """

    sample: int
    length: int
    label: str
    note: str = ""


def encode_markers(markers: Sequence[Marker], purpose: bytes = b"scrp") -> list[tuple[str, bytes]]:
    """Return the ``cue `` and ``LIST`` chunks that hold ``markers``, in their order; none for none.

    Points are numbered from 1. Labels and notes are put on one line and transliterated to ASCII, because RIFF
    names no character set.

    Args:
        markers: in any order.
        purpose: of a stretch, four letters.

    Raises:
        WaveError: a place or length is negative or past the 32 bits that the chunk has for it.
    """
    if not markers:
        return []
    # All labels stand before the rest: ffmpeg reads them up to the first entry of another kind.
    points, labels, notes, stretches = [_COUNT.pack(len(markers))], [], [], []
    for name, marker in enumerate(markers, start=1):
        if not (0 <= marker.sample <= _LARGEST and 0 <= marker.length <= _LARGEST):
            raise WaveError(
                f"marker at sample {marker.sample}, length {marker.length}: a cue chunk has 32 bits for each"
            )
        points.append(_POINT.pack(name, marker.sample, b"data", 0, 0, marker.sample))
        labels.append(("labl", _encode_text(name, marker.label)))
        if marker.note:
            notes.append(("note", _encode_text(name, marker.note)))
        if marker.length:
            stretches.append(("ltxt", _STRETCH.pack(name, marker.length, purpose, 0, 0, 0, 0)))
    return [("cue ", b"".join(points)), ("LIST", join_list("adtl", labels + notes + stretches))]


def decode_markers(cue: bytes, adtl: bytes) -> tuple[Marker, ...]:
    """Return the markers that a ``cue `` payload places and a ``LIST adtl`` payload names.

    Args:
        cue: payload of the ``cue `` chunk.
        adtl: payload of the LIST chunk of type adtl; empty if the file has none.

    Raises:
        WaveError: a chunk is cut off, or the list is of another type.
    """
    labels, notes, lengths = _decode_list(adtl) if adtl else ({}, {}, {})
    if len(cue) < _COUNT.size:
        raise WaveError(f"the cue chunk has {len(cue)} bytes, at least {_COUNT.size} are needed")
    count = _COUNT.unpack_from(cue)[0]
    room = (len(cue) - _COUNT.size) // _POINT.size
    if count > room:
        raise WaveError(f"the cue chunk says {count} points, it has room for {room}")
    markers = []
    for index in range(count):
        name, _, _, _, _, sample = _POINT.unpack_from(cue, _COUNT.size + index * _POINT.size)
        markers.append(Marker(sample, lengths.get(name, 0), labels.get(name, ""), notes.get(name, "")))
    return tuple(markers)


def _encode_text(name: int, text: str) -> bytes:
    return _COUNT.pack(name) + transliterate(" ".join(text.splitlines())).encode("ascii") + b"\0"


def _decode_list(adtl: bytes) -> tuple[dict[int, str], dict[int, str], dict[int, int]]:
    """Return the labels, notes and lengths by the number of their point."""
    labels: dict[int, str] = {}
    notes: dict[int, str] = {}
    lengths: dict[int, int] = {}
    for kind, payload in split_list(adtl, "adtl"):
        if kind in {"labl", "note"} and len(payload) >= _COUNT.size:
            texts = labels if kind == "labl" else notes
            texts[_COUNT.unpack_from(payload)[0]] = payload[4:].partition(b"\0")[0].decode("latin-1")
        elif kind == "ltxt" and len(payload) >= _STRETCH.size:
            name, length = _STRETCH.unpack_from(payload)[:2]
            lengths[name] = length
    return labels, notes, lengths
