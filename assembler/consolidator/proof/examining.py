"""One delivered track held against the record: its header and metadata, then every sample as libsndfile decodes it.

A track may come from anywhere. Its samples are read only where its header says what the record says, so that no more
is read than the record has, in blocks.
"""

from __future__ import annotations

import hashlib
import os
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import soundfile

from assembler.consolidator.tracks.rendering import sample_format
from assembler.errors import WaveError
from assembler.inputs import InputFile
from assembler.record.faults import header_faults, shape_faults
from assembler.wave import WaveFile

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assembler.arrays import Int32s
    from assembler.consolidator.bag.folder import SetFolder
    from assembler.record.recorded.tracks import RecordedTrack
    from assembler.record.recorded.whole import RecordedSet

BLOCK: Final = 1 << 16
METADATA_ROOM: Final = 32 << 20
"""Bytes that a track may have besides its samples."""


@dataclass(frozen=True)
class Heard:
    """What the samples of a track are, and what libsndfile makes of them.

    Args:
        digest: of the samples as a data chunk holds them, SHA-256.
        first_spare: the first sample that uses bits below the tape's own, if any does.
        problem: why libsndfile does not read them, or as others; then nothing else holds.
    """

    digest: str = ""
    first_spare: int | None = None
    problem: str = ""


def track_name(track: RecordedTrack) -> str:
    """Return the path of a track inside its set."""
    return f"data/{track.file}"


def largest_track(record: RecordedSet) -> int:
    """Return how many bytes a track of the set has at most."""
    return record.length * record.session.word_length // 8 + METADATA_ROOM


def open_track(folder: SetFolder, track: RecordedTrack) -> WaveFile:
    """Return a track of a set, open.

    Raises:
        WaveError: it cannot be opened, or is no WAV file.
    """
    name = track_name(track)
    try:
        descriptor = folder.open(name)
    except OSError as error:
        raise WaveError(f"cannot be opened: {error.strerror}", path=name) from error
    return WaveFile(InputFile(name, descriptor))


def track_faults(
    folder: SetFolder, record: RecordedSet, track: RecordedTrack, heard: Heard | None = None
) -> tuple[str, ...]:
    """Return what is wrong with a track, in the order found.

    Args:
        folder: the set.
        record: of the set.
        track: in it.
        heard: its samples, where they were just read.
    """
    try:
        with open_track(folder, track) as file:
            misshapen = any(shape_faults(record, file))
            found = list(header_faults(record, track, file))
    except WaveError as error:
        return (error.problem,)
    if not misshapen:
        found += _sample_faults(heard or _heard(folder, record, track), record, track)
    return tuple(found)


def _sample_faults(heard: Heard, record: RecordedSet, track: RecordedTrack) -> Iterator[str]:
    """Yield what shows that the samples are not those of the record."""
    if heard.problem:
        yield heard.problem
        return
    if heard.digest != track.audio_sha256:
        yield "data chunk: samples are not those of audio_sha256 in assembly.json"
    if heard.first_spare is not None:
        yield f"sample {heard.first_spare} uses bits below the {record.session.bit_depth} of the tape"


def _heard(folder: SetFolder, record: RecordedSet, track: RecordedTrack) -> Heard:
    """Return what all samples of a track are as libsndfile decodes them."""
    running = hashlib.sha256()
    word_length = record.session.word_length
    # Bits below the tape's own that a delivered sample never has.
    spare = (sample_format(word_length, record.session.bit_depth).step - 1) << (32 - word_length)
    first_spare: int | None = None
    done = 0
    try:
        for samples in _decoded(folder, track_name(track), record.length):
            if spare and first_spare is None and np.bitwise_and(samples, spare).any():
                first_spare = done + int(np.flatnonzero(np.bitwise_and(samples, spare))[0])
            running.update(_packed(samples, word_length))
            done += samples.size
    except RuntimeError as error:  # libsndfile's own are such
        return Heard(problem=f"libsndfile cannot read it: {error}")
    except OSError as error:
        return Heard(problem=f"cannot be read: {error.strerror}")
    return Heard(running.hexdigest(), first_spare)


def _decoded(folder: SetFolder, name: str, length: int) -> Iterator[Int32s]:
    """Yield the samples of a track of one channel in blocks, each good until the next is asked for."""
    block = np.empty(BLOCK, np.int32)
    with os.fdopen(folder.open(name), "rb", buffering=0) as raw, open_sound(raw.fileno(), length) as file:
        while count := file.buffer_read_into(block, "int32"):
            yield block[:count]


def open_sound(descriptor: int, length: int) -> soundfile.SoundFile:
    """Return a track as libsndfile opens it.

    Args:
        descriptor: of its file, which stays open.
        length: samples that it has to have, in one channel.

    Raises:
        RuntimeError: it cannot be opened, or has another shape.
    """
    file = soundfile.SoundFile(descriptor, closefd=False)
    if file.channels != 1 or file.frames != length:
        found = f"it finds {file.frames} frames of {file.channels} channels"
        file.close()
        raise RuntimeError(found)
    return file


def _packed(samples: Int32s, word_length: int) -> bytes:
    """Return samples as the bytes of a data chunk: of what libsndfile gives, full-scale numbers, the upper ones."""
    width = word_length // 8
    planes = samples.astype("<i4", copy=False).view(np.uint8).reshape(-1, 4)
    packed = np.empty((samples.size, width), np.uint8)
    for place in range(width):  # plane by plane: four times as fast as the slice at once
        packed[:, place] = planes[:, 4 - width + place]
    return packed.tobytes()
