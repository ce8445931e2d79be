"""What concealment explains of the differences of one track: each pass's losses, what stays open, and what is left.

All positions are timeline samples.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.concealment.limits import (
    FLAW_BRIDGE,
    LONGEST_WINDOW,
    PATCH_BRIDGE,
    REGION_BRIDGE,
    WINDOW_MARGIN,
)
from assembler.aligner.concealment.settle import Settled, settle
from assembler.aligner.concealment.truth import Window
from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.findings import FoundFlaw, Undecided
from assembler.aligner.records.ranges import common, merged, pieces_of, ranges_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from assembler.aligner.concealment.marks import Machine
    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Bools


@dataclass(frozen=True)
class Concealed:
    """What concealment explains of one track.

    Args:
        flaws: stretches of a pass in which samples were lost and concealed.
        undecided: places in which it is likely, and yet open which pass lost what.
        left: where passes differ for another reason.
    """

    flaws: list[FoundFlaw]
    undecided: list[Undecided]
    left: list[Range]


@dataclass(frozen=True)
class Comparison:
    """Passes of one track that hold the same numbers where both are good, and where they differ.

    Args:
        passes: in the order of trust.
        track: from 0 in tape order.
        step: one step of the tape's word length, in sample values.
        bits: the tape's word length.
        machines: how the machine of each pass conceals.
        differing: where they differ, in order, bridged.
    """

    passes: Sequence[PlacedPass]
    track: int
    step: int
    bits: int
    machines: Sequence[Machine]
    differing: Sequence[Range]

    def windows(self, within: Sequence[Range] | None = None) -> Iterator[tuple[Range, Settled, Bools]]:
        """Give what is said of each stretch in which passes differ, and where they do; one stretch after another.

        Args:
            within: only stretches that touch one of these ranges.
        """
        for piece in pieces_of(merged(self.differing, bridge=REGION_BRIDGE), LONGEST_WINDOW):
            if within is not None and not common([piece], within):
                continue
            window = self._window(piece[0] - WINDOW_MARGIN, piece[1] + WINDOW_MARGIN)
            inner = slice(WINDOW_MARGIN, WINDOW_MARGIN + piece[1] - piece[0])
            said = settle(window)
            yield (
                piece,
                Settled(
                    said.settled[inner],
                    said.open[inner],
                    said.taken[inner],
                    said.lost[:, inner],
                    said.lead[inner],
                    said.surprise[:, inner],
                ),
                window.differing()[inner],
            )

    def _window(self, low: int, high: int) -> Window:
        versions = np.stack([one.samples(self.track, low, high) for one in self.passes]).astype(np.int64)
        present = np.zeros(versions.shape, np.bool_)
        for own, one in zip(present, self.passes, strict=True):
            for start, end in common(merged(one.covered(self.track)), [(low, high)]):
                own[start - low : end - low] = True
        return Window(versions, present, self.step, self.bits, self.machines)


def concealed(comparison: Comparison) -> Concealed:
    """Return what concealment explains of the differences."""
    names = [one.name for one in comparison.passes]
    lost: list[list[_Loss]] = [[] for _ in names]
    undecided: list[Undecided] = []
    left: list[Range] = []
    for (start, _), said, differs in comparison.windows():
        for own, surprise, losses in zip(said.lost, said.surprise, lost, strict=True):
            losses.extend(
                _Loss((low + start, high + start), float(surprise[low:high].sum()))
                for low, high in ranges_of(own & said.settled, bridge=PATCH_BRIDGE)
            )
        left += ranges_of(differs & ~said.settled & ~said.open, offset=start, bridge=PATCH_BRIDGE)
        undecided += _open_places(comparison, said, start)
    flaws = [
        FoundFlaw(name, comparison.track, "means", *loss.place, because=Because(Rule.CONCEALED, loss.nats))
        for name, losses in zip(names, lost, strict=True)
        for loss in _joined(losses)
    ]
    return Concealed(flaws, undecided, left)


@dataclass(frozen=True)
class _Loss:
    """Samples that one pass lost, and how unlikely it is by chance that they are what concealment makes, in nats."""

    place: Range
    nats: float


def _joined(losses: Sequence[_Loss]) -> list[_Loss]:
    """Return losses in order, those that lie close together as one; what they say is summed."""
    joined: list[_Loss] = []
    for loss in sorted(losses, key=lambda one: one.place):
        last = joined[-1] if joined else None
        if last and loss.place[0] <= last.place[1] + FLAW_BRIDGE:
            place = last.place[0], max(last.place[1], loss.place[1])
            joined[-1] = _Loss(place, last.nats + loss.nats)
        else:
            joined.append(loss)
    return joined


def _open_places(comparison: Comparison, said: Settled, start: int) -> list[Undecided]:
    """Return where a pass is likely to be right and does not lead; what nobody has is a flaw of all, not undecided."""
    places = []
    for index, taken in enumerate(comparison.passes):
        is_taken = said.open & (said.taken == index) & ~said.lost[index]
        for low, high in ranges_of(is_taken):
            place = low + start, high + start
            others = tuple(
                one.name
                for one in comparison.passes
                if one is not taken and common(one.covered(comparison.track), [place])
            )
            because = Because(Rule.CONCEALED, float(said.lead[low:high].min()))
            places.append(Undecided(comparison.track, *place, taken.name, others, because=because))
    return places
