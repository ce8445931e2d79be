"""What the parts of a record say of each other: whatever contradicts itself is refused."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Final

from assembler.aligner import Runs

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assembler.record.recorded.passes import RecordedPass
    from assembler.record.recorded.tracks import RecordedSpan, RecordedTrack
    from assembler.record.recorded.whole import RecordedReel, RecordedSet

MOST_PAIRS: Final = 1 << 22
"""So many pairs of runs of a span may lie across each other; a few seconds are enough to look at them."""

LONGEST_FADE_SECONDS = 10
"""The sheet allows no longer one; a fade is computed whole, so a record may not ask for more than that."""


def check_parts(record: RecordedSet) -> None:
    """Refuse a record that contradicts itself.

    Raises:
        ValueError: it does; the message says where in one line.
    """
    _check_names(record)
    reels = {one.name: one.reel for one in record.passes}
    for reel in record.reels:
        _check_states(reel)
    for one in record.passes:
        _check_channels(record, one)
    for track in record.tracks:
        _check_spans(record, track, reels)
        _check_joins(record, track)
        _check_fills(record, track, reels)


def _check_names(record: RecordedSet) -> None:
    kinds = {
        "reel": [reel.name for reel in record.reels],
        "pass": [one.name for one in record.passes],
        "track": [track.name for track in record.tracks],
        "track file": [track.file for track in record.tracks if track.file],
    }
    for kind, names in kinds.items():
        twice = next((name for name, count in Counter(names).items() if count > 1), None)
        if twice is not None:
            raise ValueError(f"has two of {kind} {twice}")
    held = {reel.name: set(reel.tracks) for reel in record.reels}
    for track in record.tracks:
        for reel in track.reels:
            if track.name not in held.get(reel, ()):
                raise ValueError(f"track {track.name}: reel {reel} does not have it")


def _check_states(reel: RecordedReel) -> None:
    """The stretches of each track follow one another, and all tracks of a tape reach as far."""
    reaches = set()
    for one in reel.states:
        if one.track >= len(reel.tracks) or not one.stretches:
            raise ValueError(f"reel {reel.name}: states of track {one.track} are none of its tracks")
        at = one.stretches[0].start
        for stretch in one.stretches:
            if stretch.start != at or stretch.end <= at:
                raise ValueError(
                    f"reel {reel.name}: states of track {one.track} do not follow one another at sample {at}"
                )
            at = stretch.end
        reaches.add((one.stretches[0].start, at))
    if len(reaches) > 1 or len({one.track for one in reel.states}) < len(reel.states):
        raise ValueError(f"reel {reel.name}: states of its tracks do not go together")


def _check_channels(record: RecordedSet, one: RecordedPass) -> None:
    reel = next((reel for reel in record.reels if reel.name == one.reel), None)
    if reel is None:
        raise ValueError(f"pass {one.name}: there is no reel {one.reel}")
    if not len(one.channels) == len(one.polarity) == len(reel.tracks):
        raise ValueError(f"pass {one.name}: channels and polarity are not those of {len(reel.tracks)} tracks")
    if any(file >= len(one.files) for file, _ in one.channels):
        raise ValueError(f"pass {one.name}: channels name a file that is not listed")


def _check_spans(record: RecordedSet, track: RecordedTrack, reels: Mapping[str, str]) -> None:
    at = 0
    for span in track.spans:
        if span.start != at or span.end <= span.start:
            raise ValueError(f"track {track.name}: spans do not follow one another at sample {at}")
        if span.pass_name is not None and reels.get(span.pass_name) not in track.reels:
            raise ValueError(
                f"track {track.name}: the span at sample {at} names {span.pass_name}, no pass of its reels"
            )
        if (span.pass_name is None) != (span.pass_start is None):
            raise ValueError(f"track {track.name}: pass and pass_start of the span at sample {at} disagree")
        at = span.end
    if at != record.length:
        raise ValueError(f"track {track.name}: spans end at sample {at}, the set at {record.length}")


def _check_joins(record: RecordedSet, track: RecordedTrack) -> None:
    if len(track.joins) != len(track.spans) - 1:
        raise ValueError(f"track {track.name}: {len(track.joins)} joins between {len(track.spans)} spans")
    for join, span in zip(track.joins, track.spans[1:], strict=True):
        if join.at != span.start:
            raise ValueError(f"track {track.name}: the join at sample {join.at} is at no border of spans")
        if join.fade > LONGEST_FADE_SECONDS * record.session.sample_rate:
            raise ValueError(
                f"track {track.name}: the join at sample {join.at} has a fade of {join.fade} samples, "
                f"at most {LONGEST_FADE_SECONDS} s are allowed"
            )


def _check_fills(record: RecordedSet, track: RecordedTrack, reels: Mapping[str, str]) -> None:
    fades = [0, *(join.fade for join in track.joins), 0]
    for number, span in enumerate(track.spans):
        # A span is heard beyond its ends as far as its fades reach.
        heard = -(fades[number] // 2), span.end - span.start + fades[number + 1] - fades[number + 1] // 2
        where = f"track {track.name}: the span at sample {span.start}"
        for filled in span.filled:
            low, high = filled.extent
            if span.pass_name in (None, filled.pass_name) or reels.get(filled.pass_name) not in track.reels:
                raise ValueError(f"{where} is filled from {filled.pass_name}, no other pass of its reels")
            if low < heard[0] or high > heard[1]:
                raise ValueError(f"{where} is filled from {filled.pass_name} beyond its ends")
            if filled.pass_start + low < 0 or filled.pass_start + high > _length(
                record, track, filled.pass_name
            ):
                raise ValueError(f"{where} is filled from beyond the ends of {filled.pass_name}")
        _check_overlaps(span, where)


def _check_overlaps(span: RecordedSpan, where: str) -> None:
    if not span.filled:
        return
    try:
        is_double = Runs(run for filled in span.filled for run in filled.at).has_twice(MOST_PAIRS)
    except ValueError as error:
        raise ValueError(f"{where} is filled in a way that cannot be looked through: {error}") from error
    if is_double:
        raise ValueError(f"{where} is filled twice with the same sample")


def _length(record: RecordedSet, track: RecordedTrack, name: str) -> int:
    """Return how many samples a pass has of a track."""
    one = record.pass_named(name)
    return one.files[one.channels[record.tape_track(track, one.reel)][0]].samples
