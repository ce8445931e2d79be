"""One delivered track held against the record: its header and metadata, then every sample as libsndfile decodes it.

A track may come from anywhere. Its samples are read only where its header says what the record says, so that no more
is read than the record has, in blocks.
"""

from __future__ import annotations

import hashlib
import os
from typing import TYPE_CHECKING, Final

import numpy as np
import soundfile

from assembler.consolidator.rendering import sample_format
from assembler.errors import WaveError
from assembler.inputs import InputFile
from assembler.record.faults import header_faults, shape_faults
from assembler.wave import WaveFile

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assembler.arrays import Int32s
    from assembler.consolidator.folder import SetFolder
    from assembler.record.recorded.tracks import RecordedTrack
    from assembler.record.recorded.whole import RecordedSet

BLOCK: Final = 1 << 16
METADATA_ROOM: Final = 32 << 20
"""Bytes that a track may have besides its samples."""


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


def track_faults(folder: SetFolder, record: RecordedSet, track: RecordedTrack) -> tuple[str, ...]:
    """Return what is wrong with a track, in the order found."""
    try:
        with open_track(folder, track) as file:
            misshapen = any(shape_faults(record, file))
            found = list(header_faults(record, track, file))
    except WaveError as error:
        return (error.problem,)
    if not misshapen:
        try:
            found += _sample_faults(folder, record, track)
        except (soundfile.LibsndfileError, RuntimeError) as error:
            found.append(f"libsndfile cannot read it: {error}")
        except OSError as error:
            found.append(f"cannot be read: {error.strerror}")
    return tuple(found)


def _sample_faults(folder: SetFolder, record: RecordedSet, track: RecordedTrack) -> Iterator[str]:
    """Yield what shows that the samples, as libsndfile decodes them, are not those of the record."""
    running = hashlib.sha256()
    word_length = record.session.word_length
    # Bits below the tape's own that a delivered sample never has.
    spare = (sample_format(word_length, record.session.bit_depth).step - 1) << (32 - word_length)
    first_spare: int | None = None
    done = 0
    for samples in _decoded(folder, track_name(track), record.length):
        if spare and first_spare is None and np.bitwise_and(samples, spare).any():
            first_spare = done + int(np.flatnonzero(np.bitwise_and(samples, spare))[0])
        running.update(_packed(samples, word_length))
        done += samples.size
    if running.hexdigest() != track.audio_sha256:
        yield "data chunk: samples are not those of audio_sha256 in assembly.json"
    if first_spare is not None:
        yield f"sample {first_spare} uses bits below the {record.session.bit_depth} of the tape"


def _decoded(folder: SetFolder, name: str, length: int) -> Iterator[Int32s]:
    """Yield the samples of a track of one channel in blocks, each good until the next is asked for."""
    block = np.empty(BLOCK, np.int32)
    with os.fdopen(folder.open(name), "rb", buffering=0) as raw, _sound(raw.fileno()) as file:
        if file.channels != 1 or file.frames != length:
            raise RuntimeError(f"it finds {file.frames} frames of {file.channels} channels")
        while count := file.buffer_read_into(block, "int32"):
            yield block[:count]


def _sound(descriptor: int) -> soundfile.SoundFile:
    return soundfile.SoundFile(descriptor, closefd=False)


def _packed(samples: Int32s, word_length: int) -> bytes:
    """Return samples as the bytes of a data chunk: of what libsndfile gives, full-scale numbers, the upper ones."""
    width = word_length // 8
    planes = samples.astype("<i4", copy=False).view(np.uint8).reshape(-1, 4)
    packed = np.empty((samples.size, width), np.uint8)
    for place in range(width):  # plane by plane: four times as fast as the slice at once
        packed[:, place] = planes[:, 4 - width + place]
    return packed.tobytes()
