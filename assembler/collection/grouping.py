"""Sums over a collection, and what tapes of one kind have in common: by machine, by transfer note, by date."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

from assembler.collection.rows import SessionState
from assembler.verdict.states import State

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from assembler.collection.rows import ReelRow, Row

FIRST_KEYS = ("machine", "date")
"""Transfer notes that are reported before all others; these follow in the order of the alphabet."""

_LOST = (State.FLAWED.value, State.MISSING.value)
"""States of tape that no pass is known to have right."""


@dataclass(frozen=True)
class Group:
    """Tapes that share a transfer note.

    Args:
        key: of the note.
        value: what it says.
        tapes: how many have it.
        failed: tapes of sessions that could not be built.
        asking: tapes of sessions in which something needs a person, or whose set is damaged.
        seconds: of tape.
        lost_seconds: of these, what no pass is known to have right.
        rolls: how often they must be played again.
    """

    key: str
    value: str
    tapes: int
    failed: int
    asking: int
    seconds: float
    lost_seconds: float
    rolls: int

    @property
    def lost_share(self) -> float:
        """Share of the tape that no pass is known to have right, 0 to 1."""
        return self.lost_seconds / self.seconds if self.seconds else 0.0


@dataclass(frozen=True)
class Sums:
    """A whole collection in numbers.

    Args:
        sessions: in each state.
        tapes: how many.
        seconds: of tape in each state of tape.
        rolls: how often tapes must be played again.
        roll_seconds: of that playing.
        set_bytes: of all sets.
        unverified: sets that were not looked at since they were built.
    """

    sessions: dict[SessionState, int]
    tapes: int
    seconds: dict[State, float]
    rolls: int
    roll_seconds: float
    set_bytes: int
    unverified: int


def sums_of(rows: Sequence[Row]) -> Sums:
    """Return a collection in numbers.

    Args:
        rows: the last one of each session.
    """
    states = Counter(row.state for row in rows)
    reels = [reel for row in rows for reel in row.reels]
    return Sums(
        sessions={state: states[state] for state in SessionState},
        tapes=len(reels),
        seconds={
            state: sum(reel.seconds * reel.states.get(state.value, 0.0) for reel in reels) for state in State
        },
        rolls=sum(row.rolls for row in rows),
        roll_seconds=sum(row.roll_seconds for row in rows),
        set_bytes=sum(row.set_bytes for row in rows),
        unverified=sum(1 for row in rows if row.set_name and not row.verified),
    )


def groups_of(rows: Iterable[Row]) -> list[Group]:
    """Return the tapes of a collection in groups, one for each transfer note and what it says.

    A note that says something else of nearly every tape, such as a rate of errors, tells nothing about groups: it is
    left out where none of its values stands twice. Groups of one note stand by what is lost, the most first; dates in
    order.

    Args:
        rows: the last one of each session.
    """
    found: dict[str, dict[str, list[tuple[Row, ReelRow]]]] = {}
    for row in rows:
        for reel in row.reels:
            for key, value in reel.prepared.items():
                found.setdefault(key, {}).setdefault(value, []).append((row, reel))
    groups = []
    for key in sorted(found, key=_rank):
        if key in FIRST_KEYS or any(len(tapes) > 1 for tapes in found[key].values()):
            own = [_group(key, value, tapes) for value, tapes in found[key].items()]
            groups += sorted(own, key=_by_date if key == "date" else _by_loss)
    return groups


def _group(key: str, value: str, tapes: Sequence[tuple[Row, ReelRow]]) -> Group:
    states = Counter(row.state for row, _ in tapes)
    return Group(
        key=key,
        value=value,
        tapes=len(tapes),
        failed=states[SessionState.FAILED],
        asking=states[SessionState.ASKS] + states[SessionState.DAMAGED],
        seconds=sum(reel.seconds for _, reel in tapes),
        lost_seconds=sum(reel.seconds * reel.states.get(state, 0.0) for _, reel in tapes for state in _LOST),
        rolls=sum(reel.rolls for _, reel in tapes),
    )


def _rank(key: str) -> tuple[int, str]:
    return (FIRST_KEYS.index(key) if key in FIRST_KEYS else len(FIRST_KEYS), key)


def _by_date(group: Group) -> tuple[float, float, str]:
    return (0.0, 0.0, group.value)


def _by_loss(group: Group) -> tuple[float, float, str]:
    return (-group.lost_share, -group.failed / group.tapes, group.value)
