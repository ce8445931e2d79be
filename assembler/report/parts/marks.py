"""Places of a set as a page writes them: labels, with samples where frames do not tell two places apart."""

from __future__ import annotations

from collections import defaultdict
from functools import lru_cache
from typing import TYPE_CHECKING

from assembler.timecode import format_place, format_sample, frame_rate

if TYPE_CHECKING:
    from collections.abc import Iterable

    from assembler.record.recorded.passes import RecordedPass
    from assembler.record.recorded.whole import RecordedSet


class Marks:
    """Labels of positions in a set, and where in it passes and tape tracks lie.

    Args:
        record: of the set.
    """

    def __init__(self, record: RecordedSet) -> None:
        """Keep the record."""
        self.record = record
        self.pass_numbers = {one.name: number for number, one in enumerate(record.passes)}
        self._track_numbers = {track.name: track.number for track in record.tracks}
        self._reels = {reel.name: reel for reel in record.reels}
        rate, sample_rate = frame_rate(record.session.frame_rate), record.session.sample_rate
        first = record.start.sample

        @lru_cache(maxsize=1 << 16)
        def frame(position: int) -> str:
            return format_sample(max(0, first + position), rate, sample_rate)

        @lru_cache(maxsize=1 << 16)
        def place(position: int) -> str:
            return format_place(max(0, first + position), rate, sample_rate)

        self.frame, self.place = frame, place

    def ends(self, start: int, end: int) -> tuple[str, str]:
        """Return the labels of a range, from its first sample to after its last one."""
        low, high = self.frame(start), self.frame(end)
        return (self.place(start), self.place(end)) if low == high else (low, high)

    def starts(self, positions: Iterable[int]) -> dict[int, str]:
        """Return the label of each position: with samples for those that share a frame."""
        frames = defaultdict(set)
        for position in positions:
            frames[self.frame(position)].add(position)
        return {
            position: label if len(shared) == 1 else self.place(position)
            for label, shared in frames.items()
            for position in shared
        }

    def numbers(self, names: Iterable[str]) -> tuple[int, ...]:
        """Return the numbers of delivered tracks by their names."""
        return tuple(self._track_numbers[name] for name in names if name in self._track_numbers)

    def delivered(self, reel: str, tape_tracks: Iterable[int]) -> tuple[int, ...]:
        """Return the numbers of the delivered tracks that tape tracks of a reel are."""
        names = self._reels[reel].tracks if reel in self._reels else ()
        return self.numbers(names[track] for track in tape_tracks if track < len(names))

    def passes(self, names: Iterable[str | None]) -> tuple[int, ...]:
        """Return the places of passes in the record, by their names."""
        return tuple(self.pass_numbers[name] for name in names if name in self.pass_numbers)

    def in_set(self, one: RecordedPass, sample: int) -> int:
        """Return where a sample of a pass lies in the set, from its first sample; 0 where the pass has no place."""
        held = one.stretch_at(sample)
        return (
            0 if held is None else held.timeline_start + sample - held.pass_start - self.record.start.sample
        )

    def range_of(self, one: RecordedPass, start: int, end: int | None) -> tuple[int, int]:
        """Return where a range of a pass lies, inside the set or not; without an end it has no length."""
        at = self.in_set(one, start)
        return at, at + max(0, (start if end is None else end) - start)
