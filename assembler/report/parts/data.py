"""What the script of the page gets: the record in short lists, and each view packed by itself.

A view is unpacked when it is opened and not before. All texts are made printable, and no character of a block can end
it: names from outside stay names.
"""

from __future__ import annotations

import json
import zlib
from base64 import b64encode
from typing import TYPE_CHECKING, TypeAlias

from assembler.printable import printable
from assembler.report.outcomes import outcome_words
from assembler.report.parts.tables import plain
from assembler.report.reasons import reason_words
from assembler.timecode import frame_rate
from assembler.verdict.states import State

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from assembler.record.recorded.tracks import RecordedTrack
    from assembler.record.recorded.whole import RecordedHeld, RecordedSet
    from assembler.report.parts.marks import Marks
    from assembler.report.views import Clip, View, Views

Plain: TypeAlias = "str | int | float | bool | Sequence[Plain] | Mapping[str, Plain] | None"

_SPARE = 120
"""Bytes of a view of which only its place is left, with the element that it stands in."""

_UNSAFE = {ord("<"): "\\u003c", ord(">"): "\\u003e", ord("&"): "\\u0026"}


def block(data: Plain) -> str:
    """Return data as JSON that can stand in a script element of HTML, whatever texts it holds.

    Every character that markup is made of is escaped as JSON has it; it is to stand there as it is.
    """
    text = json.dumps(_printed(data), ensure_ascii=True, separators=(",", ":"), allow_nan=False)
    return text.translate(_UNSAFE)


def _printed(data: Plain) -> Plain:
    if isinstance(data, str):
        return printable(data)
    if isinstance(data, dict):
        return {key: _printed(value) for key, value in data.items()}
    if isinstance(data, list | tuple) and not all(type(one) is int for one in data):
        return [_printed(value) for value in data]
    return data


def record_data(record: RecordedSet, views: Views, marks: Marks) -> Plain:
    """Return what the script knows of the set; positions count from its first sample.

    Args:
        record: of the set.
        views: of which only the places are reported here.
        marks: of the record.
    """
    rate = frame_rate(record.session.frame_rate)
    return {
        "length": record.length,
        "first": record.start.sample,
        "rate": record.session.sample_rate,
        "bits": record.session.word_length,
        "fps": [rate.exact.numerator, rate.exact.denominator, rate.nominal, int(rate.drop)],
        "states": [plain(state.value) for state in State],
        "reels": [{"name": reel.name, "tracks": list(reel.tracks)} for reel in record.reels],
        "passes": list(_passes(record)),
        "tracks": [_track(track, record, marks) for track in record.tracks],
        "flaws": list(_flaws(record, marks)),
        "held": list(_held(record, marks)),
        "views": [[one.track, one.start, one.end] for one in views.views],
    }


def _passes(record: RecordedSet) -> Iterator[Plain]:
    first = record.start.sample
    left: dict[str, set[int]] = {}
    for note in record.notes:
        if note.kind == "track_left_out" and note.pass_name is not None:
            left.setdefault(note.pass_name, set()).update(note.tracks)
    for one in record.passes:
        out = left.get(one.name, set())
        yield {
            "name": one.name,
            "reel": one.reel,
            "tracks": [track for track in range(len(one.channels)) if track not in out],
            "stretches": [
                [s.timeline_start - first, s.timeline_start - first + s.pass_end - s.pass_start, s.pass_start]
                for s in one.stretches
            ],
        }


def _track(track: RecordedTrack, record: RecordedSet, marks: Marks) -> Plain:
    first = record.start.sample
    order = list(State)
    states: list[Plain] = []
    reels = {reel.name: reel for reel in record.reels}
    for name in track.reels:
        place = record.tape_track(track, name)
        for one in reels[name].states:
            if one.track == place:
                states += [[s.start - first, s.end - first, order.index(s.state)] for s in one.stretches]
    return {
        "number": track.number,
        "name": track.name,
        "reels": list(track.reels),
        "spans": [
            [s.start, s.end, marks.pass_numbers.get(s.pass_name or "", -1), s.pass_start or 0]
            for s in track.spans
        ],
        "woven": [
            [
                span.start + filled.extent[0],
                span.start + filled.extent[1],
                marks.pass_numbers[filled.pass_name],
            ]
            for span, filled in track.woven
            if filled.pass_name in marks.pass_numbers
        ],
        "joins": [
            [join.at, join.fade, plain(join.law), join.correlation, join.difference_peak]
            for join in track.joins
        ],
        "states": states,
        "open": [
            [place.start, place.end, place.words, place.accepted is not None]
            for place in sorted(record.marked_on(track), key=lambda place: (place.start, place.end))
        ],
    }


def _flaws(record: RecordedSet, marks: Marks) -> Iterator[Plain]:
    for number, one in enumerate(record.passes):
        for flaw in one.flaws:
            at, end = marks.range_of(one, flaw.start, flaw.end)
            why = reason_words(flaw.because.rule, flaw.because.nats) if flaw.because else ""
            size = end - at if flaw.samples is None else flaw.samples
            outcome = outcome_words(at, end, record.length, is_cured=flaw.is_cured)
            tracks = marks.delivered(one.reel, flaw.tracks)
            yield [number, at, end, plain(flaw.kind), list(tracks), size, outcome, why]


def _held(record: RecordedSet, marks: Marks) -> Iterator[Plain]:
    """Yield what passes have at each open place of a track: uncured ones and undecided ones."""
    for one in record.uncured:
        for track in marks.numbers([one.track]):
            yield [track, one.start, one.end, plain(one.kind), _told(one.held), ""]
    for note in record.notes:
        whose = next((one for one in record.passes if one.name == note.pass_name), None)
        if whose is None or note.start is None or not note.held:
            continue
        start, end = marks.range_of(whose, note.start, note.end)
        why = reason_words(note.because.rule, note.because.nats) if note.because else ""
        for track in marks.delivered(whose.reel, note.tracks):
            yield [track, start, end, "undecided", _told(note.held), why]


def _told(held: Sequence[RecordedHeld]) -> list[Plain]:
    return [[one.pass_name, one.text, one.is_taken] for one in held]


def view_blocks(views: Views, room: int) -> tuple[list[str], int, int]:
    """Return a block for each view, and how many had to do without clips and without waveforms.

    Args:
        views: in the order in which they are to be kept.
        room: bytes for all of them. Where it ends clips are left out, and where that is not enough all of a view.
    """
    blocks = []
    without_clips = without_windows = 0
    spare = _SPARE * len(views.views)
    for view in views.views:
        whole = view_data(view)
        mute: Plain = {**whole, "clips": [], "sounds": []}
        empty: Plain = {"windows": "", "clips": [], "sounds": []}
        choices = [
            (block(whole), False, False),
            (block(mute), bool(view.clips), False),
            (block(empty), bool(view.clips), bool(view.windows)),
        ]
        text, is_mute, is_blind = next((one for one in choices if len(one[0]) + spare <= room), choices[-1])
        room -= len(text)
        spare -= _SPARE
        without_clips += is_mute
        without_windows += is_blind
        blocks.append(text)
    return blocks, without_clips, without_windows


def view_data(view: View) -> dict[str, Plain]:
    """Return a view packed: windows as deflated JSON in base 64, sounds in base 64, each of equal ones once."""
    windows: Plain = [
        {
            "title": printable(window.title),
            "start": window.start,
            "step": window.step,
            "lines": [
                [
                    printable(one.source),
                    one.low,
                    None if one.high is one.low or one.high == one.low else one.high,
                ]
                for one in window.traces
            ],
        }
        for window in view.windows
    ]
    text = json.dumps(windows, separators=(",", ":"), allow_nan=False)
    sounds: list[bytes] = []
    clips = [_clip(clip, sounds) for clip in view.clips]
    return {
        "windows": b64encode(zlib.compress(text.encode("ascii"), 6)).decode("ascii") if view.windows else "",
        "clips": clips,
        "sounds": [b64encode(sound).decode("ascii") for sound in sounds],
    }


def _clip(clip: Clip, sounds: list[bytes]) -> Plain:
    if clip.audio not in sounds:
        sounds.append(clip.audio)
    return [clip.source, clip.start, clip.is_held_back, sounds.index(clip.audio)]
