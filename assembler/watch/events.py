"""What is reported while captures are followed: events, as JSON objects and as plain lines.

Positions are samples of the pass, tape tracks count from 0, ends are excluded.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final, Literal, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

EventName: TypeAlias = Literal[
    "recording", "flaw", "timecode", "dead_track", "taken_back", "ended", "retakes"
]

WORDS_OF_KIND: Final = {
    "mute": "mute",
    "hold": "held level",
    "straight": "straight line",
    "repeat": "block played twice",
    "means": "concealed samples",
    "click": "click",
    "burst": "burst",
    "disagreement": "differs from the other passes",
    "slip": "slip",
}
"""What an engineer calls a flaw of each of the record's kinds."""


@dataclass(frozen=True)
class Event:
    """One thing that is reported.

    Args:
        event: what it is.
        pass_name: name of the pass; "" where all are meant.
        words: what it is in words, without pass and place.
        kind: of a flaw, one of the record's kinds; else what happened, one word.
        start: first sample, None where no place is meant.
        end: first sample after it.
        tracks: tape tracks.
        timecode: label of the first sample; None where it is not known.
        more: further keys of the JSON object.
        lines: what it is at length, for people.
    """

    event: EventName
    pass_name: str
    words: str
    kind: str = ""
    start: int | None = None
    end: int | None = None
    tracks: tuple[int, ...] = ()
    timecode: str | None = None
    more: Mapping[str, Any] = field(default_factory=dict)
    lines: tuple[str, ...] = ()


def event_json(event: Event) -> dict[str, Any]:
    """Return an event as an object to print on one line: the keys that say something, and ``words``."""
    found: dict[str, Any] = {"event": event.event, "pass": event.pass_name}
    if event.kind:
        found["kind"] = event.kind
    if event.start is not None:
        found |= {"start": event.start, "end": event.end, "tracks": list(event.tracks)}
    if event.start is not None or event.timecode is not None:
        found["timecode"] = event.timecode
    return {**found, **event.more, "words": event.words}


def event_line(event: Event) -> str:
    """Return an event as one plain line: the pass, the place, what it is."""
    place = event.timecode or ""
    parts = [part for part in (event.pass_name, place) if part]
    return f"{' '.join(parts)}: {event.words}" if parts else event.words


def tracks_words(tracks: Sequence[int], names: Sequence[str]) -> str:
    """Return tape tracks by their names, by those that are left out where they are nearly all, or how many.

    >>> tracks_words((0, 1), ("Kick", "Snare")), tracks_words((1,), ("Kick", "Snare"))
    ('all tracks', 'Snare')
    """
    used = [track for track, name in enumerate(names) if name]
    if len(tracks) > 1 and set(tracks) >= set(used):
        return "all tracks"
    told = [names[track] or f"track {track + 1}" for track in tracks if track < len(names)]
    others = [names[track] for track in used if track not in tracks]
    if len(told) > 4 and len(others) <= 2:
        return f"all tracks but {' and '.join(others)}"
    if len(told) > 4:
        return f"{len(told)} of {len(names)} tracks"
    return ", ".join(told)


def length_words(samples: int, rate: int) -> str:
    """Return a length in minutes and seconds, or in milliseconds where it is short.

    >>> length_words(48000 * 75, 48000), length_words(480, 48000), length_words(96000, 48000)
    ('1:15', '10 ms', '2.0 s')
    """
    seconds = samples / rate
    if seconds < 1.0:
        return f"{1000 * seconds:.3g} ms"
    return f"{seconds:.1f} s" if seconds < 60.0 else f"{int(seconds) // 60}:{int(seconds) % 60:02}"
