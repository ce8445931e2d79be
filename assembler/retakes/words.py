"""The words of a transfer engineer for what is to be played, and why."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.verdict.states import State, share_words

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    from assembler.retakes.held import HeldPass, Place
    from assembler.retakes.model import Roll
    from assembler.sheet import Reel

KIND_WORDS = {
    "mute": "cut to silence",
    "hold": "one value held",
    "straight": "a line drawn across",
    "repeat": "a block heard twice",
    "means": "lost samples concealed",
    "click": "a click",
    "burst": "a burst of noise",
    "disagreement": "not what the other passes hold",
    "slip": "samples lost in a slip",
    "missing": "no pass covers it",
    "undecided": "passes differ and nothing tells which is right",
    "seen_once": "only one pass has it",
    "suspect": "looks like a flaw, with no other pass to tell",
}
"""By the names of the record and of states."""

ALL_TRACKS = "all tracks"
MOST_NAMED = 16
"""Tracks that are called by name; of more the numbers are said, as a machine counts them."""

WORN_PLAYS = 3
"""A first play and two more that did not cure a place: a fourth seldom does (common practice, no source)."""


def kind_words(kind: str) -> str:
    """Return what a kind says at the machine; one that is not known here by its name."""
    return KIND_WORDS.get(kind, kind.replace("_", " "))


def is_worn(roll: Roll) -> bool:
    """Return whether a roll asks for a place that two more plays did not cure."""
    return roll.vain_plays >= WORN_PLAYS


def why_words(kinds: Sequence[str], vain_plays: int) -> str:
    """Return why a roll is asked for.

    Args:
        kinds: what is wrong in it.
        vain_plays: the most plays that any of its places has had, each of which has it wrong.
    """
    why = "; ".join(kind_words(kind) for kind in kinds)
    if vain_plays >= WORN_PLAYS:
        why += (
            f". {vain_plays} plays did not cure it: that points at the tape, and every further play wears it; clean "
            "the heads first, and play it again only if the tape can stand another play"
        )
    return why


def held_words(one: HeldPass, places: Sequence[Place], reach: tuple[int, int], reel: Reel) -> str:
    """Return what a pass has where a roll is asked for.

    Args:
        one: the pass.
        places: of the roll.
        reach: from the first sample of the roll to after its last.
        reel: the tape, for the names of its tracks.
    """
    if not one.is_used:
        return "not used"
    if not one.has_played(*reach):
        return "not played here"
    tracks: dict[str, set[int]] = {}
    for place in places:
        kinds = one.kinds(place)
        if not kinds:
            kinds = {_clear_kind(place) if one.holds(place.start, place.end) else "absent"}
        for kind in kinds:
            tracks.setdefault(kind, set()).add(place.track)
    said = []
    for kind, on in sorted(tracks.items()):
        is_partly = any(on & others for other, others in tracks.items() if other != kind)
        where = tracks_words(on, reel) + ", in part" * is_partly
        said.append(f"{_HELD_WORDS.get(kind) or kind_words(kind)} ({where})")
    return "; ".join(said)


def tracks_words(tracks: Collection[int], reel: Reel) -> str:
    """Return the names of tape tracks; all of those that a tape has in two words."""
    named = [track for track, name in enumerate(reel.tracks) if name]
    if len(named) > 1 and sorted(tracks) == named:
        return ALL_TRACKS
    if len(tracks) > MOST_NAMED:
        return f"tracks {track_numbers(sorted(tracks))}"
    return ", ".join(reel.tracks[track] or f"track {track + 1}" for track in sorted(tracks))


_HELD_WORDS = {
    "absent": "not played here",
    "clear": "nothing looks wrong",
    "differs": "differs, and may be the right one",
}


def _clear_kind(place: Place) -> str:
    return "differs" if place.state == State.FLAWED else "clear"


def come_off_words(rolls: Sequence[Roll], shares: Mapping[State, float], *, is_unseen: bool) -> str:
    """Return in a line whether a tape may come off, or why not yet.

    Args:
        rolls: of the tape.
        shares: of its states.
        is_unseen: none of its passes can be used.
    """
    if is_unseen:
        return "not yet: none of its passes can be used, so nothing of it is saved for certain"
    if rolls:
        seconds = sum(roll.seconds for roll in rolls)
        kinds = dict.fromkeys(kind_words(kind) for roll in rolls for kind in roll.kinds)
        line = f"not yet: {counted(len(rolls), 'roll')}, {seconds:.1f} s to play ({', '.join(kinds)})"
        worn = sum(is_worn(roll) for roll in rolls)
        if worn:
            line += f"; {worn} of them more plays did not cure: listen, and accept what may stand before the tape wears"
        return line
    line = "the tape may come off: nothing on it is left to play"
    unsure = {State.SEEN_ONCE: "was seen once only", State.SUSPECT: "may be flawed, to be listened to"}
    parts = [
        f"{share_words(shares[state])} of it {words}" for state, words in unsure.items() if shares[state]
    ]
    if parts:
        listed = "it" if len(parts) == 1 else "both"
        line += f"; {', '.join(parts)} (--once lists {listed}, if the tape can stand another play)"
    return line


def counted(count: int, what: str) -> str:
    """Return how many there are of something."""
    return f"{count} {what}{'s' * (count != 1)}"


def track_numbers(tracks: Sequence[int]) -> str:
    """Return tracks as a machine counts them.

    >>> track_numbers([0, 1, 2, 5, 7])
    '1-3, 6, 8'
    """
    runs: list[list[int]] = []
    for track in tracks:
        if runs and runs[-1][-1] == track - 1:
            runs[-1].append(track)
        else:
            runs.append([track])
    return ", ".join(str(one[0] + 1) + (f"-{one[-1] + 1}" if len(one) > 1 else "") for one in runs)
