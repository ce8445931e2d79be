"""What comparing the passes of a reel works on and what it finds: passes in their places, flaws, undecided places.

All positions are timeline samples.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from operator import attrgetter
from typing import TYPE_CHECKING

from assembler.aligner.records.because import Rule, stronger, weaker
from assembler.aligner.records.limits import CHANCE_SAMPLES, INSTANT_SAMPLES, MOST_GAP_SAMPLES, VISIT_SAMPLES
from assembler.aligner.records.ranges import merged, without

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from assembler.aligner.records.because import Because
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.records.runs import Run


NOISE_KINDS = ("click", "burst", "disagreement")
"""What a difference between two passes is called when nothing else explains it."""
QUIET_KINDS = ("mute", "hold")
"""Flaws that are no sound."""


@dataclass(frozen=True)
class FoundFlaw:
    """A timeline range in which one pass is not what the tape holds, on one track.

    Args:
        pass_name: of the flawed pass.
        track: from 0 in tape order.
        kind: mute, hold, straight, repeat, means, click, burst or disagreement.
        start: first timeline sample.
        end: first timeline sample after it.
        because: the rule that decided; two that tell the same are the same flaw whatever decided.
    """

    pass_name: str
    track: int
    kind: str
    start: int
    end: int
    because: Because = field(compare=False, kw_only=True)


@dataclass(frozen=True)
class Undecided:
    """A timeline range in which passes differ and nothing tells which of them is right.

    Args:
        track: from 0 in tape order.
        start: first timeline sample.
        end: first timeline sample after it.
        taken: pass whose samples stand.
        others: the passes that differ from it.
        is_doubtful: whether it may well be that none of them is right.
        because: what left it open, and by how much what is likeliest leads.
    """

    track: int
    start: int
    end: int
    taken: str
    others: tuple[str, ...]
    is_doubtful: bool = False
    because: Because = field(compare=False, kw_only=True)

    @property
    def members(self) -> tuple[str, ...]:
        """The passes that differ there, by name."""
        return tuple(sorted((self.taken, *self.others)))


@dataclass(frozen=True)
class Lost:
    """What one pass lost of a woven stretch: samples, as runs ``(first, step, count)`` from the stretch's start."""

    pass_name: str
    runs: tuple[Run, ...]


@dataclass(frozen=True)
class Woven:
    """A stretch of one track that no pass has right as a whole, though each of its samples is right in some pass.

    Args:
        track: from 0 in tape order.
        start: first timeline sample.
        end: first timeline sample after it.
        lost: of each pass that takes part, in the order of trust; each covers the whole stretch.
    """

    track: int
    start: int
    end: int
    lost: tuple[Lost, ...]


@dataclass(frozen=True)
class ReelFindings:
    """What comparing the passes of a reel has shown.

    Args:
        flaws: in order of track and place.
        undecided: places where the order of trust had to do.
        unlike: pairs of passes (and the share of samples that differ) that differ nearly everywhere.
        unlike_tracks: of each unlike pair, the tracks on which they differ so.
        largest_difference: of each unlike pair, in sample values.
        agreeing_flaws: flaws that every pass covering the place has: the tape's own.
        woven: stretches that are right only sample by sample, none across another on its track; the flaws of their
            passes stand in ``flaws`` too.
        witnesses: pass and track of those that are unlike a better one and were compared with it all the same, what
            their chains did undone.
        lookalikes: what looks like a flaw and proves too little to be reported, or is there so often that it is how a
            track is played; of them the likeliest are worth listening to.
    """

    flaws: tuple[FoundFlaw, ...]
    undecided: tuple[Undecided, ...] = ()
    unlike: Mapping[tuple[str, str], float] = field(default_factory=dict)
    unlike_tracks: Mapping[tuple[str, str], frozenset[int]] = field(default_factory=dict)
    largest_difference: Mapping[tuple[str, str], int] = field(default_factory=dict)
    agreeing_flaws: tuple[FoundFlaw, ...] = ()
    woven: tuple[Woven, ...] = ()
    witnesses: frozenset[tuple[str, int]] = frozenset()
    lookalikes: tuple[FoundFlaw, ...] = ()

    def by_standing(self, names: Sequence[str], track: int) -> list[str]:
        """Return passes by how far they may be taken for the tape's own numbers on a track, best first.

        Of passes that hold other numbers all along the one stands that more others are identical with, then the more
        trusted one.
        """
        support = {name: sum(not self.are_unlike(name, other, track) for other in names) for name in names}
        return sorted(names, key=lambda name: -support[name])

    def better_ones(self, name: str, names: Sequence[str], track: int) -> list[str]:
        """Return those of the passes that hold a track that stand above one which holds other numbers all along."""
        rank = self.by_standing(names, track)
        above = rank[: rank.index(name)] if name in rank else []
        return [other for other in above if self.are_unlike(other, name, track)]

    def are_unlike(self, first: str, second: str, track: int) -> bool:
        """Return whether two passes hold other numbers all along on a track."""
        return any(track in self.unlike_tracks.get(pair, ()) for pair in ((first, second), (second, first)))


def flawed_ranges(flaws: Iterable[FoundFlaw], name: str, track: int | None = None) -> list[Range]:
    """Return where a pass is flawed: on one track, or on any of those that the flaws are of."""
    return merged(
        (flaw.start, flaw.end) for flaw in flaws if flaw.pass_name == name and track in (None, flaw.track)
    )


def ranges_by_track(flaws: Iterable[FoundFlaw]) -> dict[tuple[str, int], list[Range]]:
    """Return the ranges of flaws, by name of the pass and track, in the order of the flaws."""
    found: dict[tuple[str, int], list[Range]] = {}
    for flaw in flaws:
        found.setdefault((flaw.pass_name, flaw.track), []).append((flaw.start, flaw.end))
    return found


def joined_flaws(flaws: Iterable[FoundFlaw]) -> list[FoundFlaw]:
    """Return the flaws in order, those of one track, pass and build that touch as one: they were judged in parts.

    Noise thrown into the sound is one event, however its parts were called; samples in it may be right by chance. Of
    the rules that decided on the parts the strongest is kept.
    """
    joined: list[FoundFlaw] = []
    for flaw in sorted(flaws, key=lambda one: (*_build(one), one.start, one.end)):
        last = joined[-1] if joined else None
        bridge = CHANCE_SAMPLES if flaw.kind in NOISE_KINDS else 0
        if last and _build(last) == _build(flaw) and flaw.start <= last.end + bridge:
            joined[-1] = replace(
                last,
                kind=_joint_kind(last, flaw),
                end=max(last.end, flaw.end),
                because=stronger(last.because, flaw.because),
            )
        else:
            joined.append(flaw)
    return sorted(joined, key=attrgetter("track", "start", "end", "pass_name"))


def _build(flaw: FoundFlaw) -> tuple[int, str, str]:
    return flaw.track, flaw.pass_name, "noise" if flaw.kind in NOISE_KINDS else flaw.kind


def _joint_kind(first: FoundFlaw, second: FoundFlaw) -> str:
    if first.kind == second.kind != "click":
        return first.kind
    if "burst" not in (first.kind, second.kind) and second.end - first.start <= INSTANT_SAMPLES:
        return "click"
    return "burst"


def joined_places(places: Iterable[Undecided]) -> list[Undecided]:
    """Return the places in order, those of the same passes that follow each other closely as one."""
    return _joined_places(places, MOST_GAP_SAMPLES, lambda one: (one.taken, one.others))


def visited_places(places: Iterable[Undecided]) -> list[Undecided]:
    """Return the places in order, those that lie so close together as one, whoever differs: a person looks once."""
    return _joined_places(places, VISIT_SAMPLES, lambda _: ())


def _joined_places(
    places: Iterable[Undecided], bridge: int, of: Callable[[Undecided], tuple[object, ...]]
) -> list[Undecided]:
    """Return places, those of one track that lie close together and have in common what is asked ``of`` them as one.

    Of what left them open the part is kept that is least sure.
    """
    joined: list[Undecided] = []
    for place in sorted(places, key=lambda one: (one.track, of(one), one.start)):
        last = joined[-1] if joined else None
        if last and (last.track, of(last)) == (place.track, of(place)) and place.start - last.end <= bridge:
            others = dict.fromkeys(name for name in (*last.others, *place.members) if name != last.taken)
            because = weaker(last.because, place.because)
            joined[-1] = replace(last, end=max(last.end, place.end), others=tuple(others), because=because)
        else:
            joined.append(place)
    return sorted(joined, key=lambda one: (one.track, one.start, one.end, one.taken))


def cleared(flaws: Sequence[FoundFlaw], places: Sequence[Undecided]) -> list[FoundFlaw]:
    """Return the flaws without what had been supposed of the places."""
    open_ranges: dict[tuple[str, int], list[Range]] = {}
    for place in places:
        for name in place.members:
            open_ranges.setdefault((name, place.track), []).append((place.start, place.end))
    holes = {key: merged(ranges) for key, ranges in open_ranges.items()}
    left: list[FoundFlaw] = []
    for flaw in flaws:
        if flaw.because.rule == Rule.CONCEALED:
            left.append(flaw)  # strewn losses hold right samples anyway
            continue
        pieces = without([(flaw.start, flaw.end)], holes.get((flaw.pass_name, flaw.track), ()))
        left += [replace(flaw, start=start, end=end) for start, end in pieces]
    return left
