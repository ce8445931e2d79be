"""The markers of a delivered track: at joins, at woven stretches, and at places that no pass has right or that are
undecided.

Markers stand before the samples, and readers hold what stands there in memory: libsndfile gives up at 100 KiB. So a
track has as many as its header has room for. Those that a person has to listen to go first: open places, then those
of them that a person has accepted, woven stretches, joins that changed anything, the others. All of them stand in
``joins.csv`` and ``timeline.otio``.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Final

from assembler.timecode import format_sample, frame_rate
from assembler.wave import Marker, encode_markers, fit_field

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from assembler.record.recorded.tracks import RecordedTrack
    from assembler.record.recorded.whole import RecordedSet

LARGEST_CUE_SAMPLE: Final = 0xFFFFFFFF
"""A cue chunk has 32 bits for a place: about 24 h 51 min at 48 kHz."""
MARKED_NAME_LIMIT: Final = 80
"""Characters of a pass's or a person's name in a label; more is no label that a program could show."""
MARKED_REASON_LIMIT: Final = 200
"""Characters of a reason in a note."""

_CHUNK_HEADER: Final = 8
_OWN_BYTES: Final = 4  # before the first marker: the number of points in ``cue ``, the type of ``LIST adtl``


def marked_places(record: RecordedSet, track: RecordedTrack) -> Iterator[Marker]:
    """Yield all that a track could mark, as far as a cue chunk reaches, what matters most first."""
    reached = LARGEST_CUE_SAMPLE
    for place in sorted(record.marked_on(track), key=lambda place: place.accepted is not None):
        if place.end <= reached:
            length = place.end - place.start
            label, note = place.words.capitalize(), _timecode(record, place.start)
            if place.accepted is not None:
                label += f", accepted by {fit_field(place.accepted.by, MARKED_NAME_LIMIT)}"
                note += f"; {fit_field(place.accepted.reason, MARKED_REASON_LIMIT)}"
            yield Marker(place.start, length, label, note)
    for span, filled in track.woven:
        low, high = filled.extent
        if span.start + high <= reached:
            share = f"{filled.samples} of {high - low} samples from {_side(filled.pass_name)}"
            label = f"Woven {_side(span.pass_name)} with {_side(filled.pass_name)}"
            note = f"{_timecode(record, span.start + low)}; {share}"
            yield Marker(span.start + low, high - low, label, note)
    sides = [(before.pass_name, behind.pass_name) for before, behind in pairwise(track.spans)]
    joins = zip(track.joins, sides, strict=True)
    for join, (before, behind) in sorted(joins, key=lambda pair: pair[0].law == "identical"):
        if join.at <= reached:
            note = f"{_timecode(record, join.at)}; {join.law}; fade {join.fade} samples"
            yield Marker(join.at, 0, f"Join {_side(before)} to {_side(behind)}", note)


def fitting_markers(places: Iterable[Marker], room: int) -> list[Marker]:
    """Return the first of ``places`` whose two chunks fit into ``room`` bytes, in the order of the timeline."""
    room -= 2 * (_CHUNK_HEADER + _OWN_BYTES)
    kept = []
    for place in places:
        room -= sum(len(payload) - _OWN_BYTES for _, payload in encode_markers([place]))
        if room < 0:
            break
        kept.append(place)
    return sorted(kept, key=lambda marker: (marker.sample, marker.length))


def _side(pass_name: str | None) -> str:
    return "silence" if pass_name is None else fit_field(pass_name, MARKED_NAME_LIMIT)


def _timecode(record: RecordedSet, position: int) -> str:
    session = record.session
    return format_sample(position + record.start.sample, frame_rate(session.frame_rate), session.sample_rate)
