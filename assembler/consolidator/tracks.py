"""Delivered tracks as Broadcast WAV files: rendered, metered and written in one pass over the samples."""

from __future__ import annotations

import hashlib
from typing import IO, TYPE_CHECKING

import numpy as np

from assembler.consolidator.metering import TrackMeter
from assembler.consolidator.rendering import SpanReader, TrackRenderer, sample_format
from assembler.record.embedded.metadata import TrackMetadata
from assembler.record.record import levels_record
from assembler.record.recorded.tracks import RecordedLevels
from assembler.record.written import WrittenTrack
from assembler.sheet import file_name, sheet_error
from assembler.wave import LARGEST_RIFF, PcmFormat, pack_samples, wave_header, wave_trailer

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from concurrent.futures import Executor

    from assembler.aligner import DeliveredTrack, Edit, TrackEdit
    from assembler.arrays import Int32s
    from assembler.consolidator.publishing import Staging
    from assembler.importer import ImportedPass
    from assembler.record.recorded.tracks import RecordedTrack
    from assembler.record.recorded.whole import RecordedSet
    from assembler.sheet import Sheet

BLOCK_BYTES = 1 << 26
"""All tracks of one block together, in memory as 32-bit numbers."""
LARGEST_BLOCK = 1 << 17


def track_file_names(tracks: Sequence[DeliveredTrack]) -> list[str]:
    """Return the path of each track inside the payload: number and name, so that a listing is in tape order."""
    digits = max(2, len(str(max(track.number for track in tracks))))
    return [f"tracks/{track.number:0{digits}d}_{file_name(track.name)}.wav" for track in tracks]


def pass_reader(track: DeliveredTrack, passes: Sequence[ImportedPass]) -> SpanReader:
    """Return what reads any pass's samples for one delivered track."""
    sources = {
        one.name: (one.audio, track.tape_tracks[one.reel]) for one in passes if one.reel in track.tape_tracks
    }

    def read(pass_name: str, start: int, count: int) -> Int32s:
        audio, tape_track = sources[pass_name]
        return audio.read(tape_track, start, count)

    return read


def write_tracks(
    staging: Staging,
    sheet: Sheet,
    edit: Edit,
    plan: RecordedSet,
    executor: Executor,
    advance: Callable[[float], None],
    *,
    largest_riff: int = LARGEST_RIFF,
) -> list[WrittenTrack]:
    """Write all tracks of the set side by side, block by block.

    Args:
        staging: the set in the making.
        sheet: the session.
        edit: what to write.
        plan: the same as the record will have it; what is embedded in the tracks follows from it.
        executor: runs the tracks side by side.
        advance: called with the share of the samples written.
        largest_riff: size in bytes past which a file becomes RF64.
    """
    names = track_file_names([track.track for track in edit.tracks])
    passes = [one.imported for one in edit.passes]
    writers = [
        _TrackWriter(staging, sheet, edit, track, name, passes, plan, planned, largest_riff)
        for track, name, planned in zip(edit.tracks, names, plan.tracks, strict=True)
    ]
    block = min(LARGEST_BLOCK, max(4096, BLOCK_BYTES // (4 * len(writers))))
    for start in range(0, edit.length, block):
        end = min(edit.length, start + block)
        list(executor.map(lambda writer: writer.write(start, end), writers))  # noqa: B023 - run at once
        advance(end / edit.length)
    return [writer.finish() for writer in writers]


class _TrackWriter:
    """One track file while it is written. The header is written twice: loudness and UMID are known last."""

    def __init__(
        self,
        staging: Staging,
        sheet: Sheet,
        edit: Edit,
        track: TrackEdit,
        name: str,
        passes: Sequence[ImportedPass],
        plan: RecordedSet,
        planned: RecordedTrack,
        largest_riff: int,
    ) -> None:
        word_length = sheet.deliver.word_length
        self._track, self._name, self._frames = track, name, edit.length
        self._pcm = PcmFormat(1, sheet.session.sample_rate, word_length, word_length)
        self._plan, self._planned, self._largest_riff = plan, planned, largest_riff
        self._sheet, self._quantised = sheet, sample_format(word_length, sheet.session.bit_depth)
        self._renderer = TrackRenderer(track, pass_reader(track.track, passes), self._quantised)
        self._meter = TrackMeter(sheet.session.sample_rate, 2.0 ** (word_length - 1))
        self._digest = hashlib.sha256()
        self._file: IO[bytes] = staging.open(f"data/{name}")
        self._header_size = self._file.write(self._header(planned))

    def write(self, start: int, end: int) -> None:
        samples = self._renderer.block(start, end)
        self._check_depth(samples, start)
        self._meter.update(samples)
        data = pack_samples(samples, self._pcm.container_bits)
        self._digest.update(data)
        self._file.write(data)

    def _check_depth(self, samples: Int32s, start: int) -> None:
        """Refuse bits below the tape's own: they are not dropped, and a set of 20 bits may not hold them."""
        if self._quantised.step == 1:
            return
        finer = np.bitwise_and(samples, self._quantised.step - 1)
        if finer.any():
            at, session = start + int(np.flatnonzero(finer)[0]), self._sheet.session
            problem = (
                f"found {session.bit_depth}; sample {at} of track {self._track.track.name}, as the captures have it, "
                "uses bits below that; allowed: 24"
            )
            raise sheet_error(self._sheet, session, "bit_depth", problem)

    def finish(self) -> WrittenTrack:
        levels = self._meter.result()
        self._file.write(wave_trailer(self._pcm, self._frames))
        measured = {
            "levels": RecordedLevels.model_validate(levels_record(levels)),
            "audio_sha256": self._digest.hexdigest(),
        }
        header = self._header(self._planned.model_copy(update=measured))
        if len(header) != self._header_size:
            raise AssertionError("the header's size must not depend on what is measured")
        self._file.seek(0)
        self._file.write(header)
        self._file.close()
        return WrittenTrack(self._track, self._name, levels, self._digest.hexdigest())

    def _header(self, track: RecordedTrack) -> bytes:
        chunks = TrackMetadata(self._plan, track).chunks()
        return wave_header(self._pcm, self._frames, chunks, largest_riff=self._largest_riff)
