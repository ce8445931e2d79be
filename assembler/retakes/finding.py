"""From the states of all stretches to rolls: as few plays as possible, and none without a reason."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.aligner import closing_of, cut_at
from assembler.retakes.held import HeldPass, Place
from assembler.retakes.labels import TapeLabels
from assembler.retakes.model import PassWords, ReelRetakes, Retakes, Roll, TimedSuspect
from assembler.retakes.words import (
    ALL_TRACKS,
    MOST_NAMED,
    come_off_words,
    held_words,
    track_numbers,
    tracks_words,
    why_words,
)
from assembler.verdict.states import State, shares_of, worst_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from assembler.aligner import Edit
    from assembler.sheet import Reel, Sheet

STOP_SECONDS = 2.0
"""What a stop costs: until it is pressed and the tape stands (common practice, no source)."""

MUST = (State.FLAWED, State.MISSING)
"""States that ask for a play in any case."""
ONCE = (State.SEEN_ONCE, State.SUSPECT)
"""States in which a second witness would help."""


def find_retakes(sheet: Sheet, edit: Edit, *, pre_roll_seconds: float = 5.0, once: bool = False) -> Retakes:
    """Return what must be played again of each tape, and whether it may come off.

    Every stretch of the set that no pass is known to have right lies in a roll, and there is no roll without one. What
    a person has accepted asks for none.

    Args:
        sheet: the session.
        edit: what was decided about it, with the states of all stretches.
        pre_roll_seconds: how long before a place a roll begins.
        once: whether stretches that only one pass has are to be played as well.
    """
    wanted = (*MUST, *ONCE) if once else MUST
    rolls: list[Roll] = []
    reels: list[ReelRetakes] = []
    labels = {reel.name: TapeLabels(sheet, reel) for reel in sheet.reels}
    for reel in sheet.reels:
        places = _places(edit, reel, wanted)
        maker = _Rolls(sheet, edit, reel, labels[reel.name], pre_roll_seconds)
        own = [maker.roll(group) for group in maker.groups(places)]
        rolls += own
        reels.append(_reel(edit, reel, own))
    suspects = tuple(TimedSuspect(one, labels[one.reel].first(one.start)) for one in edit.suspects)
    return Retakes(sheet.session.title, tuple(rolls), tuple(reels), suspects)


def _places(edit: Edit, reel: Reel, wanted: Sequence[State]) -> list[Place]:
    """Return the stretches of the set that ask for a play, in order; none that a person has accepted."""
    first, last = edit.start_sample, edit.start_sample + edit.length
    found = []
    for own in edit.states.get(reel.name, ()):
        for stretch in own.stretches:
            inside = max(stretch.start, first), min(stretch.end, last)
            if stretch.state in wanted and inside[0] < inside[1]:
                found += [
                    Place(own.track, *piece, stretch.state)
                    for piece in cut_at(edit.accepted, reel.name, own.track, inside)
                    if not _is_accepted(edit, reel, own.track, piece)
                ]
    return sorted(found, key=lambda place: (place.start, place.end, place.track))


def _is_accepted(edit: Edit, reel: Reel, track: int, place: tuple[int, int]) -> bool:
    low, high = (edge - edit.start_sample for edge in place)
    taken = dict.fromkeys(
        span.pass_name
        for one in edit.tracks
        if edit.accepted and one.track.tape_tracks.get(reel.name) == track
        for span in one.spans
        if span.pass_name is not None and span.start < high and low < span.end
    )
    return closing_of(edit.accepted, reel.name, (track,), place, list(taken)) is not None


class _Rolls:
    """Makes the rolls of one tape."""

    def __init__(
        self, sheet: Sheet, edit: Edit, reel: Reel, labels: TapeLabels, pre_roll_seconds: float
    ) -> None:
        self._reel = reel
        self._labels = labels
        self._sample_rate = sheet.session.sample_rate
        self._pre_roll = round(pre_roll_seconds * self._sample_rate)
        self._passes = [HeldPass(one) for one in edit.passes if one.imported.reel == reel.name]

    def groups(self, places: Iterable[Place]) -> list[list[Place]]:
        """Return places, in order, in groups that cost less tape in one roll than in two.

        A roll of its own costs a stop and a pre-roll; playing on costs what lies between.
        """
        apart = self._pre_roll + round(STOP_SECONDS * self._sample_rate)
        groups: list[list[Place]] = []
        reached = 0
        for place in places:
            if not groups or place.start - reached >= apart:
                groups.append([])
                reached = place.end
            groups[-1].append(place)
            reached = max(reached, place.end)
        return groups

    def roll(self, places: Sequence[Place]) -> Roll:
        """Return the roll of a group of places."""
        start, end = places[0].start, max(place.end for place in places)
        roll_to = self._labels.earlier(start, self._pre_roll)
        tracks = tuple(sorted({place.track for place in places}))
        plays = [(place.state, self._plays(place)) for place in places]
        # What one play has right, or none has had at all, no play was in vain for.
        vain = max((count for state, count in plays if state in MUST), default=0)
        kinds = tuple(dict.fromkeys(kind for place in places for kind in self._kinds(place)))
        return Roll(
            self._reel.name,
            self._labels.first(roll_to),
            self._labels.first(start),
            self._labels.behind(end),
            start,
            end,
            (end - roll_to) / self._sample_rate,
            tracks,
            self._track_words(tracks),
            kinds,
            max(count for _, count in plays),
            vain,
            why_words(kinds, vain),
            tuple(
                PassWords(one.name, held_words(one, places, (start, end), self._reel)) for one in self._passes
            ),
        )

    def _plays(self, place: Place) -> int:
        return sum(one.has_played(place.start, place.end) for one in self._passes)

    def _track_words(self, tracks: Sequence[int]) -> str:
        words = tracks_words(tracks, self._reel)
        numbers = track_numbers(tracks)
        if words == ALL_TRACKS or len(tracks) > MOST_NAMED:
            return words
        return f"{words} (track{'s' * (len(tracks) != 1)} {numbers})"

    def _kinds(self, place: Place) -> list[str]:
        """Return what is wrong at a place."""
        if place.state in ONCE:
            return [str(place.state)]
        holding = [one for one in self._passes if one.holds(place.start, place.end)]
        found = {kind for one in self._passes for kind in one.kinds(place)}
        if place.state == State.MISSING:
            return ["slip"] if "slip" in found else ["missing"]
        if any(not one.kinds(place) for one in holding) or not found:
            found.add("undecided")
        return sorted(found - {"slip"}) or ["slip"]


def _reel(edit: Edit, reel: Reel, rolls: Sequence[Roll]) -> ReelRetakes:
    states = edit.states.get(reel.name, ())
    is_wanted = any(reel.name in track.track.tape_tracks for track in edit.tracks)
    is_unseen = is_wanted and not states
    shares = shares_of(worst_of(states))
    return ReelRetakes(
        reel.name,
        not rolls and not is_unseen,
        len(rolls),
        sum((roll.seconds for roll in rolls), 0.0),
        shares,
        come_off_words(rolls, shares, is_unseen=is_unseen),
    )
