"""What has been reported of a pass, so that nothing is so twice: flaws and slips, dead tracks, tracks that are alike.

Positions are samples of the pass.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from assembler.aligner.records.ranges import merged, total, without
from assembler.aligner.sound.limits import MOST_ALIKE
from assembler.watch.sound.levels import alike_tracks

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from assembler.aligner.records.passes import TrackReader
    from assembler.aligner.records.ranges import Range
    from assembler.watch.sound.examining import Seen

SLIP_REACH: Final = 4800
"""A slip that lies so near to one that was reported is that one."""

START_REACH: Final = 64
"""A flaw that begins so near to one that went on is that one."""


@dataclass
class ToldFlaws:
    """Flaws that have been reported.

    Args:
        places: by track.
        slips: in order.
    """

    places: dict[int, list[Range]] = field(default_factory=dict)
    slips: list[int] = field(default_factory=list)
    _alone: dict[tuple[str, int], int] = field(default_factory=dict)
    _open: list[tuple[str, int]] = field(default_factory=list)
    _doubted: dict[tuple[str, int], list[Range]] = field(default_factory=dict)
    _silent: list[tuple[Range, dict[int, Range]]] = field(default_factory=list)
    _taken_back: list[tuple[str, tuple[int, ...], list[Range]]] = field(default_factory=list)

    def add_slip(self, at: int) -> bool:
        """Note a slip; return whether it is new."""
        if self.has_slip(at):
            return False
        self.slips.append(at)
        return True

    def has_slip(self, at: int) -> bool:
        """Return whether a slip is one that was reported."""
        return any(abs(at - known) <= SLIP_REACH for known in self.slips)

    def has(self, track: int, place: Range) -> bool:
        """Return whether most of a place has been reported of a track."""
        return total(without([place], self.places.get(track, []))) < 0.5 * (place[1] - place[0])

    def fresh(self, flaws: Sequence[Seen], high: int) -> Iterator[tuple[str, Range, list[int], bool]]:
        """Yield kind, place, tracks, and whether it goes on, of what is new: what several tracks have at once is one.

        Args:
            flaws: on single tracks.
            high: what ends after this goes on; it is reported again when it is over.
        """
        for kind in dict.fromkeys(flaw.kind for flaw in flaws):
            for group in _at_once(flaw for flaw in flaws if flaw.kind == kind and self._is_new(flaw, high)):
                tracks = sorted({flaw.track for flaw in group})
                is_doubtful = len(tracks) == 1 and group[0].is_doubtful
                if is_doubtful and self._is_played(kind, tracks[0]):
                    continue
                place = min(flaw.start for flaw in group), max(flaw.end for flaw in group)
                if is_doubtful:
                    self._doubted.setdefault((kind, tracks[0]), []).append(place)
                for track in tracks:
                    self.places[track] = merged([*self.places.get(track, []), place])
                if place[1] <= high and all(flaw.is_silence for flaw in group):
                    self._silent.append((place, {flaw.track: (flaw.start, flaw.end) for flaw in group}))
                self._open = [one for one in self._open if not _begins(one, kind, place[0])]
                if place[1] > high:
                    self._open.append((kind, place[0]))
                yield kind, place, tracks, place[1] > high

    def may_be_played(self, kind: str, tracks: Sequence[int], place: Range) -> bool:
        """Return whether a flaw that was reported is none if it comes again and again."""
        return len(tracks) == 1 and place in self._doubted.get((kind, tracks[0]), ())

    @property
    def silent_tracks(self) -> set[int]:
        """Tracks on which silence was reported as a mute, without a witness."""
        return {track for _, own in self._silent for track in own}

    def take_back(self, rests: Mapping[int, Sequence[Range]]) -> None:
        """Take mutes back that are rests by now, of all their tracks.

        Args:
            rests: of each of the silent tracks, in order.
        """
        found: dict[tuple[int, ...], list[Range]] = {}
        for told in list(self._silent):
            place, own = told
            if all(total(without([one], rests[track])) * 2 < one[1] - one[0] for track, one in own.items()):
                found.setdefault(tuple(sorted(own)), []).append(place)
                self._silent.remove(told)
        for tracks, places in found.items():
            self._withdraw("mute", tracks, places)

    def _withdraw(self, kind: str, tracks: tuple[int, ...], places: list[Range]) -> None:
        self._taken_back.append((kind, tracks, places))
        # Should a check find that they were flaws, they are reported again.
        for track in tracks:
            self.places[track] = without(self.places.get(track, []), merged(places))

    def taken_back(self) -> list[tuple[str, tuple[int, ...], list[Range]]]:
        """Return kind, tracks and places of flaws that were reported and are how these are played, each once."""
        found, self._taken_back = self._taken_back, []
        return found

    def _is_new(self, flaw: Seen, high: int) -> bool:
        is_over = flaw.end <= high and any(_begins(one, flaw.kind, flaw.start) for one in self._open)
        return is_over or not self.has(flaw.track, (flaw.start, flaw.end))

    def _is_played(self, kind: str, track: int) -> bool:
        """Count what one track shows alone that may be how it is played: from so often on it is."""
        self._alone[kind, track] = self._alone.get((kind, track), 0) + 1
        if self._alone[kind, track] <= MOST_ALIKE:
            return False
        if places := self._doubted.pop((kind, track), []):
            self._withdraw(kind, (track,), places)
        return True


def _at_once(flaws: Iterable[Seen]) -> list[list[Seen]]:
    """Return flaws of one kind, those of several tracks together that have most of their place in common."""
    groups: list[list[Seen]] = []
    for flaw in sorted(flaws, key=lambda one: (one.start, one.end)):
        for group in groups:
            low, high = max(flaw.start, group[0].start), min(flaw.end, group[0].end)
            whole = max(flaw.end, group[0].end) - group[0].start
            if 2 * (high - low) > whole:
                group.append(flaw)
                break
        else:
            groups.append([flaw])
    return groups


def _begins(opened: tuple[str, int], kind: str, start: int) -> bool:
    return opened[0] == kind and abs(opened[1] - start) <= START_REACH


@dataclass
class ToldTracks:
    """Which tracks sound, and what has been reported of those that do not.

    Args:
        sounding: tracks that have held anything but zeros.
        least: samples after which a track of zeros is dead, and two tracks are alike.
    """

    least: int
    sounding: set[int] = field(default_factory=set)
    _since: dict[tuple[int, int], int] = field(default_factory=dict)
    _told: set[tuple[int, ...]] = field(default_factory=set)

    @property
    def dead(self) -> set[int]:
        """Tracks that were told to be dead, and hold nothing still."""
        return {one[0] for one in self._told if len(one) == 1} - self.sounding

    def news(
        self, audio: TrackReader, window: Range, used: Sequence[int]
    ) -> Iterator[tuple[str, int, tuple[int, ...]]]:
        """Yield kind, first sample and tracks of what is new in a window.

        Args:
            audio: of the pass.
            window: that is new.
            used: tracks that should sound.
        """
        for track in range(audio.tracks):
            if track not in self.sounding and audio.read(track, window[0], window[1] - window[0]).any():
                self.sounding.add(track)
        dead = [track for track in used if track not in self.sounding]
        if self.sounding and window[1] >= self.least:
            new = tuple(track for track in dead if (track,) not in self._told)
            self._told |= {(track,) for track in new}
            if new:
                yield "dead", 0, new
        pairs = alike_tracks(audio, *window)
        self._since = {pair: self._since.get(pair, window[0]) for pair in pairs}
        for pair, since in self._since.items():
            if pair not in self._told and window[1] - since >= self.least:
                self._told.add(pair)
                yield "alike", since, pair
