"""What has been saved for certain: the state of every stretch of a tape, and places that a person might listen to.

Positions are timeline samples.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence


class State(StrEnum):
    """What the passes of a reel know of a stretch of one of its tracks; the worst comes last."""

    PROVEN = "proven"
    """Two passes hold the same numbers and nothing speaks against them."""
    SEEN_ONCE = "seen_once"
    """One pass has it, and nothing in it looks wrong."""
    SUSPECT = "suspect"
    """It looks like a flaw, with no witness and no certainty."""
    FLAWED = "flawed"
    """No pass is known to have it right."""
    MISSING = "missing"
    """No pass covers it."""


@dataclass(frozen=True)
class StateStretch:
    """A stretch of a track in one state, from ``start`` to before ``end``."""

    start: int
    end: int
    state: State


@dataclass(frozen=True)
class TrackStates:
    """All stretches of one track of a reel, in order, without gaps.

    Args:
        track: its place on the tape, from 0.
        stretches: from the reel's first sample covered to its last; neighbours differ in state.
    """

    track: int
    stretches: tuple[StateStretch, ...]


@dataclass(frozen=True)
class Suspect:
    """A place that looks like a flaw where no other pass bears witness, or where all passes have it alike.

    It changes neither sound nor verdict.

    Args:
        reel: name of the reel.
        start: first sample.
        end: first one after it.
        tracks: tape tracks from 0.
        kind: of the flaw that it looks like.
        odds: for it to be a flaw, in nats.
    """

    reel: str
    start: int
    end: int
    tracks: tuple[int, ...]
    kind: str
    odds: float


def worst_of(tracks: Iterable[TrackStates]) -> tuple[StateStretch, ...]:
    """Return the stretches of a whole tape: at each place the worst state of all its tracks.

    Args:
        tracks: of one reel; each may begin and end elsewhere.
    """
    order = list(State)
    edges: list[tuple[int, int, int]] = []
    for track in tracks:
        for one in track.stretches:
            rank = order.index(one.state)
            edges += [(one.start, rank, 1), (one.end, rank, -1)]
    open_ones = [0] * len(order)
    found: list[StateStretch] = []
    at = 0
    for place, rank, step in sorted(edges):
        worst = max((number for number, count in enumerate(open_ones) if count), default=None)
        if worst is not None and at < place:
            found.append(StateStretch(at, place, order[worst]))
        at = place
        open_ones[rank] += step
    return joined_stretches(found)


def joined_stretches(stretches: Iterable[StateStretch]) -> tuple[StateStretch, ...]:
    """Return stretches in order with those that touch and are in one state as one."""
    joined: list[StateStretch] = []
    for one in stretches:
        last = joined[-1] if joined else None
        if last and (last.end, last.state) == (one.start, one.state):
            joined[-1] = StateStretch(last.start, one.end, one.state)
        else:
            joined.append(one)
    return tuple(joined)


def shares_of(stretches: Sequence[StateStretch]) -> dict[State, float]:
    """Return the share of each state, 0 to 1; they add to 1 unless there is no stretch, where all are 0."""
    whole = sum(one.end - one.start for one in stretches)
    sizes = {state: sum(one.end - one.start for one in stretches if one.state is state) for state in State}
    return {state: size / whole if whole else 0.0 for state, size in sizes.items()}


def shares_words(shares: Mapping[State, float]) -> str:
    """Return the shares of the states that there are, in a line."""
    told = [f"{state_words(state)} {share_words(share)}" for state, share in shares.items() if share]
    return ", ".join(told) or "nothing of it is captured"


def share_words(share: float) -> str:
    """Return a share in per cent; little is not reported as nothing, nor nearly all as all."""
    if 0 < share < 0.0005:
        return "<0.1%"
    return ">99.9%" if 0.9995 <= share < 1 else f"{share:.1%}"


def state_words(state: State) -> str:
    """Return the name of a state as it is read."""
    return state.value.replace("_", " ")
