"""Whose slip it is: what a change of shift between two passes, or a log, says of samples lost and repeated.

A change of shift is a slip of either pass. Which one is settled by a third pass, else by the sound (see ``surplus``),
else by the timecode logs, else by the order of trust (and reported). Positions are samples of the passes themselves.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

from assembler.aligner.place.limits import ANCHOR_SAMPLES
from assembler.aligner.place.slips.logged import is_logged, only_logged
from assembler.aligner.records.limits import BRIDGE_SAMPLES, LEAST_PROOFS
from assembler.aligner.records.ranges import merged
from assembler.aligner.records.timemap import Slip

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assembler.aligner.place.relation import Relation
    from assembler.aligner.place.slips.surplus import Slipped
    from assembler.aligner.records.ranges import Range
    from assembler.importer import Position


@dataclass(frozen=True)
class OwnSlip:
    """A slip that a pass is taken to have.

    Args:
        slip: in samples of that pass.
        is_sure: whether anything but the order of trust says that it is not the other pass's.
    """

    slip: Slip
    is_sure: bool


@dataclass(frozen=True)
class _RelativeSlip:
    at_reference: int
    at_probe: int
    change: int
    doubt_reference: tuple[int, int]
    doubt_probe: tuple[int, int]
    slipped: Slipped | None

    def reach(self) -> tuple[int, int]:
        """Return the samples of the reference between which the slip lies."""
        low, high = self.doubt_reference
        return min(low, self.at_reference), max(high, self.at_reference)

    def lies_at(self, start: int, end: int) -> bool:
        """Return whether the slip may lie in (or close by) a range of the reference."""
        low, high = self.reach()
        return low < end + ANCHOR_SAMPLES and start < high + ANCHOR_SAMPLES

    def distance_to(self, slip: Slip) -> int:
        """Return how many samples of the reference lie between this slip and one of its own.

        Of samples that it repeated either copy may be left out.
        """
        behind = slip.pass_sample + max(0, -slip.samples)
        return max(slip.pass_sample - self.at_reference, self.at_reference - behind, 0)

    def is_same(self, other: _RelativeSlip) -> bool:
        """Return whether two passes may bear witness to one slip of the reference."""
        return self.change == other.change and self.lies_at(*other.reach())


def proved_ranges(relations: Mapping[str, Relation | None]) -> list[Range]:
    """Return the samples of the reference for which others bear witness."""
    return merged(
        (r.proved[0] + r.stretches[0].shift, r.proved[1] + r.stretches[-1].shift)
        for r in relations.values()
        if r is not None
    )


def reference_slips(
    position: Position, relations: Mapping[str, Relation | None], doubled: Sequence[Slip], sample_rate: int
) -> list[Slip]:
    """Return the slips that are the reference's own by the evidence of the others, in order.

    Args:
        position: of the reference.
        relations: of the other passes to it.
        doubled: those that its own sound shows where no other pass bears witness.
        sample_rate: of the session.
    """
    own: list[Slip] = []
    for group in _seen_slips(relations):
        names = {name for name, _ in group}
        # The witness without a flaw there knows the place best.
        best = min(
            (slip for _, slip in group), key=lambda slip: slip.doubt_reference[1] - slip.doubt_reference[0]
        )
        # One that changes there, too, by something else, may hide the same slip beside its own.
        witnesses = {
            name
            for name, other in relations.items()
            if name in names or (_looks_across(other, best.at_reference) and not _changes_at(other, best))
        }
        outnumbered = len(names) > 1 and len(names) == len(witnesses)
        if outnumbered or (witnesses <= names and _is_told(group, position, best, sample_rate)):
            own.append(Slip(best.at_reference, -best.change, best.doubt_reference))
    seen = [(slip.at_reference, -slip.change) for group in _seen_slips(relations) for _, slip in group]
    seen += [(slip.pass_sample, slip.samples) for slip in doubled]
    own += [*doubled, *only_logged(position, proved_ranges(relations), seen, sample_rate)]
    return sorted(own, key=lambda slip: slip.pass_sample)


def probe_slips(
    position: Position, relation: Relation, known: Sequence[Slip], third: Sequence[Relation], sample_rate: int
) -> list[OwnSlip]:
    """Return the slips that are a pass's own: changes of shift that are not the reference's."""
    slips = _relative_slips(relation)
    # Of the reference's slips each explains one change, that by as much first.
    explained: list[list[Slip]] = [[] for _ in slips]
    for one in known:
        copies = one.pass_sample, one.pass_sample + max(0, -one.samples)
        near = [number for number, slip in enumerate(slips) if slip.lies_at(*copies)]
        if near:
            best = min(near, key=lambda n: (slips[n].change != -one.samples, slips[n].distance_to(one)))
            explained[best].append(one)
    own = []
    for slip, theirs in zip(slips, explained, strict=True):
        rest = slip.change + sum(one.samples for one in theirs)
        if rest:
            is_sure = (
                bool(theirs)
                or slip.slipped == "probe"
                or is_logged(position, slip.at_probe, rest, sample_rate)
                or any(_runs_on(other, slip) for other in third)
            )
            own.append(OwnSlip(Slip(slip.at_probe, rest, slip.doubt_probe), is_sure))
    return own


def unproved_slips(
    position: Position, relation: Relation | None, doubled: Sequence[Slip], sample_rate: int
) -> list[Slip]:
    """Return the slips that only a pass itself shows, or its log: where no pass that it is related to bears witness."""
    seen = [(slip.at_probe, slip.change) for slip in _relative_slips(relation)] if relation else []
    seen += [(slip.pass_sample, slip.samples) for slip in doubled]
    logged = only_logged(position, [relation.proved] if relation else [], seen, sample_rate)
    return sorted([*doubled, *logged], key=lambda slip: slip.pass_sample)


def _relative_slips(relation: Relation) -> list[_RelativeSlip]:
    slips = [
        _RelativeSlip(
            a.end + a.shift,
            a.end,
            b.shift - a.shift,
            (b.doubt[0] + a.shift, b.doubt[1] + b.shift),
            b.doubt,
            b.slipped,
        )
        for a, b in pairwise(relation.stretches)
    ]
    return [replace(slip, slipped=_slipped_in_series(slip, slips) or slip.slipped) for slip in slips]


def _slipped_in_series(slip: _RelativeSlip, slips: Sequence[_RelativeSlip]) -> Slipped | None:
    """Return who slipped by as much again and again: clocks that drift apart do, at even intervals.

    Where one of the passes is muted several such slips look like one, no more than there are intervals. A machine that
    holds what it can't read makes a sample stand twice where the other pass lost one: at the pace of the series that is
    no other one's slip. Where the other pass slipped by as much, too, the pace tells which one it is.
    """
    known = [other for other in slips if other is not slip and other.slipped is not None]
    step = min((abs(other.change) for other in known), default=1)
    places: dict[Slipped, set[int]] = {}
    for other in known:
        if other.slipped and other.change * slip.change > 0 and abs(other.change) == step:
            # A buffer that is written over and over slips at one place of the other pass.
            places.setdefault(other.slipped, set()).add(other.at_reference)
    series = {who: sorted(own) for who, own in places.items() if len(own) >= LEAST_PROOFS}
    count, off = divmod(abs(slip.change), step)
    fitting = [who for who, own in series.items() if not off and _has_room(slip, own, count)]
    if slip.slipped is None and len(places) == 1:
        return fitting[0] if fitting else None
    paced = [who for who in fitting if _keeps_pace(slip, series[who])]
    return paced[0] if len(paced) == 1 and (slip.slipped is None or len(places) == 1) else None


def _has_room(slip: _RelativeSlip, places: Sequence[int], count: int) -> bool:
    """Return whether so many of a series may lie where a slip does: all that are between two of them may hide there."""
    low, high = slip.reach()
    pace = min((b - a for a, b in pairwise(places) if b < low or a > high), default=0)
    return (count - 1) * pace <= high - low + 2 * BRIDGE_SAMPLES


def _keeps_pace(slip: _RelativeSlip, places: Sequence[int]) -> bool:
    """Return whether a slip may lie a whole number of intervals from each of a series, some of which may be hidden.

    Or just half-way between two of them: then it is the one that is missing.
    """
    pace = min(b - a for a, b in pairwise(places))
    low, high = slip.reach()
    return any(abs(a + b - 2 * slip.at_reference) <= BRIDGE_SAMPLES for a, b in pairwise(places)) or all(
        (place - low + BRIDGE_SAMPLES) % pace <= high - low + 2 * BRIDGE_SAMPLES for place in places
    )


def _seen_slips(relations: Mapping[str, Relation | None]) -> list[list[tuple[str, _RelativeSlip]]]:
    """Return the changes of shift with the names of who sees them, those together that may be one slip."""
    seen: list[list[tuple[str, _RelativeSlip]]] = []
    for name, relation in relations.items():
        for slip in _relative_slips(relation) if relation else ():
            same = next((group for group in seen if any(slip.is_same(known) for _, known in group)), None)
            if same is None:
                seen.append([(name, slip)])
            else:
                same.append((name, slip))
    return seen


def _is_told(
    group: Sequence[tuple[str, _RelativeSlip]], position: Position, best: _RelativeSlip, sample_rate: int
) -> bool:
    """Return whether the sound says that a slip is the reference's; or its log, where the sound does not tell."""
    told = {slip.slipped for _, slip in group if slip.slipped is not None}
    if told:
        return told == {"reference"}
    return is_logged(position, best.at_reference, -best.change, sample_rate)


def _looks_across(relation: Relation | None, at: int) -> bool:
    """Return whether a pass is proved to hold the reference's samples on both sides of ``at``."""
    if relation is None:
        return False
    first, last = relation.stretches[0], relation.stretches[-1]
    start, end = relation.proved[0] + first.shift, relation.proved[1] + last.shift
    return start < at - ANCHOR_SAMPLES and end > at + ANCHOR_SAMPLES


def _changes_at(relation: Relation | None, slip: _RelativeSlip) -> bool:
    return relation is not None and any(known.lies_at(*slip.reach()) for known in _relative_slips(relation))


def _runs_on(relation: Relation, slip: _RelativeSlip) -> bool:
    """Return whether a third pass runs on beside the reference where another one's shift changes."""
    return _looks_across(relation, slip.at_reference) and not any(
        known.is_same(slip) for known in _relative_slips(relation)
    )
