"""The passes of one reel compared sample by sample, in blocks, and what that says about each of them.

All positions are timeline samples until a flaw is told, which is in samples of its pass. Memory is bounded by the
block and by the number of places where passes differ, which is capped: passes that differ everywhere are not
captures of the same numbers, and that is a finding of its own, not a list of flaws.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.detecting import (
    LARGEST_LAG,
    LEAST_RUN,
    LONE_CONTEXT,
    REPEAT_REACH,
    constant_runs,
    lone_flaws,
    suspect_runs,
)
from assembler.aligner.judging import BRIDGE_SAMPLES, CONTEXT_SAMPLES, Verdict, judge, parts_of
from assembler.aligner.ranges import common, merged, ranges_of, total, without

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence
    from concurrent.futures import Executor

    from assembler.aligner.ranges import Range
    from assembler.aligner.relating import TrackReader
    from assembler.aligner.timemap import TimeMap
    from assembler.arrays import Bools, Int32s

BLOCK_SAMPLES = 1 << 17
"""2.7 s at 48 kHz: large enough that the work is in array operations, small enough for 16 reels in memory."""

MOST_GAP_SAMPLES = 1024
"""Gaps of a difference that comes and goes at a steady pace are at most this long: half a period of 23 Hz."""

RUN_MARGIN = 64
RUNS_PER_BLOCK = 400
"""Runs of one value in one block and track from which they are the material's own (gated or synthetic sound)."""

MOST_DIFFERENCES = 20000
"""Differences on one track from which two passes are not compared further."""

JUDGED_SAMPLES = 1 << 17
"""Of a longer difference only this much from its start is looked at to judge it."""


LONE_MARGIN = 2 * LARGEST_LAG + LONE_CONTEXT
"""What is read beside a lone block: a repeat with its original, and the sound around them."""


@dataclass(frozen=True)
class PlacedPass:
    """One pass of a reel with its place.

    Args:
        name: of the pass.
        reader: its audio, tape tracks in tape order.
        maps: one time map per tape track; tracks of one pass may differ in length.
    """

    name: str
    reader: TrackReader
    maps: tuple[TimeMap, ...]

    def covered(self, track: int) -> list[Range]:
        """Return the timeline ranges that the pass holds of one track."""
        return [(s.timeline_start, s.timeline_end) for s in self.maps[track].stretches]

    def samples(self, track: int, start: int, end: int) -> Int32s:
        """Return the pass's samples of a timeline range, zero where it holds none."""
        pieces = self.maps[track].covering(start, end)
        if len(pieces) == 1 and (pieces[0].timeline_start, pieces[0].timeline_end) == (start, end):
            return self.reader.read(track, pieces[0].pass_start, end - start)
        out = np.zeros(end - start, np.int32)
        for piece in pieces:
            count = piece.pass_end - piece.pass_start
            at = piece.timeline_start - start
            out[at : at + count] = self.reader.read(track, piece.pass_start, count)
        return out


@dataclass(frozen=True)
class FoundFlaw:
    """A timeline range in which one pass is not what the tape holds, on one track.

    Args:
        pass_name: of the flawed pass.
        track: from 0 in tape order.
        kind: mute, hold, straight, repeat, click, burst or disagreement.
        start: first timeline sample.
        end: first timeline sample behind it.
    """

    pass_name: str
    track: int
    kind: str
    start: int
    end: int


@dataclass(frozen=True)
class Undecided:
    """A timeline range in which passes differ and nothing tells which of them is right."""

    track: int
    start: int
    end: int
    taken: str
    others: tuple[str, ...]


@dataclass(frozen=True)
class ReelFindings:
    """What comparing the passes of a reel has shown.

    Args:
        flaws: in order of track and place.
        undecided: places where the order of trust had to do.
        unlike: pairs of passes (and the share of samples that differ) that differ nearly everywhere.
        largest_difference: of each unlike pair, in sample values.
        agreeing_flaws: flaws that every pass covering the place has: the tape's own.
    """

    flaws: tuple[FoundFlaw, ...]
    undecided: tuple[Undecided, ...] = ()
    unlike: Mapping[tuple[str, str], float] = field(default_factory=dict)
    largest_difference: Mapping[tuple[str, str], int] = field(default_factory=dict)
    agreeing_flaws: tuple[FoundFlaw, ...] = ()


@dataclass
class _TrackNotes:
    """What has been seen of one track so far; only ranges, never samples."""

    outvoted: dict[int, list[Range]] = field(default_factory=dict)
    split: dict[tuple[int, ...], list[Range]] = field(default_factory=dict)
    runs: dict[int, list[Range]] = field(default_factory=dict)
    differing: dict[tuple[int, int], int] = field(default_factory=dict)
    largest: dict[tuple[int, int], int] = field(default_factory=dict)


def compare_reel(
    passes: Sequence[PlacedPass],
    tracks: Sequence[int],
    step: int,
    full_scale: int,
    executor: Executor,
    advance: Callable[[float], None],
) -> ReelFindings:
    """Return what the passes of one reel say about each other.

    Args:
        passes: in the order of trust; not empty.
        tracks: tape tracks to compare, from 0.
        step: one step of the tape's word length, in sample values.
        full_scale: largest positive sample value.
        executor: runs the tracks side by side.
        advance: called with the share of the work done so far.
    """
    notes = {track: _TrackNotes() for track in tracks}
    start = min(s.start for p in passes for s in p.maps if s.stretches)
    end = max(s.end for p in passes for s in p.maps if s.stretches)
    for low in range(start, end, BLOCK_SAMPLES):
        high = min(end, low + BLOCK_SAMPLES)
        list(executor.map(lambda t: _note_block(passes, t, low, high, notes[t]), tracks))  # noqa: B023 - run at once
        advance((high - start) / (end - start))
    results = list(executor.map(lambda t: _weigh_track(passes, t, notes[t], step, full_scale), tracks))
    return _gathered(passes, notes, results)


def _note_block(passes: Sequence[PlacedPass], track: int, low: int, high: int, notes: _TrackNotes) -> None:
    present = [(i, common(p.covered(track), [(low, high)])) for i, p in enumerate(passes)]
    present = [(i, covered) for i, covered in present if covered]
    # A little is read beyond the block, so that a run of one value on its border is seen whole.
    held = {i: passes[i].samples(track, low - RUN_MARGIN, high + RUN_MARGIN) for i, _ in present}
    inner = {i: samples[RUN_MARGIN:-RUN_MARGIN] for i, samples in held.items()}
    _note_differences(inner, dict(present), low, notes)
    scanned: list[Int32s] = []
    for index, samples in held.items():
        if not any(np.array_equal(samples, other) for other in scanned):
            scanned.append(samples)
            runs = constant_runs(samples)
        if len(runs) <= RUNS_PER_BLOCK:
            shift = low - RUN_MARGIN
            notes.runs.setdefault(index, []).extend((r.start + shift, r.end + shift) for r in runs)


def _note_differences(
    held: Mapping[int, Int32s], covered: Mapping[int, list[Range]], low: int, notes: _TrackNotes
) -> None:
    indices = list(held)
    equal: dict[tuple[int, int], Bools] = {}
    for a, first in enumerate(indices):
        for second in indices[a + 1 :]:
            both = common(covered[first], covered[second])
            mask = _difference_mask(held[first], held[second], both, low)
            if mask is not None:
                equal[first, second] = mask
                _note_size(held, (first, second), mask, notes)
    if not equal:
        return
    if len(indices) == 2:
        pair = (indices[0], indices[1])
        notes.split.setdefault(pair, []).extend(ranges_of(equal[pair], offset=low, bridge=BRIDGE_SAMPLES))
    else:
        _note_votes(held, covered, low, notes)


def _difference_mask(first: Int32s, second: Int32s, both: Sequence[Range], low: int) -> Bools | None:
    if all(np.array_equal(first[a - low : b - low], second[a - low : b - low]) for a, b in both):
        return None
    mask = np.zeros(first.size, np.bool_)
    for a, b in both:
        np.not_equal(first[a - low : b - low], second[a - low : b - low], out=mask[a - low : b - low])
    return mask


def _note_size(held: Mapping[int, Int32s], pair: tuple[int, int], mask: Bools, notes: _TrackNotes) -> None:
    notes.differing[pair] = notes.differing.get(pair, 0) + int(mask.sum())
    difference = held[pair[0]][mask].astype(np.int64) - held[pair[1]][mask]
    notes.largest[pair] = max(notes.largest.get(pair, 0), int(np.abs(difference).max()))


def _note_votes(
    held: Mapping[int, Int32s], covered: Mapping[int, list[Range]], low: int, notes: _TrackNotes
) -> None:
    """Count for each sample which pass agrees with how many others."""
    indices = list(held)
    size = held[indices[0]].size
    here = np.zeros((len(indices), size), np.bool_)
    for row, index in enumerate(indices):
        for a, b in covered[index]:
            here[row, a - low : b - low] = True
    agree = np.zeros((len(indices), size), np.int8)
    for a, first in enumerate(indices):
        for b in range(a + 1, len(indices)):
            same = (held[first] == held[indices[b]]) & here[a] & here[b]
            agree[a] += same
            agree[b] += same
    most = agree.max(axis=0)
    losing = here & (agree < most)
    # A majority is one group larger than every other; two pairs that contradict each other settle nothing.
    holders = (here & (agree == most)).sum(axis=0)
    settled = (most >= 1) & (holders == most + 1)
    for row, index in enumerate(indices):
        mask = losing[row] & settled
        if mask.any():
            found = ranges_of(mask, offset=low, bridge=BRIDGE_SAMPLES)
            notes.outvoted.setdefault(index, []).extend(found)
    _note_open(indices, here, ~settled & (holders > 1), low, notes)


def _note_open(indices: Sequence[int], here: Bools, mask: Bools, low: int, notes: _TrackNotes) -> None:
    for start, end in ranges_of(mask, bridge=BRIDGE_SAMPLES):
        present = tuple(index for row, index in enumerate(indices) if here[row, start:end].all())
        if len(present) > 1:
            notes.split.setdefault(present, []).append((start + low, end + low))


@dataclass(frozen=True)
class _Weighed:
    flaws: list[FoundFlaw]
    undecided: list[Undecided]
    agreeing: list[FoundFlaw]


def _weigh_track(
    passes: Sequence[PlacedPass], track: int, notes: _TrackNotes, step: int, full_scale: int
) -> _Weighed:
    flaws: list[FoundFlaw] = []
    undecided: list[Undecided] = []
    for index, ranges in notes.outvoted.items():
        for place in _one_place_each(merged(ranges, bridge=BRIDGE_SAMPLES)):
            found, open_places = _judge_outvoted(passes, track, index, place, step)
            flaws += found
            undecided += open_places
    for members, ranges in notes.split.items():
        joined = _one_place_each(merged(ranges, bridge=BRIDGE_SAMPLES))
        if len(joined) > MOST_DIFFERENCES or _is_unlike(passes, track, members, notes):
            continue
        for place in joined:
            for (start, end), verdict in _judge_place(passes, track, members, place, step):
                flaws += _flaws_of(passes, track, members, verdict, (start, end))
                if not verdict.decided:
                    taken, *others = (passes[i].name for i in members)
                    undecided.append(Undecided(track, start, end, taken, tuple(others)))
    flaws += _doubted(passes, track, notes, flaws)
    known = {p.name: merged((f.start, f.end) for f in flaws if f.pass_name == p.name) for p in passes}
    alone, agreeing = _weigh_runs(passes, track, notes, known, step, full_scale)
    alone += _not_known(_lone_flaws(passes, track, step), flaws + alone)
    return _Weighed(_joined_flaws(flaws + alone), _joined_places(undecided), agreeing)


def _doubted(
    passes: Sequence[PlacedPass], track: int, notes: _TrackNotes, flaws: Sequence[FoundFlaw]
) -> list[FoundFlaw]:
    """Return what lies beside a slip whose place nothing tells, where no other pass bears it out.

    Samples there may stand as far off as the slip is long; those that another pass has too are in place. Where the
    slip lost samples they may be others than it seems, so that what a single other pass has in their place is not
    borne out either.
    """
    found: list[FoundFlaw] = []
    for index, one in enumerate(passes):
        differing = merged(place for who, places in notes.split.items() if index in who for place in places)
        others = [other for other in passes if other is not one]
        covered = merged(piece for other in others for piece in other.covered(track))
        for doubt, lost in one.maps[track].doubts():
            open_places = [*common(doubt, differing), *without(doubt, covered)]
            found += [FoundFlaw(one.name, track, "disagreement", *place) for place in open_places]
            holders = [other for other in others if common(other.covered(track), lost)]
            if common(doubt, differing) and len(holders) == 1:
                places = common(holders[0].covered(track), lost)
                found += [FoundFlaw(holders[0].name, track, "disagreement", *place) for place in places]
    return _not_known(found, flaws)


def _not_known(found: Iterable[FoundFlaw], flaws: Sequence[FoundFlaw]) -> list[FoundFlaw]:
    """Return the parts of found flaws that no other flaw of the same pass names already."""
    fresh: list[FoundFlaw] = []
    for flaw in found:
        known = merged((one.start, one.end) for one in (*flaws, *fresh) if one.pass_name == flaw.pass_name)
        fresh += [
            replace(flaw, start=start, end=end) for start, end in without([(flaw.start, flaw.end)], known)
        ]
    return fresh


def _one_place_each(ranges: Sequence[Range]) -> list[Range]:
    """Return differences with those taken together whose gaps are hardly longer than they are.

    A level held over a square wave differs from it in every other half period only.
    """
    joined: list[Range] = []
    length = 0
    for start, end in ranges:
        gap = start - joined[-1][1] if joined else 0
        if joined and gap <= min(MOST_GAP_SAMPLES, 1.5 * max(length, end - start)):
            joined[-1] = joined[-1][0], end
        else:
            joined.append((start, end))
        length = end - start
    return joined


def _joined_places(places: Iterable[Undecided]) -> list[Undecided]:
    """Return the places in order, those that follow each other closely as one: a person looks at them once."""
    joined: list[Undecided] = []
    for place in sorted(places, key=lambda one: (one.taken, one.others, one.start)):
        last = joined[-1] if joined else None
        if (
            last
            and (last.taken, last.others) == (place.taken, place.others)
            and place.start - last.end <= MOST_GAP_SAMPLES
        ):
            joined[-1] = replace(last, end=max(last.end, place.end))
        else:
            joined.append(place)
    return sorted(joined, key=lambda one: (one.start, one.end, one.taken))


def _joined_flaws(flaws: Iterable[FoundFlaw]) -> list[FoundFlaw]:
    """Return the flaws in order, those of one pass and kind that touch as one: they were judged in parts."""
    joined: list[FoundFlaw] = []
    for flaw in sorted(flaws, key=lambda one: (one.pass_name, one.kind, one.start, one.end)):
        last = joined[-1] if joined else None
        if last and (last.pass_name, last.kind) == (flaw.pass_name, flaw.kind) and flaw.start <= last.end:
            joined[-1] = replace(last, end=max(last.end, flaw.end))
        else:
            joined.append(flaw)
    return sorted(joined, key=_by_place)


def _by_place(flaw: FoundFlaw) -> tuple[int, int, str]:
    return flaw.start, flaw.end, flaw.pass_name


def _is_unlike(
    passes: Sequence[PlacedPass], track: int, members: tuple[int, ...], notes: _TrackNotes
) -> bool:
    """Return whether two passes differ in most of what they both hold."""
    first, second = members[:2]
    both = total(common(passes[first].covered(track), passes[second].covered(track)))
    return both > 0 and notes.differing.get((first, second), 0) > 0.5 * both


def _context(
    passes: Sequence[PlacedPass], track: int, members: Iterable[int], start: int, end: int
) -> list[Int32s]:
    """Return each member's samples; where one holds none, those of a member that does."""
    versions = [passes[i].samples(track, start, end) for i in members]
    gaps = [without([(start, end)], passes[i].covered(track)) for i in members]
    for version, missing in zip(versions, gaps, strict=True):
        for low, high in missing:
            for other, also_missing in zip(versions, gaps, strict=True):
                if not common([(low, high)], also_missing):
                    version[low - start : high - start] = other[low - start : high - start]
                    break
    return versions


def _judge_place(
    passes: Sequence[PlacedPass], track: int, members: tuple[int, ...], place: Range, step: int
) -> list[tuple[Range, Verdict]]:
    """Return a verdict for each part of a place in which passes differ."""
    start, end = place
    # A repeated block has its original before it, at its own length.
    before = min(end - start, REPEAT_REACH) + CONTEXT_SAMPLES
    low, high = start - before, end + CONTEXT_SAMPLES
    others = [i for i, p in enumerate(passes) if not without([(low, high)], p.covered(track))]
    witnesses = [passes[i].samples(track, low, high) for i in others if i not in members]
    versions = _context(passes, track, members, low, high)
    inner = before, before + end - start
    # Where a pass begins or ends the difference does too: that is no border of a flaw, and put outside.
    edges = {edge - low for i in members for piece in passes[i].covered(track) for edge in piece}
    judged = []
    for (first, last), part in parts_of(versions, inner):
        borders = first - (first in edges), last + (last in edges)
        verdict = judge(versions, inner, borders, part, step, witnesses)
        judged.append(((part[0] + low, part[1] + low), verdict))
    return judged


def _flaws_of(
    passes: Sequence[PlacedPass], track: int, members: tuple[int, ...], verdict: Verdict, place: Range
) -> list[FoundFlaw]:
    return [
        FoundFlaw(passes[index].name, track, kind, *place)
        for index, kind in zip(members, verdict.kinds, strict=True)
        if kind
    ]


def _judge_outvoted(
    passes: Sequence[PlacedPass], track: int, index: int, place: Range, step: int
) -> tuple[list[FoundFlaw], list[Undecided]]:
    """Name the flaw of a pass that stands against several; or theirs, when what they agree on is one.

    Two passes may be muted at the same place and agree on zeros. Where they agree on one level and nothing tells
    whether it is the tape's, the majority stands and the place is told.
    """
    others = [i for i, p in enumerate(passes) if i != index and not without([place], p.covered(track))]
    if not others:
        return [FoundFlaw(passes[index].name, track, "disagreement", *place)], []
    flaws: list[FoundFlaw] = []
    undecided: list[Undecided] = []
    for part, verdict in _judge_place(passes, track, (others[0], index), place, step):
        agreed, alone = verdict.kinds
        if agreed in ("mute", "hold") and verdict.decided:
            flaws += [FoundFlaw(passes[i].name, track, agreed, *part) for i in others]
            if not alone:
                continue
        elif not verdict.decided and _is_one_level(passes[others[0]], track, part):
            undecided.append(Undecided(track, *part, passes[others[0]].name, (passes[index].name,)))
        kind = alone if verdict.decided and alone else "disagreement"
        flaws.append(FoundFlaw(passes[index].name, track, kind, *part))
    return flaws, undecided


def _is_one_level(one: PlacedPass, track: int, part: Range) -> bool:
    samples = one.samples(track, part[0] - LEAST_RUN, part[1] + LEAST_RUN)
    return any(
        run.start <= LEAST_RUN and part[1] - part[0] + LEAST_RUN <= run.end for run in constant_runs(samples)
    )


def _weigh_runs(
    passes: Sequence[PlacedPass],
    track: int,
    notes: _TrackNotes,
    known: Mapping[str, list[Range]],
    step: int,
    full_scale: int,
) -> tuple[list[FoundFlaw], list[FoundFlaw]]:
    """Return the mutes and holds that comparison has not shown: of lone stretches, and of the tape itself."""
    alone: list[FoundFlaw] = []
    agreeing: list[FoundFlaw] = []
    for index, runs in notes.runs.items():
        for start, end in merged(runs):
            kind = _kind_of_run(passes[index], track, (start, end), step, full_scale)
            if not kind:
                continue
            # A pass that differs everywhere is no witness: it holds other numbers, right or wrong.
            others = [
                i
                for i, p in enumerate(passes)
                if i != index
                and common(p.covered(track), [(start, end)])
                and not _is_unlike(passes, track, (min(i, index), max(i, index)), notes)
            ]
            covered = merged(piece for i in others for piece in passes[i].covered(track))
            wrong = merged(piece for i in others for piece in known[passes[i].name])
            # What has been judged already is left out; so is a level that two captures agree on, or against
            # which another one has been found wrong: it is the sound itself.
            for low, high in without([(start, end)], merged([*known[passes[index].name], *wrong])):
                shared = total(common([(low, high)], covered)) > 0
                if shared and kind == "hold":
                    continue
                flaw = FoundFlaw(passes[index].name, track, kind, low, high)
                alone.append(flaw)
                if shared:
                    agreeing.append(flaw)
    return alone, agreeing


def _lone_flaws(passes: Sequence[PlacedPass], track: int, step: int) -> list[FoundFlaw]:
    """Return what each pass shows by itself where no other one covers it."""
    found: list[FoundFlaw] = []
    for one in passes:
        covered = merged(piece for other in passes if other is not one for piece in other.covered(track))
        for held in one.covered(track):
            for low, high in _blocks(without([held], covered)):
                # Read a little further, but never over the end of a stretch: a slip is a splice too.
                first, last = max(held[0], low - LONE_MARGIN), min(held[1], high + LONE_MARGIN)
                found += [
                    FoundFlaw(one.name, track, kind, max(low, start + first), min(high, end + first))
                    for kind, (start, end) in lone_flaws(one.samples(track, first, last), step)
                    if start + first < high and end + first > low
                ]
    return found


def _blocks(ranges: Iterable[Range]) -> list[Range]:
    return [
        (low, min(end, low + BLOCK_SAMPLES))
        for start, end in ranges
        for low in range(start, end, BLOCK_SAMPLES)
    ]


def _kind_of_run(one: PlacedPass, track: int, run: Range, step: int, full_scale: int) -> str:
    start, end = run
    margin = CONTEXT_SAMPLES
    left = one.samples(track, start - margin, start + margin)
    if end - start > 2 * margin:
        # Only the edges of a long run tell anything; its middle is left out.
        right = one.samples(track, end - margin, end + margin)
        samples = np.concatenate((left, right))
    else:
        samples = one.samples(track, start - margin, end + margin)
    for kind, _ in suspect_runs(samples, step, full_scale):
        return kind
    return ""


def _gathered(
    passes: Sequence[PlacedPass], notes: Mapping[int, _TrackNotes], results: Sequence[_Weighed]
) -> ReelFindings:
    unlike: dict[tuple[str, str], float] = {}
    largest: dict[tuple[str, str], int] = {}
    for track, seen in notes.items():
        for pair, count in seen.differing.items():
            names = (passes[pair[0]].name, passes[pair[1]].name)
            both = total(common(passes[pair[0]].covered(track), passes[pair[1]].covered(track)))
            if _is_unlike(passes, track, pair, seen):
                unlike[names] = max(unlike.get(names, 0.0), count / max(1, both))
                largest[names] = max(largest.get(names, 0), seen.largest[pair])
    return ReelFindings(
        tuple(flaw for result in results for flaw in result.flaws),
        tuple(place for result in results for place in result.undecided),
        unlike,
        largest,
        tuple(flaw for result in results for flaw in result.agreeing),
    )
