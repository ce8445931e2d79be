"""Events of a pass that is being recorded, in words: how long it is, what is flawed, what was no flaw after all."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.watch.events import WORDS_OF_KIND, Event, length_words, tracks_words

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assembler.aligner.records.ranges import Range


def recording_event(
    name: str, samples: int, rate: int, levels: Sequence[float | None], label: str | None, kind: str
) -> Event:
    """Return how much of a pass is recorded by now.

    Args:
        name: of the pass.
        samples: that have been looked at.
        rate: samples in a second.
        levels: of each track in decibels of full scale, None in silence.
        label: timecode of the last sample.
        kind: "stalled" where no sound comes any more.
    """
    words = f"recording, {length_words(samples, rate)}" if samples else "recording"
    if kind:
        words += "; no sound comes any more"
    more = {
        "samples": samples,
        "seconds": round(samples / rate, 3),
        "sample_rate": rate,
        "levels": list(levels),
    }
    return Event("recording", name, words, kind, timecode=label, more=more)


def flaw_words(
    kind: str, size: int, rate: int, tracks: Sequence[int], names: Sequence[str], more: Mapping[str, object]
) -> str:
    """Return a flaw in words.

    Args:
        kind: of it.
        size: samples.
        rate: samples in a second.
        tracks: tape tracks that have it.
        names: of all tape tracks.
        more: its further keys: samples of a slip, whether it goes on, whether it may be played.
    """
    words = WORDS_OF_KIND.get(kind, kind)
    if kind == "slip":
        samples = int(str(more.get("samples", 0)))
        return f"{words}, {abs(samples)} samples {'lost' if samples > 0 else 'repeated'}"
    if more.get("may_be_played"):
        words += ", or played so"
    goes_on = " and going on" if more.get("goes_on") else ""
    return f"{words}, {length_words(size, rate)}{goes_on}, {tracks_words(tracks, names)}"


def taken_back_event(
    name: str,
    kind: str,
    places: Sequence[Range],
    tracks: tuple[int, ...],
    names: Sequence[str],
    label: str | None,
) -> Event:
    """Return that flaws which were reported are how a track is played.

    Args:
        name: of the pass.
        kind: of the flaws.
        places: of them, in order.
        tracks: tape tracks.
        names: of all tape tracks.
        label: timecode of the first of them.
    """
    count = f"{len(places)} of its places are no flaws" if len(places) > 1 else "that place is no flaw"
    words = f"{WORDS_OF_KIND.get(kind, kind)}, {tracks_words(tracks, names)}: it is played so, {count}"
    more = {"places": [list(place) for place in places]}
    return Event("taken_back", name, words, kind, places[0][0], places[-1][1], tracks, label, more)
