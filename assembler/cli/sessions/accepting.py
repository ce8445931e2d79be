"""Ready-made tables for a sheet: one for each place that asks for a person, to be signed and pasted."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.timecode import format_label, frame_rate, frame_to_sample, sample_to_frame

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assembler.aligner import Edit
    from assembler.sheet import Sheet
    from assembler.verdict.notes import Note

Place = tuple[str, int, int, tuple[int, ...]]
"""Reel, timeline samples from and to, tape tracks from 0."""


def accepted_tables(sheet: Sheet, edit: Edit) -> list[str]:
    """Return a table that would close each open place, in order of reel and time; reason and name are left empty.

    Places between the same frames are one. What is wrong with a whole session or a refused pass has no place.

    Args:
        sheet: of the session.
        edit: what was decided about it.
    """
    tracks: dict[tuple[str, int, int], set[int]] = {}
    for reel, start, end, own in _open_places(sheet, edit):
        tracks.setdefault((reel, *_frames(sheet, start, end)), set()).update(own)
    order = [reel.name for reel in sheet.reels]
    places = sorted(tracks, key=lambda place: (order.index(place[0]), *place[1:]))
    return [_table(sheet, *place, tracks[place]) for place in places]


def _open_places(sheet: Sheet, edit: Edit) -> Iterator[Place]:
    for one in edit.uncured:
        if one.accepted is None:
            start, end = (edit.start_sample + at for at in (one.start, one.end))
            yield one.reel, start, end, (one.track.tape_tracks[one.reel],)
    for note in edit.notes:
        if note.needs_a_person:
            yield from _place_of(note, sheet, edit)


def _place_of(note: Note, sheet: Sheet, edit: Edit) -> Iterator[Place]:
    """Yield the place of a note: the one that it names, or all that its pass has in the set."""
    one = next((each for each in edit.passes if each.imported.name == note.pass_name), None)
    if one is None or one.time_map is None or not one.time_map.stretches:
        return
    reel = next(reel for reel in sheet.reels if reel.name == one.imported.reel)
    low, high = one.time_map.start, one.time_map.end
    if note.start is not None:
        found = one.time_map.timeline_ranges(note.start, max(note.end or 0, note.start + 1))
        if not found:
            return
        low, high = found[0][0], found[-1][1]
    low, high = max(low, edit.start_sample), min(high, edit.start_sample + edit.length)
    if low < high:
        named = tuple(track for track, name in enumerate(reel.tracks) if name)
        yield reel.name, low, high, note.tracks or named


def _frames(sheet: Sheet, start: int, end: int) -> tuple[int, int]:
    """Return the frame that holds the first sample and the first one that begins after the last."""
    rate, sample_rate = frame_rate(sheet.session.frame_rate), sheet.session.sample_rate
    last = sample_to_frame(end, rate, sample_rate)
    return sample_to_frame(start, rate, sample_rate), last + (frame_to_sample(last, rate, sample_rate) < end)


def _table(sheet: Sheet, reel_name: str, first: int, behind: int, tracks: set[int]) -> str:
    reel = next(reel for reel in sheet.reels if reel.name == reel_name)
    rate = frame_rate(sheet.session.frame_rate)
    values: dict[str, object] = {
        "reel": reel.name,
        "start": format_label(first, rate),
        "end": format_label(behind, rate),
    }
    if tracks < {track for track, name in enumerate(reel.tracks) if name}:
        values["tracks"] = [reel.tracks[track] for track in sorted(tracks)]
    values |= {"reason": "", "by": ""}
    import tomlkit

    return "[[accepted]]\n" + tomlkit.dumps(values)
