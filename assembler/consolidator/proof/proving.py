"""The proof of a set against its captures: every delivered sample computed again, fades too, and measured again.

The samples are rendered from the captures by the spans and joins of the record, with the code that wrote the set;
what is compared with them is the delivered file.
"""

from __future__ import annotations

import math
from contextlib import ExitStack
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol

import numpy as np

from assembler.aligner import DeliveredTrack, Filled, Join, Runs, Span, TrackEdit
from assembler.consolidator.metering import TrackMeter
from assembler.consolidator.proof.examining import open_track, track_name
from assembler.consolidator.tracks.rendering import TrackRenderer, sample_format
from assembler.errors import AssemblerError, CaptureError
from assembler.importer import PassAudio
from assembler.inputs import InputFile
from assembler.record.faults import shape_faults
from assembler.record.record import levels_record
from assembler.timecode import format_sample, frame_rate
from assembler.wave import WaveFile

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from assembler.arrays import Int32s
    from assembler.consolidator.bag.folder import SetFolder
    from assembler.record.recorded.passes import RecordedPass
    from assembler.record.recorded.tracks import RecordedTrack
    from assembler.record.recorded.whole import RecordedSet
    from assembler.sheet import Sheet

BLOCK = 1 << 18
LEVEL_TOLERANCE = 2e-4
"""Levels stand in the record with four places; another machine's arithmetic may round the last one otherwise."""


class Tell(Protocol):
    """Takes one problem: the file, and what is wrong with its place."""

    def __call__(self, path: str, text: str) -> None:
        """Take it."""


def prove_set(
    folder: SetFolder, record: RecordedSet, sheet: Sheet, tell: Tell, advance: Callable[[float], None]
) -> int:
    """Compute every sample of a set again and return how many were found the same.

    Args:
        folder: the set's.
        record: its record.
        sheet: the sheet beside the captures.
        tell: called with each problem.
        advance: called with the share of the tracks done.
    """
    with ExitStack() as opened:
        captures = _Captures(sheet, tell, opened)
        sources: dict[str, PassAudio] = {}
        for one in record.passes:
            audio = _open_pass(one, record, captures)
            if audio is not None:
                sources[one.name] = audio
        if len(sources) < len(record.passes):
            return 0
        proved = 0
        for count, track in enumerate(record.tracks):
            proved += _prove_track(folder, record, track, sources, tell)
            advance((count + 1) / len(record.tracks))
        return proved if captures.are_unchanged() else 0


@dataclass(frozen=True)
class _Captures:
    """The captures and logs beside a sheet, open; what of them is not as the record has it is reported."""

    sheet: Sheet
    tell: Tell
    opened: ExitStack
    files: list[InputFile] = field(default_factory=list)

    def open(self, said: str, sha256: str | None, what: str) -> InputFile | None:
        """Return a file that is as the record has it; None after telling why there is none."""
        folder = self.sheet.folder
        path = folder.absolute() / said
        try:
            inside = path.resolve().is_relative_to(folder.resolve())
        except (OSError, RuntimeError, ValueError) as error:  # a loop of links; a NUL
            reason = error.strerror if isinstance(error, OSError) else str(error).partition(" from ")[0]
            self.tell(str(path), f"cannot be opened: {reason}")
            return None
        if not self.sheet.allow_outside and not inside:
            words = "lies outside the sheet's folder; --allow-outside lets it be read"
            self.tell(str(path), f"the {what} was built from {words}")
            return None
        try:
            file = self.opened.enter_context(InputFile(path))
            digest = file.sha256()
        except CaptureError as error:
            self.tell(str(path), error.problem)
            return None
        if digest != sha256:
            self.tell(str(path), f"is not the {what} was built from: its SHA-256 differs")
            return None
        self.files.append(file)
        return file

    def are_unchanged(self) -> bool:
        """Tell each file that is no longer the one whose digest was compared; return whether there is none."""
        unchanged = True
        for file in self.files:
            try:
                file.check_unchanged()
            except CaptureError as error:
                self.tell(str(file.path), error.problem)
                unchanged = False
        return unchanged


def _open_pass(one: RecordedPass, record: RecordedSet, captures: _Captures) -> PassAudio | None:
    """Return a pass's audio, its files open; None after telling what is not as it was."""
    files = []
    for recorded in one.files:
        file = captures.open(recorded.path, recorded.sha256, f"capture that {one.name}")
        try:
            if file is not None:
                files.append(captures.opened.enter_context(WaveFile(file)))
        except CaptureError as error:
            captures.tell(str(error.path), error.problem)
    log = one.log
    if log is not None and captures.open(log.path, log.sha256, f"log that {one.name}") is None:
        return None
    if len(files) < len(one.files):
        return None
    if any(channel >= files[index].info.format.channels for index, channel in one.channels):
        captures.tell("data/assembly.json", f"pass {one.name}: channels name one that its file does not have")
        return None
    return PassAudio(files, one.channels, record.session.word_length, one.polarity)


def _prove_track(
    folder: SetFolder,
    record: RecordedSet,
    track: RecordedTrack,
    sources: Mapping[str, PassAudio],
    tell: Tell,
) -> int:
    name = track_name(track)
    session = record.session
    renderer = _renderer(record, track, sources)
    meter = TrackMeter(session.sample_rate, 2.0 ** (session.word_length - 1))
    proved = 0
    try:
        with open_track(folder, track) as file:
            if any(shape_faults(record, file)):
                return 0
            for start in range(0, record.length, BLOCK):
                end = min(record.length, start + BLOCK)
                delivered = file.read(start, end - start)[:, 0]
                wrong = np.flatnonzero(delivered != renderer.block(start, end))
                if wrong.size:
                    tell(name, _mismatch(record, track, start + int(wrong[0])))
                    return proved
                meter.update(delivered)
                proved += end - start
    except AssemblerError as error:
        tell(name, str(error))
        return proved
    _check_levels(track, meter, tell)
    return proved


def _check_levels(track: RecordedTrack, meter: TrackMeter, tell: Tell) -> None:
    for key, found in levels_record(meter.result()).items():
        said = getattr(track.levels, key)
        if found == said:
            continue
        if isinstance(found, float) and isinstance(said, float):
            near = math.isclose(found, said, rel_tol=0, abs_tol=LEVEL_TOLERANCE)
        else:
            near = False
        if not near:
            tell(
                "data/assembly.json",
                f"track {track.name}: levels.{key} is {said}, measured again it is {found}",
            )


def _renderer(record: RecordedSet, track: RecordedTrack, sources: Mapping[str, PassAudio]) -> TrackRenderer:
    places = {reel: record.tape_track(track, reel) for reel in track.reels}
    reels = {one.name: one.reel for one in record.passes}

    def read(pass_name: str, start: int, count: int) -> Int32s:
        return sources[pass_name].read(places[reels[pass_name]], start, count)

    edit = TrackEdit(
        DeliveredTrack(track.number, track.name, places),
        tuple(
            Span(
                s.start,
                s.end,
                s.pass_name,
                s.pass_start or 0,
                tuple(Filled(one.pass_name, one.pass_start, one.at) for one in s.filled),
            )
            for s in track.spans
        ),
        tuple(Join(j.at, j.fade, j.law, j.correlation, j.difference_peak) for j in track.joins),
    )
    return TrackRenderer(edit, read, sample_format(record.session.word_length, record.session.bit_depth))


def _mismatch(record: RecordedSet, track: RecordedTrack, at: int) -> str:
    session = record.session
    label = format_sample(record.start.sample + at, frame_rate(session.frame_rate), session.sample_rate)
    place = f"sample {at} ({label})"
    for join in track.joins:
        low = join.at - join.fade // 2
        if low <= at < low + join.fade:
            return f"{place} is not what the fade of the join at sample {join.at} gives, computed again"
    span = next(s for s in track.spans if s.start <= at < s.end)
    if span.pass_name is None:
        return f"{place} is not silent, but no pass covers it"
    here = at - span.start
    sources = [
        (one.pass_name, one.pass_start) for one in span.filled if Runs(one.at).within(here, here + 1).size
    ]
    name, first = sources[0] if sources else (span.pass_name, span.pass_start or 0)
    return f"{place} is not sample {first + here} of {name}, which assembly.json names for it"
