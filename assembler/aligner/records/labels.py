"""What a person reads of places and tracks: timecode, names."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.timecode import format_place, format_sample, frame_rate

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from assembler.sheet import Reel, Sheet


def timecode_label(sheet: Sheet) -> Callable[[int], str]:
    """Return a function that writes a timeline sample as the label of its frame."""
    rate = frame_rate(sheet.session.frame_rate)
    return lambda sample: format_sample(sample, rate, sheet.session.sample_rate)


def place_label(sheet: Sheet) -> Callable[[int], str]:
    """Return a function that writes a timeline sample as timecode and samples into the frame."""
    rate = frame_rate(sheet.session.frame_rate)
    return lambda sample: format_place(sample, rate, sheet.session.sample_rate)


def stretch_label(sheet: Sheet) -> Callable[[int, int], str]:
    """Return a function that writes a timeline range as its timecode in and out, to the sample."""
    place = place_label(sheet)
    return lambda start, end: f"{place(start)} to {place(end)}"


def track_names(reel: Reel, tracks: Iterable[int]) -> str:
    """Return the names of tape tracks, counted from 0, in one line; unused ones by their number."""
    return ", ".join(reel.tracks[track] or f"track {track + 1}" for track in tracks)
