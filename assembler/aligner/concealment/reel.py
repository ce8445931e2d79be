"""What concealment explains of the differences of a reel: each pass's losses, what stays open, and what is left.

All positions are timeline samples.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.concealment.settle import settle
from assembler.aligner.concealment.truth.window import Window
from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.findings import FoundFlaw, Undecided
from assembler.aligner.records.limits import BRIDGE_SAMPLES, MOST_GAP_SAMPLES, READ_SAMPLES, VISIT_SAMPLES
from assembler.aligner.records.ranges import common, covering, merged, pieces_of, ranges_of
from assembler.aligner.sound.limits import NOISE_SAMPLES

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from concurrent.futures import Executor

    from assembler.aligner.concealment.marks import Machine
    from assembler.aligner.concealment.settle import Settled
    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Bools, Bytes


@dataclass(frozen=True)
class Concealed:
    """What concealment explains of one track.

    Args:
        flaws: stretches of a pass in which samples were lost and concealed.
        undecided: places in which it is likely, and yet open which pass lost what.
        left: where passes differ for another reason.
        lost: sample by sample, of each stretch that was looked at.
    """

    flaws: list[FoundFlaw]
    undecided: list[Undecided]
    left: list[Range]
    lost: list[LostSamples]


@dataclass(frozen=True)
class LostSamples:
    """Which samples of a stretch each pass lost.

    Args:
        place: the stretch.
        bits: a bit a sample, shape (passes, bytes).
    """

    place: Range
    bits: Bytes

    def masks(self) -> Bools:
        """Return it as shape (passes, samples)."""
        size = self.place[1] - self.place[0]
        return np.asarray(np.unpackbits(self.bits, axis=1, count=size), np.bool_)


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

    @property
    def names(self) -> tuple[str, ...]:
        """Of the passes."""
        return tuple(one.name for one in self.passes)

    def window(self, low: int, high: int) -> Window:
        """Return what the passes hold from one timeline sample to another."""
        versions = np.stack([one.samples(self.track, low, high) for one in self.passes]).astype(np.int64)
        held = [common(merged(one.covered(self.track)), [(low, high)]) for one in self.passes]
        present = np.stack([covering(own, low, high - low) for own in held])
        return Window(self.names, versions, present, self.step, self.bits, self.machines)


def concealed(
    comparisons: Sequence[Comparison], executor: Executor, advance: Callable[[float], None]
) -> list[Concealed]:
    """Return what concealment explains of the differences of each track.

    All tracks are looked at together, since what is lost of a tape takes all.

    Args:
        comparisons: of all tracks of a reel.
        executor: runs stretches side by side.
        advance: called with the share of the work done so far.
    """
    differing = merged((place for one in comparisons for place in one.differing), bridge=VISIT_SAMPLES)
    # Of each sample more is kept than of one that is only compared.
    places = pieces_of(differing, READ_SAMPLES // 2)
    pieces = []
    for piece in executor.map(partial(_look_at, comparisons), places):
        pieces.append(piece)
        advance(len(pieces) / len(places))
    return [_joined([piece[number] for piece in pieces]) for number in range(len(comparisons))]


def _look_at(comparisons: Sequence[Comparison], piece: Range) -> list[Concealed]:
    """Return what is said of each track in a stretch."""
    windows = [one.window(piece[0] - NOISE_SAMPLES, piece[1] + NOISE_SAMPLES) for one in comparisons]
    inner = slice(NOISE_SAMPLES, NOISE_SAMPLES + piece[1] - piece[0])
    found = []
    for comparison, window, whole in zip(comparisons, windows, settle(windows), strict=True):
        said = whole.part(inner)
        # What nobody has is a flaw of all.
        nobodys = said.open & (said.lost | ~window.present[:, inner]).all(axis=0)
        told = partial(FoundFlaw, track=comparison.track, kind="means")
        flaws = [
            told(
                name,
                start=low + piece[0],
                end=high + piece[0],
                # How unlikely it is by chance that the samples are what concealment makes.
                because=Because(Rule.CONCEALED, float(surprise[low:high].sum())),
            )
            for name, own, surprise in zip(comparison.names, said.lost, said.surprise, strict=True)
            for low, high in ranges_of(own & (said.settled | nobodys), bridge=BRIDGE_SAMPLES)
        ]
        left = window.differing[inner] & ~said.settled & ~said.open
        found.append(
            Concealed(
                flaws,
                _open_places(comparison, said, piece[0]),
                ranges_of(left, offset=piece[0], bridge=BRIDGE_SAMPLES),
                [LostSamples(piece, np.packbits(said.lost, axis=1))],
            )
        )
    return found


def _joined(pieces: Sequence[Concealed]) -> Concealed:
    """Return what is said of one track in all stretches, in order."""
    return Concealed(
        _joined_losses(flaw for piece in pieces for flaw in piece.flaws),
        [place for piece in pieces for place in piece.undecided],
        [place for piece in pieces for place in piece.left],
        [stretch for piece in pieces for stretch in piece.lost],
    )


def _joined_losses(losses: Iterable[FoundFlaw]) -> list[FoundFlaw]:
    """Return the losses of passes, those of one that lie close together as one; what they say is summed."""
    joined: list[FoundFlaw] = []
    for loss in sorted(losses, key=lambda one: (one.pass_name, one.start)):
        last = joined[-1] if joined else None
        if last and last.pass_name == loss.pass_name and loss.start <= last.end + MOST_GAP_SAMPLES:
            nats = (last.because.nats or 0.0) + (loss.because.nats or 0.0)
            joined[-1] = replace(last, end=loss.end, because=Because(Rule.CONCEALED, nats))
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
