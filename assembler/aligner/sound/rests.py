"""Rests of an instrument told from mutes, as one capture shows them by itself.

A drum machine whose sounds are cut off, a gate and a chopped voice fall silent from one sample to the next, and are
there again from one sample to the next: each rest looks like a mute. But an instrument does so again and again. The
same sound is cut off at the same sample; a sound sets in from zero, or is far louder than the one before the rest;
rests are long. A mute lays silence over a sound that goes on underneath: it is as loud behind, and anywhere in its
swing.

All positions are timeline samples; audio is ``int32``, shape ``(samples,)``.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.records.limits import (
    CLEARLY,
    HALF,
    INSTANT_SAMPLES,
    LEAST_TELLING,
    NEAR_SAMPLES,
    NEIGHBOURS,
    READ_SAMPLES,
    WINDOW_SAMPLES,
)
from assembler.aligner.records.ranges import merged, pieces_of, range_around, without
from assembler.aligner.sound.levels import Run, constant_runs, cuts_off, loud_edges
from assembler.aligner.sound.limits import (
    FIT_SAMPLES,
    LEAST_BEAT,
    LEAST_FALL,
    LEAST_REST,
    LEAST_RUN,
    LONGEST_PAUSE,
    MOST_ALIKE,
    MOST_SOFT,
    RESTING_SHARE,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Bools, Float64s, Int32s, Int64s


@dataclass(frozen=True)
class Rests:
    """Silences of one track that cut sound off and are no mutes for certain.

    Args:
        natural: where a sound is cut off that is cut off there elsewhere too.
        doubtful: more than a few that may be the instrument's own.
    """

    natural: list[Range]
    doubtful: list[Range]


@dataclass(frozen=True)
class Silence:
    """Zeros between sound, with what is known of them.

    Args:
        place: first zero, and the sample behind the last.
        cut: the end of the sound before; empty where it is quiet, or holds the same samples more than once.
        onset: the beginning of the sound behind, likewise.
        cuts_off: whether sound is cut off at both ends.
        goes_on: whether the sound behind may be the one before, going on underneath.
    """

    place: Range
    cut: bytes
    onset: bytes
    cuts_off: bool
    goes_on: bool

    @property
    def size(self) -> int:
        """How many zeros there are."""
        return self.place[1] - self.place[0]


def find_rests(one: PlacedPass, track: int, witnessed: Sequence[Range], step: int) -> Rests:
    """Return the silences that look like mutes, but are how an instrument is played.

    What other passes cover is left out.
    """
    # Cut at the pass's slips: what stands before one does not go on behind it.
    lone = [piece for held in one.covered(track) for piece in without([held], witnessed)]
    return rests_among([silence for piece in lone for silence in silences_in(one, track, piece, step)])


def silences_in(one: PlacedPass, track: int, piece: Range, step: int) -> list[Silence]:
    """Return the silences between sound that lie whole within a piece of a pass."""
    return [_silence(one, track, place, step) for place in _zeros(one, track, piece)]


def rests_among(silences: Sequence[Silence]) -> Rests:
    """Return those of one track's silences that look like mutes, but are how it is played.

    They are in order, as far back as they shall bear witness to each other.
    """
    cuts, onsets = Counter(one.cut for one in silences), Counter(one.onset for one in silences)
    cutting = [silence for silence in silences if silence.cuts_off]
    recurring, singular = _parted(cutting, lambda one: bool(one.cut) and cuts[one.cut] > 1)
    known, unknown = _parted(singular, lambda one: bool(one.onset) and onsets[one.onset] > 1)
    is_exact = len(recurring) + len(known) >= RESTING_SHARE * len(cutting)
    beats = _in_rhythm(unknown)
    likely = [one for one in unknown if one.place in beats or _may_rest(one, is_exact=is_exact)]
    doubtful = [*known, *likely]
    if len(doubtful) <= MOST_ALIKE or len(recurring) + len(doubtful) < RESTING_SHARE * len(cutting):
        doubtful = []
    places = {one.place for one in doubtful} | beats
    return Rests([one.place for one in recurring], sorted(places))


def _may_rest(silence: Silence, *, is_exact: bool) -> bool:
    """Return whether a silence looks like a rest; a sequencer that plays the same numbers again shows each twice."""
    if silence.goes_on:
        return silence.size > LONGEST_PAUSE and not is_exact
    return silence.size >= LEAST_REST


class SharedRests:
    """Which silences of one track, that cut sound off and that passes have alike, are rests of an instrument.

    A silence is unless the sound goes on behind it as before; also then, if what is cut off is cut off so elsewhere.
    For that a pass is listened to as a whole, once, where it is asked about at all.

    Args:
        track: from 0 in tape order.
        step: one step of the tape's word length.
    """

    def __init__(self, track: int, step: int) -> None:
        self._track, self._step = track, step
        self._recurring: dict[str, list[Range]] = {}

    def holds(self, one: PlacedPass, place: Range) -> bool:
        """Return whether a silence is a rest."""
        if not _silence(one, self._track, place, self._step).goes_on:
            return True
        if one.name not in self._recurring:
            self._recurring[one.name] = find_rests(one, self._track, (), self._step).natural
        return range_around(self._recurring[one.name], place) is not None


def _parted(
    silences: Sequence[Silence], is_first: Callable[[Silence], bool]
) -> tuple[list[Silence], list[Silence]]:
    """Return those of which something is so, and the others."""
    return [one for one in silences if is_first(one)], [one for one in silences if not is_first(one)]


def _in_rhythm(silences: Sequence[Silence]) -> set[Range]:
    """Return silences of one length that stand on a grid, as a gate that a sequencer opens makes them."""
    found: set[Range] = set()
    for size in {silence.size for silence in silences if silence.size >= LEAST_REST}:
        alike = [silence.place for silence in silences if abs(silence.size - size) <= 1]
        keeping = _on_grid(np.array([start for start, _ in alike], np.int64))
        found |= {place for place, keeps in zip(alike, keeping, strict=True) if keeps}
    return found


def _on_grid(places: Int64s) -> Bools:
    """Return which places, in order, stand on one grid to the sample, where many do: whole beats from those near."""
    gaps = np.diff(places)
    gaps = gaps[gaps >= LEAST_BEAT]
    if gaps.size < LEAST_TELLING:
        return np.zeros(places.size, np.bool_)
    tried = sorted(gap for gap, _ in Counter(gaps.tolist()).most_common(NEIGHBOURS))
    share = max((_whole_beats(places, beat) for beat in tried), key=lambda share: float(share.mean()))
    keeping = share >= HALF
    return np.asarray(keeping & (np.mean(keeping) >= HALF), np.bool_)


def _whole_beats(places: Int64s, beat: int) -> Float64s:
    """Return for each place to how many of those near to it, as a share, it is so many whole beats."""
    whole, near = np.zeros(places.size), np.zeros(places.size)
    for away in range(1, NEIGHBOURS + 1):
        gaps = places[away:] - places[:-away]
        beats = np.rint(gaps / beat)
        fits = np.abs(gaps - beats * beat) <= np.maximum(beats, NEAR_SAMPLES)
        for side in (slice(away, None), slice(None, -away)):
            whole[side] += fits
            near[side] += 1
    return whole / near


def _zeros(one: PlacedPass, track: int, piece: Range) -> list[Range]:
    """Return the runs of zeros within a piece, those across blocks whole."""
    found: list[Range] = []
    for low, high in pieces_of([piece], READ_SAMPLES):
        first, last = max(piece[0], low - LEAST_RUN), min(piece[1], high + LEAST_RUN)
        packed = one.packed(track, first, last)
        if packed and not packed.has_zeros(LEAST_RUN):
            continue
        runs = constant_runs(packed.unpacked() if packed else one.samples(track, first, last))
        found += [(first + run.start, first + run.end) for run in runs if not run.value]
    return [place for place in merged(found) if piece[0] < place[0] and place[1] < piece[1]]


def _silence(one: PlacedPass, track: int, place: Range, step: int) -> Silence:
    """Return what is known of a run of zeros; of a long one only its edges are read."""
    before = one.samples(track, place[0] - FIT_SAMPLES, place[0])
    behind = one.samples(track, place[1], place[1] + FIT_SAMPLES)
    size = min(place[1] - place[0], LONGEST_PAUSE + 1)
    samples = np.concatenate((before, np.zeros(size, np.int32), behind))
    run = Run(before.size, before.size + size, 0)
    is_cut, sets_in = loud_edges(samples, run, step)
    return Silence(
        place,
        _telling(before[::-1]) if is_cut else b"",
        _telling(behind) if sets_in else b"",
        cuts_off(samples, run, step),
        not (is_cut and sets_in) or goes_on(before, behind),
    )


def _telling(sound: Int32s) -> bytes:
    """Return the first samples of sound by which it is known again; none where it holds them twice."""
    edge = sound[:INSTANT_SAMPLES]
    for at in np.flatnonzero(sound[1 : 1 - INSTANT_SAMPLES] == edge[0]) + 1:
        if np.array_equal(sound[at : at + INSTANT_SAMPLES], edge):
            return b""
    return edge.tobytes()


def goes_on(before: Int32s, behind: Int32s) -> bool:
    """Return whether sound behind a silence is about as loud as before it, and does not set in from zero.

    Args:
        before: 5 ms or more of the sound that ends there.
        behind: as much of the sound that begins.
    """
    sides = before[-WINDOW_SAMPLES:].astype(np.float64), behind[:WINDOW_SAMPLES].astype(np.float64)
    level, level_behind = (float(np.sqrt(np.mean(side**2))) for side in sides)
    if not LEAST_FALL * level <= level_behind <= CLEARLY * level:
        return False
    return abs(float(sides[1][0])) > MOST_SOFT * float(np.abs(sides[1]).max())
