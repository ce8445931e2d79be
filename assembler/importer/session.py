"""A session on disk becomes a session in memory: captures opened, logs decoded, faults of the files told."""

from __future__ import annotations

import re
from contextlib import ExitStack
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Self, TypeVar

from assembler.errors import CaptureError
from assembler.importer.audio import PassAudio
from assembler.importer.keeping import SessionObjects
from assembler.importer.places.counts import CountedPass, settle_counts
from assembler.importer.places.midnight import past_midnight
from assembler.importer.places.notes import clock_notes
from assembler.importer.places.settling import settle_positions
from assembler.importer.places.source import find_position
from assembler.known import NOTHING
from assembler.sheet import find_audio, sheet_error
from assembler.timecode import frame_rate
from assembler.verdict.notes import Note
from assembler.wave import WaveFile

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from assembler.importer.places.position import Position
    from assembler.importer.places.settling import LoggedClock
    from assembler.inputs import InputFile
    from assembler.known import Known
    from assembler.sheet import Pass, Reel, Sheet

_Found = TypeVar("_Found")


@dataclass(frozen=True)
class ImportedPass:
    """One pass: open audio, its place by its own log (still open), and what was odd about its files."""

    name: str
    reel: str
    audio: PassAudio
    position: Position
    log: InputFile | None
    notes: tuple[Note, ...] = ()


@dataclass(frozen=True)
class ImportedSession:
    """All passes of a session in the order of the sheet. Use as a context manager: it closes captures and logs.

    ``known`` is what was found out before of captures like these.
    """

    sheet: Sheet
    passes: tuple[ImportedPass, ...]
    known: Known = NOTHING

    def of_reel(self, name: str) -> list[ImportedPass]:
        """Return the passes of one reel in the order of trust."""
        return [one for one in self.passes if one.reel == name]

    def recall(self, what: str, arguments: object, find: Callable[[], _Found]) -> _Found:
        """Return what is known, or else found now; passes, audio and reels of the session may stand in it."""
        return self.known.recall(what, arguments, find, SessionObjects(self))

    def close(self) -> None:
        """Close all captures and logs."""
        for one in self.passes:
            one.audio.close()
            if one.log is not None:
                one.log.close()

    def __enter__(self) -> Self:
        """Return the session itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """Close all captures and logs."""
        self.close()


def import_session(
    sheet: Sheet, advance: Callable[[float], None] = lambda _: None, known: Known = NOTHING
) -> ImportedSession:
    """Return the session's passes, opened and placed by their own logs.

    Args:
        sheet: what belongs together.
        advance: called with the share of the passes done.
        known: what was found out before.

    Raises:
        SheetError: the sheet and what lies on disk do not fit together.
        CaptureError: a capture or a log cannot be used.
    """
    reels = {reel.name: reel for reel in sheet.reels}
    passes: list[_OpenedPass] = []
    with ExitStack() as opened:
        for count, one in enumerate(sheet.passes):
            passes.append(_open_pass(sheet, one, reels[one.reel], opened, known))
            advance((count + 1) / len(sheet.passes))
        counted = [CountedPass(one.name, one.reel.name, one.found) for one in passes]
        found = settle_counts(counted, frame_rate(sheet.session.frame_rate))
        positions = settle_positions(found, sheet.session)
        imported = [_place(sheet, *both) for both in zip(passes, positions, strict=True)]
        places = past_midnight([one.position for one in imported], sheet.session)
        opened.pop_all()
    moved = (replace(one, position=place) for one, place in zip(imported, places, strict=True))
    return ImportedSession(sheet, tuple(moved), known)


@dataclass(frozen=True)
class _OpenedPass:
    """A pass whose place is not settled yet."""

    name: str
    reel: Reel
    audio: PassAudio
    found: Position | LoggedClock
    log: InputFile | None
    notes: list[Note]


def _open_pass(sheet: Sheet, one: Pass, reel: Reel, opened: ExitStack, known: Known) -> _OpenedPass:
    paths = find_audio(sheet, one)
    files = [opened.enter_context(WaveFile(path)) for path in paths]
    _check_count(sheet, one, reel, files)
    notes = _check_rates(sheet, one, files)
    channels = [(i, c) for i, file in enumerate(files) for c in range(file.info.format.channels)]
    audio = PassAudio(files, channels, sheet.deliver.word_length)
    if audio.length == 0:
        raise CaptureError("holds no samples, nor does any other file of its pass", path=files[0].path)
    notes += _fault_notes(one, files) + _length_notes(one, reel, audio)
    notes += _depth_notes(reel.bit_depth or sheet.session.bit_depth, one, files)
    found, log = find_position(sheet, one, reel, audio, opened, known)
    return _OpenedPass(one.name, reel, audio, found, log, notes)


def _place(sheet: Sheet, one: _OpenedPass, position: Position) -> ImportedPass:
    if one.reel.timecode_offset is not None and position.shift < -sheet.session.sample_rate:
        problem = f"leads {one.name} before 00:00:00:00; allowed: an offset that leaves every pass after it"
        raise sheet_error(sheet, one.reel, "timecode_offset", problem)
    notes = one.notes + clock_notes(one.name, position, one.audio.length, sheet.session)
    return ImportedPass(one.name, one.reel.name, one.audio, position, one.log, tuple(notes))


def _check_count(sheet: Sheet, one: Pass, reel: Reel, files: Sequence[WaveFile]) -> None:
    found = sum(file.info.format.channels for file in files)
    if found != len(reel.tracks):
        in_files = "1 file" if len(files) == 1 else f"{len(files)} files"
        tracks = "1 track" if found == 1 else f"{found} tracks"
        problem = (
            f"found {tracks} in {in_files}; allowed: the {len(reel.tracks)} tracks of reel {reel.name} "
            f'(unused ones are listed as ""){_gap_words(files, len(reel.tracks))}'
        )
        raise sheet_error(sheet, one, "audio", problem)


def _gap_words(files: Sequence[WaveFile], tracks: int) -> str:
    """Return which numbers are missing in the names of the files, where each has one of its own; else nothing."""
    found = [re.search(r"[0-9]{1,4}", file.path.stem) for file in files]
    numbers = {int(one[0]) for one in found if one}
    if len(files) >= tracks or len(numbers) < len(files) or not numbers <= set(range(1, tracks + 1)):
        return ""
    missing = ", ".join(str(number) for number in range(1, tracks + 1) if number not in numbers)
    return f"; in the numbering of the files {missing} is missing"


def _check_rates(sheet: Sheet, one: Pass, files: Sequence[WaveFile]) -> list[Note]:
    rates = [file.info.format.sample_rate for file in files]
    usual = sheet.session.sample_rate if sheet.session.sample_rate in rates else rates[0]
    for file, rate in zip(files, rates, strict=True):
        if rate != usual and not one.relabel:
            beside = next(each.path.name for each, its in zip(files, rates, strict=True) if its == usual)
            raise CaptureError(
                f"header says {rate} Hz, but {beside} of the same pass has {usual} Hz; if it lasts as long as that one "
                "and only its header is wrong, set relabel = true on the pass: samples are then taken as they are; "
                "else capture this track at the pass's rate, if the tape can stand another play",
                path=file.path,
            )
    if all(rate == sheet.session.sample_rate for rate in rates):
        return []
    if not one.relabel:
        raise CaptureError(
            f"header says {rates[0]} Hz, the session has {sheet.session.sample_rate} Hz; where the header is "
            "wrong, set relabel = true on the pass: its samples are then taken as they are",
            path=files[0].path,
        )
    wrong = ", ".join(f"{rate} Hz" for rate in dict.fromkeys(rates) if rate != sheet.session.sample_rate)
    text = (
        f"{one.name}: header says {wrong}; samples taken as {sheet.session.sample_rate} Hz as the sheet asks"
    )
    return [Note("relabelled", text, pass_name=one.name)]


def _fault_notes(one: Pass, files: Sequence[WaveFile]) -> list[Note]:
    """Return one note a pass: files with the same faults share their words."""
    places: dict[tuple[str, ...], list[int]] = {}
    for place, file in enumerate(files):
        if file.info.faults:
            places.setdefault(file.info.faults, []).append(place)
    if not places:
        return []
    words = "; ".join(
        f"{', '.join(files[place].path.name for place in own)}: {'; '.join(faults)}"
        for faults, own in places.items()
    )
    tracks = tuple(sorted(place for own in places.values() for place in own))
    return [Note("header_repaired", f"{one.name}: {words}", pass_name=one.name, tracks=tracks)]


def _length_notes(one: Pass, reel: Reel, audio: PassAudio) -> list[Note]:
    return [
        Note(
            "short_track",
            f"{one.name}: track {track + 1} ({reel.tracks[track] or 'unused'}) ends {audio.length - length} samples "
            "before the longest one; what is missing is not covered",
            pass_name=one.name,
            tracks=(track,),
            start=length,
            end=audio.length,
        )
        for track, length in enumerate(audio.track_lengths)
        if length < audio.length
    ]


def _depth_notes(bit_depth: int, one: Pass, files: Sequence[WaveFile]) -> list[Note]:
    fewest = min(file.info.format.valid_bits for file in files)
    if fewest >= bit_depth:
        return []
    text = f"{one.name}: {fewest}-bit capture of a {bit_depth}-bit tape: the lowest bits are lost"
    return [Note("not_transparent", text, pass_name=one.name)]
