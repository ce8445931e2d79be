"""Stretches in which all tracks of a pass stand still at once while another pass sounds: a machine's mutes and holds.

All tracks of a tape lie in the same sweeps, so that what can't be read stops all of them at the same sample. Sound from
a converter stands still on several tracks at once only where it is next to nothing, and never for long. Such a pass is
treated as if it held nothing there.

All positions are timeline samples.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import reduce
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.events.limits import LONGEST_RAMP
from assembler.aligner.events.stops.stop import Beside, Still
from assembler.aligner.records.because import Because
from assembler.aligner.records.findings import FoundFlaw
from assembler.aligner.records.limits import FEW, HALF, INSTANT_SAMPLES, LEAST_PROOFS, NEARLY_ALL
from assembler.aligner.records.passes import PlacedPass
from assembler.aligner.records.ranges import common, merged, ranges_of, without
from assembler.aligner.sound.limits import FIT_SAMPLES, LEAST_RUN

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assembler.aligner.events.stops.stop import Stop
    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Int32s


@dataclass(frozen=True)
class HeardPass(PlacedPass):
    """A pass as it is heard: where all its tracks stand still, or one has a stuck bit, it holds nothing.

    Args:
        unheard: of each track, in order.
    """

    unheard: tuple[tuple[Range, ...], ...] = ()

    def covered(self, track: int) -> list[Range]:
        """Return the timeline ranges that are heard of one track."""
        return without(super().covered(track), self.unheard[track])


def heard(one: PlacedPass, stops: Sequence[Stop], stuck: Mapping[int, Sequence[Range]]) -> PlacedPass:
    """Return a pass without what stands still, and without the stretches of each track that have a stuck bit."""
    if not stops and not stuck:
        return one
    still = [(stop.start, stop.end) for stop in stops]
    unheard = (tuple(merged([*still, *stuck.get(track, ())])) for track in range(len(one.maps)))
    return HeardPass(one.name, one.reader, one.maps, tuple(unheard))


def find_stills(
    held: Mapping[int, Sequence[Int32s]],
    covered: Mapping[int, Sequence[Range]],
    low: int,
    tracks: Sequence[int],
    step: int,
) -> dict[int, list[Still]]:
    """Return where each pass stands still on all tracks while another one sounds, or is cut out, as far as is shown.

    Args:
        held: samples of each pass, one array a track, all of one length.
        covered: where each pass holds all of these tracks.
        low: timeline sample of the first one.
        tracks: tape tracks that the arrays are of, from 0.
        step: of the tape, in sample values.
    """
    # Samples that a slip leaves out inside a mute part nothing.
    covering = {index: merged(ranges, bridge=LEAST_RUN) for index, ranges in covered.items()}
    found: dict[int, list[Still]] = {}
    for index, own in held.items():
        places = [(start + low, end + low) for start, end in _still_ranges(own)]
        for start, end in common(places, covering[index]):
            holding = next(piece for piece in covering[index] if piece[0] <= start < piece[1])
            of_block = (start - low, end - low), (holding[0] - low, holding[1] - low)
            moving = [_moves_beside(one, *of_block) for one in own]
            parts = [
                part
                for other, theirs in held.items()
                if other != index
                for part in common([(start, end)], covering[other])
                if part[1] - part[0] >= LEAST_RUN
                and _sounds_on(own, theirs, slice(part[0] - low, part[1] - low), moving)
            ]
            known = _as_far_as_witnessed((start, end), parts, covering[index])
            others = [theirs for other, theirs in held.items() if other != index]
            early, late = _ramps(own, others, known[0] - low, known[1] - low, step)
            inside = slice(start - low, end - low)
            beside = max(low, start - FIT_SAMPLES), end + FIT_SAMPLES
            heard = [(theirs, common([beside], covering[other])) for other, theirs in held.items()]
            ramps = early if known[0] == start else 0, late if known[1] == end else 0
            still = Still(
                start - ramps[0],
                end + ramps[1],
                "hold" if any(one[inside].any() for one in own) else "mute",
                frozenset(
                    track
                    for number, track in enumerate(tracks)
                    if any(np.ptp(one[number][a - low : b - low]) for one, parts in heard for a, b in parts)
                ),
                (known[0] - early, known[1] + late) if parts else None,
                _beside([one[: inside.start][::-1] for one in own]),
                _beside([one[inside.stop :] for one in own]),
                ramps,
            )
            if still.may_be_stop():
                found.setdefault(index, []).append(still)
    return found


def _as_far_as_witnessed(still: Range, parts: Sequence[Range], covering: Sequence[Range]) -> Range:
    """Return how much of what stands still is known to: up to an end of the pass, though another one ended before."""
    if not parts:
        return still
    start, end = min(parts)[0], max(last for _, last in parts)
    ends = {edge for place in covering for edge in place}
    return still[0] if still[0] in ends else start, still[1] if still[1] in ends else end


def _beside(sides: Sequence[Int32s]) -> Beside | None:
    """Return how tracks sound on one side of a place, by what they hold from there on; None where they hold little."""
    if sides[0].size < FIT_SAMPLES:
        return None
    shares = [_moving(side[:FIT_SAMPLES]) for side in sides]
    # A machine may hold nearly all it reads.
    sounding = {track: share for track, share in enumerate(shares) if share >= FEW * FEW}
    ramp, instant = (
        frozenset(t for t, share in sounding.items() if _moving(sides[t][:size]) >= FEW * share)
        for size in (LONGEST_RAMP, INSTANT_SAMPLES)
    )
    nats = sum(_nats_for_still(sides[track][:FIT_SAMPLES]) for track in sounding)
    return Beside(frozenset(sounding), ramp, instant, nats)


def _nats_for_still(samples: Int32s) -> float:
    """Return how unlikely it is that a sample stays where it is once the one before did."""
    moves = np.diff(samples) != 0
    after = moves[1:][~moves[:-1]]
    share = float(np.mean(after)) if after.size else 1.0
    return -float(np.log1p(-min(share, NEARLY_ALL)))


def _moving(samples: Int32s) -> float:
    """Return the share of samples that differ from the one before."""
    return float(np.mean(np.diff(samples) != 0))


def _still_ranges(tracks: Sequence[Int32s]) -> list[Range]:
    is_still = np.ones(tracks[0].size - 1, np.bool_)
    for own in tracks:
        is_still &= own[1:] == own[:-1]
        if not is_still.any():
            return []
    # A level is held from the last good sample on; a mute begins with its own first zero.
    return [
        (start + (0 if not any(own[start] for own in tracks) else 1), end)
        for start, end in ranges_of(np.append(is_still, [False]), least=LEAST_RUN)
        for end in [end + 1]
    ]


def _sounds_on(own: Sequence[Int32s], other: Sequence[Int32s], part: slice, moving: Sequence[bool]) -> bool:
    """Return whether another pass sounds in a part of what stands still, on several tracks that move beside that."""
    sounding = 0
    for mine, theirs, moves in zip(own, other, moving, strict=True):
        differing = np.count_nonzero(theirs[part] != mine[part])
        # A machine may hold what it read of a sound, but not for long.
        is_moving = (
            LEAST_RUN * np.count_nonzero(np.diff(theirs[part])) >= differing >= FEW * theirs[part].size
        )
        sounding += bool(is_moving) and moves
    return sounding >= LEAST_PROOFS


def _moves_beside(own: Int32s, still: Range, held: Range) -> bool:
    """Return whether a track moves before or behind what stands still; or is not shown there, in what is held."""
    start, end = still
    before, behind = (
        own[max(held[0], start - FIT_SAMPLES, 0) : start],
        own[end : min(held[1], end + FIT_SAMPLES)],
    )
    shown = [_moving(side) >= FEW for side in (before, behind) if side.size > 1]
    return any(shown) or not shown


def _ramps(
    own: Sequence[Int32s], others: Sequence[Sequence[Int32s]], start: int, end: int, step: int
) -> tuple[int, int]:
    """Return for how many samples before and behind a stop all tracks fade into it and out of it."""
    before, behind = slice(max(0, start - LONGEST_RAMP - 1), start), slice(end, end + LONGEST_RAMP + 1)
    into, out = [], []
    for other in others:
        pairs = list(zip(own, other, strict=True))
        into.append(_fade([(a[before][::-1] - a[start], b[before][::-1] - a[start]) for a, b in pairs], step))
        out.append(_fade([(a[behind] - a[end - 1], b[behind] - a[end - 1]) for a, b in pairs], step))
    # Where two passes fade alike a third one tells; what one of them lost beside it only makes it longer.
    return min(filter(None, into), default=0), min(filter(None, out), default=0)


def _fade(sides: Sequence[tuple[Int32s, Int32s]], step: int) -> int:
    """Return for how many samples tracks are a fade of what another pass holds.

    Args:
        sides: of each track what both passes hold from the stop on, as distances from its level.
        step: of the tape.
    """
    # What is turned down by any step of a ramp is another value, if it is not small; behind it some track agrees.
    agreeing = [
        np.flatnonzero((mine == theirs) & (np.abs(theirs) > LONGEST_RAMP * step)) for mine, theirs in sides
    ]
    length = min((int(at[0]) for at in agreeing if at.size), default=0)
    nearer = slice(-(-length // 2))
    mine, theirs = (sum(int(np.abs(pair[of][nearer]).sum()) for pair in sides) for of in (0, 1))
    return length if mine < HALF * theirs else 0


def covered_by_all(one: PlacedPass, tracks: Sequence[int]) -> list[Range]:
    """Return where a pass holds all of some tracks."""
    return reduce(common, (merged(one.covered(track)) for track in tracks))


def stop_flaws(passes: Sequence[PlacedPass], stops: Mapping[int, Sequence[Stop]]) -> list[FoundFlaw]:
    """Return where passes, by their index, stand still or repeat themselves, as flaws of each track told of."""
    return [
        FoundFlaw(passes[index].name, track, stop.kind, stop.start, stop.end, because=Because(stop.rule))
        for index, places in stops.items()
        for stop in places
        for track in stop.tracks
    ]
