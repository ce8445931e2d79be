"""One delivered track as a Broadcast WAV file: rendered, metered, written in one pass over the samples, read back."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import IO, TYPE_CHECKING

import numpy as np

from assembler.consolidator.metering import TrackMeter
from assembler.consolidator.tracks.rendering import TrackRenderer, pass_reader, sample_format
from assembler.consolidator.tracks.returned import ReadBack, WrittenShape, read_track
from assembler.consolidator.viewing import Choice, MadeView, TrackSources, TrackViewer
from assembler.publishing.staged import abandon
from assembler.record.embedded.metadata import TrackMetadata
from assembler.record.record import levels_record
from assembler.record.recorded.tracks import RecordedLevels
from assembler.record.written import WrittenTrack
from assembler.sheet import sheet_error
from assembler.wave import PcmFormat, pack_samples, wave_header, wave_trailer

if TYPE_CHECKING:
    from collections.abc import Callable

    from assembler.aligner import TrackEdit
    from assembler.arrays import Int32s
    from assembler.importer import ImportedPass
    from assembler.publishing.staged import StagedFiles
    from assembler.record.recorded.tracks import RecordedTrack
    from assembler.record.recorded.whole import RecordedSet
    from assembler.sheet import Sheet

BLOCK_SAMPLES = 1 << 17
"""2.7 s at 48 kHz."""

WRITING = 0.8
"""Share of a track's work that is done once it is written."""


@dataclass(frozen=True)
class TrackWork:
    """All that writing one track takes; captures stand in it by path.

    Args:
        files: of the set in the making.
        sheet: the session.
        track: what to write.
        name: of the file inside the payload.
        frames: samples of the track.
        passes: whose samples it has.
        plan: the set as the record will have it, but for what is measured.
        planned: the track in it.
        largest_riff: size in bytes past which a file becomes RF64.
        sources: what is shown of the track.
        choices: places where it is; none where no page shows them.
    """

    files: StagedFiles
    sheet: Sheet
    track: TrackEdit
    name: str
    frames: int
    passes: tuple[ImportedPass, ...]
    plan: RecordedSet
    planned: RecordedTrack
    largest_riff: int
    sources: TrackSources
    choices: tuple[Choice, ...]


@dataclass(frozen=True)
class DoneTrack:
    """A track that stands on the disk.

    Args:
        path: inside the set.
        written: what was measured.
        views: of places.
        read_back: what the disk gave back.
    """

    path: str
    written: WrittenTrack
    views: tuple[MadeView, ...]
    read_back: ReadBack


def write_track(work: TrackWork, advance: Callable[[float], None]) -> DoneTrack:
    """Write one track, read it back, and return what was measured and seen on the way.

    Raises:
        CaptureError: a capture cannot be read.
        PublishError: the file cannot be written.
        SheetError: the samples are finer than the sheet says.
    """
    writer = _TrackWriter(work)
    try:
        for start in range(0, work.frames, BLOCK_SAMPLES):
            writer.write(start, min(work.frames, start + BLOCK_SAMPLES))
            advance(WRITING * min(1.0, (start + BLOCK_SAMPLES) / work.frames))
        written = writer.finish()
    finally:
        writer.close()
    path = f"data/{work.name}"
    read_back = read_track(work.files, path, writer.shape(), work.sheet.deliver.checksums)
    return DoneTrack(path, written, writer.viewer.views(), read_back)


class _TrackWriter:
    """One track file while it is written. The header is written twice: loudness and UMID are known last."""

    def __init__(self, work: TrackWork) -> None:
        sheet, word_length = work.sheet, work.sheet.deliver.word_length
        self._work = work
        self._pcm = PcmFormat(1, sheet.session.sample_rate, word_length, word_length)
        self._quantised = sample_format(word_length, sheet.session.bit_depth)
        self.viewer = TrackViewer(work.sources, work.choices)
        reader = self.viewer.listening(pass_reader(work.track.track, work.passes))
        self._renderer = TrackRenderer(work.track, reader, self._quantised)
        self._meter = TrackMeter(sheet.session.sample_rate, 2.0 ** (word_length - 1))
        self._digest = hashlib.sha256()
        self._file: IO[bytes] = work.files.open(f"data/{work.name}")
        self._header_size = self._file.write(self._header(work.planned))

    def write(self, start: int, end: int) -> None:
        samples = self._renderer.block(start, end)
        self._check_depth(samples, start)
        self._meter.update(samples)
        self.viewer.take(start, samples)
        data = pack_samples(samples, self._pcm.container_bits)
        self._digest.update(data)
        self._file.write(data)

    def _check_depth(self, samples: Int32s, start: int) -> None:
        """Refuse bits below the tape's own: they are not dropped, and a set of 20 bits may not hold them."""
        if self._quantised.step == 1:
            return
        finer = np.bitwise_and(samples, self._quantised.step - 1)
        if finer.any():
            at, session = start + int(np.flatnonzero(finer)[0]), self._work.sheet.session
            problem = (
                f"found {session.bit_depth}; sample {at} of track {self._work.track.track.name}, as the captures "
                "have it, uses bits below that; allowed: 24"
            )
            raise sheet_error(self._work.sheet, session, "bit_depth", problem)

    def finish(self) -> WrittenTrack:
        levels = self._meter.result()
        self._file.write(wave_trailer(self._pcm, self._work.frames))
        measured = {
            "levels": RecordedLevels.model_validate(levels_record(levels)),
            "audio_sha256": self._digest.hexdigest(),
        }
        header = self._header(self._work.planned.model_copy(update=measured))
        if len(header) != self._header_size:
            raise AssertionError("the header's size must not depend on what is measured")
        self._file.seek(0)
        self._file.write(header)
        self._file.close()
        return WrittenTrack(self._work.track, self._work.name, levels, self._digest.hexdigest())

    def shape(self) -> WrittenShape:
        """Return where the samples stand in the file."""
        return WrittenShape(self._pcm, self._work.frames, self._header_size)

    def close(self) -> None:
        """Close the file; where it is not finished nothing more is written to it."""
        abandon(self._file)

    def _header(self, track: RecordedTrack) -> bytes:
        chunks = TrackMetadata(self._work.plan, track).chunks()
        return wave_header(self._pcm, self._work.frames, chunks, largest_riff=self._work.largest_riff)
