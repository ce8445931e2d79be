"""What stands still, as one block shows it, and the stop that it proves once all blocks are joined.

All positions are timeline samples.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from assembler.aligner.records.because import Rule
from assembler.aligner.records.limits import LEAST_WITNESSES, SEARCHED_NATS
from assembler.aligner.records.ranges import merged

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from assembler.aligner.records.ranges import Range


@dataclass(frozen=True)
class Stop:
    """A stretch in which all tracks of a pass stand still, with the ramps beside it, or hold once more what was before.

    Args:
        start: first sample.
        end: first sample behind it.
        kind: mute, hold or repeat.
        tracks: that sound beside it; nothing is known to be missing of the others.
        is_witnessed: whether another pass sounds there.
        is_instant: whether all tracks stop within an instant; else over a ramp, which proves little by itself.
        ramps: how many of its first samples, and of its last, are those of a ramp.
    """

    start: int
    end: int
    kind: str
    tracks: frozenset[int]
    is_witnessed: bool = True
    is_instant: bool = True
    ramps: Range = (0, 0)

    @property
    def inner(self) -> Range:
        """What it is without its ramps."""
        return self.start + self.ramps[0], self.end - self.ramps[1]

    @property
    def rule(self) -> Rule:
        """The rule that decided."""
        return Rule.WRITTEN_TWICE if self.kind == "repeat" else Rule.STANDSTILL


@dataclass(frozen=True)
class Beside:
    """How the tracks of a pass sound on one side of a stretch in which all stand still.

    Args:
        sounding: tracks that sound there.
        over_a_ramp: of these, those that do within a ramp of it.
        at_once: those that do within an instant.
        nats: how unlikely each sample is by chance in which none of them moves.
    """

    sounding: frozenset[int]
    over_a_ramp: frozenset[int]
    at_once: frozenset[int]
    nats: float


@dataclass(frozen=True)
class Still:
    """A stretch in which all tracks of a pass stand still, as far as one block shows it.

    Args:
        start: first sample.
        end: first sample behind it.
        kind: mute or hold.
        tracks: that sound beside it, in this pass or another one.
        witnessed: how much of it another pass bears out, its ramps with it; None if none does.
        before: how it sounds before; None where the block does not show that.
        behind: how it sounds behind; the same.
        ramps: how many of its first samples, and of its last, are those of a ramp.
    """

    start: int
    end: int
    kind: str
    tracks: frozenset[int]
    witnessed: Range | None
    before: Beside | None
    behind: Beside | None
    ramps: Range = (0, 0)

    def stop(self) -> Stop | None:
        """Return what is proved: the whole where all tracks are cut out, else what is borne out."""
        is_witnessed = self.witnessed is not None
        if self._is_cut_out(lambda side: side.over_a_ramp):
            start, end = merged([(self.start, self.end), *filter(None, [self.witnessed])])[0]
            is_instant = is_witnessed or self._is_cut_out(lambda side: side.at_once)
            return Stop(start, end, self.kind, self.tracks, is_witnessed, is_instant, self.ramps)
        return Stop(*self.witnessed, self.kind, self.tracks, ramps=self.ramps) if self.witnessed else None

    def may_be_stop(self) -> bool:
        """Return whether it is one, or may be if what is not shown is so."""
        either = self.before or self.behind
        whole = replace(self, before=self.before or either, behind=self.behind or either)
        return either is None or whole.stop() is not None

    def _is_cut_out(self, near: Callable[[Beside], frozenset[int]]) -> bool:
        """Return whether all that sounds does so near both ends."""
        if self.before is None or self.behind is None:
            return False
        sounding = self.before.sounding & self.behind.sounding
        nats = (self.end - self.start) * min(self.before.nats, self.behind.nats)
        is_many = len(sounding) >= LEAST_WITNESSES and nats >= SEARCHED_NATS
        return is_many and sounding <= near(self.before) & near(self.behind)

    def joined_with(self, later: Still) -> Still:
        """Return the stretch that a later block shows more of."""
        witnessed = merged(filter(None, [self.witnessed, later.witnessed]), bridge=later.end - self.start)
        longer = max(self, later, key=lambda one: one.end)
        return Still(
            self.start,
            longer.end,
            "mute" if "mute" in (self.kind, later.kind) else self.kind,
            self.tracks | later.tracks,
            witnessed[0] if witnessed else None,
            self.before or (later.before if later.start == self.start else None),
            longer.behind or (self.behind if self.end == longer.end else None),
            (self.ramps[0], longer.ramps[1]),
        )


def joined_stills(stills: Sequence[Still]) -> list[Still]:
    """Return stretches in order, those that overlap as one: a block shows a part of what goes on beyond it."""
    joined: list[Still] = []
    for still in sorted(stills, key=lambda one: (one.start, one.end)):
        if joined and still.start <= joined[-1].end:
            joined[-1] = joined[-1].joined_with(still)
        else:
            joined.append(still)
    return joined
