"""The proof of a set against its captures: every delivered sample computed again, fades too, and measured again.

The samples are rendered from the captures by the spans and joins of the record, with the code that wrote the set;
what is compared with them is the delivered file.
"""

from __future__ import annotations

import math
from contextlib import ExitStack
from typing import TYPE_CHECKING, Protocol

import numpy as np

from assembler.aligner import DeliveredTrack, Filled, Join, Runs, Span, TrackEdit
from assembler.consolidator.captures import sha256_of
from assembler.consolidator.metering import TrackMeter
from assembler.consolidator.record import levels_record
from assembler.consolidator.rendering import TrackRenderer, sample_format
from assembler.errors import AssemblerError, CaptureError
from assembler.importer import PassAudio
from assembler.timecode import format_sample, frame_rate
from assembler.wave import WaveFile

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path

    from assembler.arrays import Int32s
    from assembler.consolidator.reading import RecordedPass, RecordedSet, RecordedTrack
    from assembler.sheet import Sheet

BLOCK = 1 << 18
LEVEL_TOLERANCE = 2e-4
"""Levels stand in the record with four places; another machine's arithmetic may round the last one otherwise."""


class Tell(Protocol):
    """Takes one problem: the file, and what is wrong with its place."""

    def __call__(self, path: str, text: str) -> None:
        """Take it."""


def prove_set(
    root: Path, record: RecordedSet, sheet: Sheet, tell: Tell, advance: Callable[[float], None]
) -> int:
    """Compute every sample of a set again and return how many were found the same.

    Args:
        root: the set's folder.
        record: its record.
        sheet: the sheet beside the captures.
        tell: called with each problem.
        advance: called with the share of the tracks done.
    """
    with ExitStack() as opened:
        sources: dict[str, PassAudio] = {}
        for one in record.passes:
            audio = _open_pass(one, record, sheet, tell, opened)
            if audio is not None:
                sources[one.name] = audio
        if len(sources) < len(record.passes):
            return 0
        proved = 0
        for count, track in enumerate(record.tracks):
            proved += _prove_track(root, record, track, sources, tell)
            advance((count + 1) / len(record.tracks))
    return proved


def _open_pass(
    one: RecordedPass, record: RecordedSet, sheet: Sheet, tell: Tell, opened: ExitStack
) -> PassAudio | None:
    files = []
    for file in one.files:
        path = sheet.folder / file.path
        if not sheet.allow_outside and not path.resolve().is_relative_to(sheet.folder.resolve()):
            tell(file.path, f"of {one.name} lies outside the sheet's folder; --allow-outside lets it be read")
            return None
        try:
            digest = sha256_of(path)
            files.append(opened.enter_context(WaveFile(path)))
        except CaptureError as error:
            tell(file.path, error.problem)
            return None
        if digest != file.sha256:
            tell(file.path, f"is not the capture that {one.name} was built from: its SHA-256 differs")
            return None
    if any(channel >= files[index].info.format.channels for index, channel in one.channels):
        tell("data/assembly.json", f"pass {one.name}: channels name one that its file does not have")
        return None
    return PassAudio(files, one.channels, record.session.word_length, one.polarity)


def _prove_track(
    root: Path, record: RecordedSet, track: RecordedTrack, sources: Mapping[str, PassAudio], tell: Tell
) -> int:
    name = f"data/{track.file}"
    session = record.session
    renderer = _renderer(record, track, sources)
    meter = TrackMeter(session.sample_rate, 2.0 ** (session.word_length - 1))
    proved = 0
    try:
        with WaveFile(root / name) as file:
            for start in range(0, min(record.length, file.info.frames), BLOCK):
                end = min(record.length, file.info.frames, start + BLOCK)
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
    if proved == record.length:
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
