"""How one pass of a reel lies against another: shifts found at anchors, and the slips between them.

Positions are samples of the two passes themselves: a sample ``n`` of the *probe* pass is the same tape sample
as ``n + shift`` of the *reference* pass. Anchors stand all over the overlap, so that a slip in either pass
shows as a change of shift between two of them; its place is then found to the sample.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby, pairwise
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.place.limits import (
    ANCHOR_SAMPLES,
    ANCHOR_SPACING,
    BORDER_BLOCK,
    COPY_MARGIN,
    DOUBTED_VOTES,
    FEWEST_EQUAL,
    LEAST_ANCHORS,
    LEAST_EVIDENCE,
    LONGEST_DOUBT,
    SPLICE_MARGIN,
    SURE_SHARE,
    WIDE_SAMPLES,
)
from assembler.aligner.place.matching import find_match, identity_at, informative
from assembler.aligner.place.slips.splices import copied_at, outstanding, splice_surprise
from assembler.aligner.place.slips.surplus import who_slipped

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from assembler.aligner.place.slips.surplus import Slipped
    from assembler.aligner.records.passes import TrackReader
    from assembler.arrays import Float64s, Int32s, Int64s


@dataclass(frozen=True)
class Anchor:
    """One place of the probe pass that was found in the reference pass."""

    at: int
    shift: int
    identical: float
    evidence: int


@dataclass(frozen=True)
class RelativeStretch:
    """Probe samples ``start`` to ``end`` lie ``shift`` samples later in the reference pass.

    Args:
        start: first probe sample.
        end: first probe sample behind it.
        shift: reference sample less probe sample.
        doubt: probe samples before and behind ``start`` that may as well belong to the other side of the slip:
            inside a flaw of all tracks, or in silence, nothing tells where it happened.
        slipped: whose slip ``start`` is by the sound; None where that does not tell.
    """

    start: int
    end: int
    shift: int
    doubt: tuple[int, int] = (0, 0)
    slipped: Slipped | None = None


@dataclass(frozen=True)
class Relation:
    """How a probe pass lies against a reference pass.

    Args:
        stretches: in order, from the first probe sample of the overlap to the last. Between two of them lie the
            probe samples that the reference has not: none, unless it lost some or the probe repeated some.
        identical: median share of identical informative samples over the anchors.
        anchors: anchors at which a place was found.
        asked: anchors that were tried and were not silent.
        proved: range of probe samples from the first believed anchor to the last; the outer stretches go
            on to the ends of the overlap, where nothing bears witness.
        places: probe sample and shift of the believed anchors.
    """

    stretches: tuple[RelativeStretch, ...]
    identical: float
    anchors: int
    asked: int
    proved: tuple[int, int]
    places: tuple[tuple[int, int], ...] = ()


def relate(
    reference: TrackReader,
    probe: TrackReader,
    expected: Callable[[int], int],
    overlap: tuple[int, int],
    radius: int,
) -> Relation | None:
    """Return how the probe pass lies against the reference pass, or None where no place is proved.

    Args:
        reference: the pass searched in.
        probe: the pass whose place is sought.
        expected: shift that timecode expects at a probe sample.
        overlap: range of probe samples that, by timecode, lie inside the reference.
        radius: how far from the expected shift to search, in samples.
    """
    anchors, asked = _find_anchors(reference, probe, expected, overlap, radius)
    runs = _steady_runs(reference, probe, anchors)
    if not runs:
        return None
    stretches = _between_borders(reference, probe, runs, overlap)
    share = float(np.median([anchor.identical for anchor in anchors]))
    proved = runs[0][0].at, runs[-1][-1].at + ANCHOR_SAMPLES
    places = tuple((anchor.at, anchor.shift) for run in runs for anchor in run)
    return Relation(tuple(stretches), share, len(anchors), asked, proved, places)


def anchor_positions(start: int, end: int) -> list[int]:
    """Return where anchors stand in the probe range ``start`` to ``end``, evenly, first and last at its ends."""
    room = end - start - ANCHOR_SAMPLES
    if room < 0:
        return []
    wanted = max(LEAST_ANCHORS, room // ANCHOR_SPACING + 1)
    steps = min(wanted, room // (ANCHOR_SAMPLES // 4) + 1)
    return [start + room * i // max(1, steps - 1) for i in range(steps)]


def read_all(reader: TrackReader, start: int, count: int) -> list[Int32s]:
    """Return the same samples of every track."""
    return [reader.read(track, start, count) for track in range(reader.tracks)]


def _find_anchors(
    reference: TrackReader,
    probe: TrackReader,
    expected: Callable[[int], int],
    overlap: tuple[int, int],
    radius: int,
) -> tuple[list[Anchor], int]:
    found: list[Anchor] = []
    asked = missed = 0
    positions = anchor_positions(*overlap)
    for first, behind in zip(positions, [*positions[1:], overlap[1]], strict=True):
        place = _sounding(probe, first, behind)
        if place is None:
            continue
        at, samples = place
        asked += 1
        last_shift = found[-1].shift if found else None
        anchor = None
        if last_shift is not None:
            anchor = _confirm(reference, samples, at, last_shift)
        if anchor is None:
            anchor = _search(reference, samples, at, expected(at), radius, last_shift)
        if anchor is None and last_shift is not None and missed:
            anchor = _search(reference, samples, at, last_shift, max(radius, WIDE_SAMPLES), last_shift)
        missed = 0 if anchor else missed + 1
        if anchor is not None:
            found.append(anchor)
    return found, asked


def _sounding(probe: TrackReader, first: int, behind: int) -> tuple[int, list[Int32s]] | None:
    """Return the first place for an anchor in a range that tells something, and its samples; None in silence."""
    for at in range(first, max(first + 1, behind - ANCHOR_SAMPLES + 1), ANCHOR_SAMPLES):
        samples = read_all(probe, at, ANCHOR_SAMPLES)
        if sum(int(informative(track).sum()) for track in samples) >= LEAST_EVIDENCE:
            return at, samples
    return None


def _confirm(reference: TrackReader, samples: Sequence[Int32s], at: int, shift: int) -> Anchor | None:
    there = read_all(reference, at + shift, ANCHOR_SAMPLES)
    share, evidence = identity_at(there, samples, 0)
    if share < 0.5 or evidence < LEAST_EVIDENCE:
        return None
    return Anchor(at, shift, share, evidence)


def _search(
    reference: TrackReader,
    samples: Sequence[Int32s],
    at: int,
    expected: int,
    radius: int,
    last_shift: int | None,
) -> Anchor | None:
    start = at + expected - radius
    window = read_all(reference, start, ANCHOR_SAMPLES + 2 * radius)
    nearest = expected if last_shift is None else last_shift
    match = find_match(window, samples, at + nearest - start)
    if match is None:
        return None
    return Anchor(at, start + match.shift - at, match.identical, match.evidence)


def _steady_runs(reference: TrackReader, probe: TrackReader, anchors: Sequence[Anchor]) -> list[list[Anchor]]:
    """Return runs of neighbouring anchors with one shift, less those that a chance or a repeat flaw explains.

    A lone anchor between others of one shift is not believed: a block that a machine repeated matches one block
    off. One at the end of the overlap, or between two shifts, is believed where its close surroundings agree.
    """
    runs = [
        list(run) for _, run in groupby(_reread(reference, probe, anchors), key=lambda anchor: anchor.shift)
    ]
    if len(runs) > 1:
        shifts = [None, *(run[0].shift for run in runs), None]
        kept = [
            run
            for run, before, behind in zip(runs, shifts, shifts[2:], strict=False)
            if len(run) > 1 or (before != behind and _is_steady(reference, probe, run[0]))
        ]
        runs = kept or [max(runs, key=lambda run: run[0].evidence)]
    joined: list[list[Anchor]] = []
    for run in runs:
        if joined and joined[-1][-1].shift == run[0].shift:
            joined[-1].extend(run)
        else:
            joined.append(run)
    return joined


def _reread(reference: TrackReader, probe: TrackReader, anchors: Sequence[Anchor]) -> list[Anchor]:
    """Return anchors, those that are found in part only at the shift of a neighbouring run where more is identical.

    One may lie too far from timecode's place to be found, and music that repeats itself matches in part elsewhere.
    """
    runs = [list(run) for _, run in groupby(anchors, key=lambda anchor: anchor.shift)]
    found: list[Anchor] = []
    for number, run in enumerate(runs):
        shifts = [other[0].shift for other in runs[max(0, number - 1) : number + 2] if other is not run]
        for one in run:
            samples = read_all(probe, one.at, ANCHOR_SAMPLES) if one.identical < SURE_SHARE else []
            others = [_confirm(reference, samples, one.at, shift) for shift in shifts if samples]
            found.append(
                max((one, *(other for other in others if other)), key=lambda anchor: anchor.evidence)
            )
    return found


def _is_steady(reference: TrackReader, probe: TrackReader, anchor: Anchor) -> bool:
    """Return whether the audio beside an anchor, on either side, lies at its shift too."""
    places = (anchor.at - ANCHOR_SAMPLES, anchor.at + ANCHOR_SAMPLES)
    inside = [at for at in places if 0 <= at <= probe.length - ANCHOR_SAMPLES]
    return any(
        _confirm(reference, read_all(probe, at, ANCHOR_SAMPLES), at, anchor.shift) is not None
        for at in inside
    )


def _between_borders(
    reference: TrackReader, probe: TrackReader, runs: Sequence[Sequence[Anchor]], overlap: tuple[int, int]
) -> list[RelativeStretch]:
    starts, ends, doubts = [overlap[0]], [], [(0, 0)]
    whose: list[Slipped | None] = [None]
    for left, right in pairwise(runs):
        between = left[-1].at, right[0].at + ANCHOR_SAMPLES
        shifts = left[-1].shift, right[0].shift
        border = locate_border(reference, probe, between, shifts)
        ends.append(border.end)
        starts.append(border.start)
        doubts.append(border.doubt)
        whose.append(border.slipped or who_slipped(reference, probe, border.end, shifts))
    ends.append(overlap[1])
    return [
        RelativeStretch(start, end, run[0].shift, doubt, slipped)
        for run, start, end, doubt, slipped in zip(runs, starts, ends, doubts, whose, strict=True)
        if start < end
    ]


@dataclass(frozen=True)
class Border:
    """Where the first shift stops to explain the probe, where the second one begins to, and the doubt about it.

    Args:
        end: probe sample up to which the first shift holds.
        start: probe sample from which the second one holds.
        doubt: range of probe samples that may belong to either.
        slipped: whose slip it is, where its place shows that.
    """

    end: int
    start: int
    doubt: tuple[int, int]
    slipped: Slipped | None = None


def locate_border(
    reference: TrackReader, probe: TrackReader, between: tuple[int, int], shifts: tuple[int, int]
) -> Border:
    """Return the border with the first shift before it and the second behind it that most samples speak for.

    Where the shift falls, as many probe samples have no counterpart. They are left out of the count: quiet
    material is equal by chance so often that counting them would draw the border into them.

    Args:
        reference: the pass that the shifts lead to.
        probe: the pass in which the border lies.
        between: probe samples that belong to either side for certain begin before and end behind this range.
        shifts: reference sample less probe sample, before and behind the border.
    """
    missing = max(0, shifts[0] - shifts[1])
    last = max(between[0] + 1, between[1] - missing)
    blocks = [(start, min(BORDER_BLOCK, last - start)) for start in range(between[0], last, BORDER_BLOCK)]

    def gains(
        votes: Callable[[TrackReader, TrackReader, int, int, int], Int64s],
    ) -> Iterator[tuple[int, Int64s]]:
        running = 0
        for start, count in blocks:
            change = votes(reference, probe, start, count, shifts[0])
            change -= votes(reference, probe, start + missing, count, shifts[1])
            gain = running + np.concatenate(([0], np.cumsum(change)))
            running = int(gain[-1])
            yield start, gain

    # The sums are made again, not kept: between two anchors there may be an hour of silence.
    best = max(int(gain.max()) for _, gain in gains(_proving))
    likely = [
        (start + int(places[0]), start + int(places[-1]))
        for start, gain in gains(_proving)
        for places in [np.flatnonzero(gain >= best - DOUBTED_VOTES)]
        if places.size
    ]
    first, behind = likely[0][0], likely[-1][1]
    copied = _copied_within(reference, probe, (first, behind), shifts)
    if copied is not None:
        end, slipped = copied
        return Border(end, end + missing, (end, end + 2 * missing), slipped)
    at = _spliced_within(reference, probe, (first, behind), shifts)
    if at is not None:
        return Border(at, at + missing, (at, at + missing))
    at = _best_within(gains(_equal), first, behind)
    return Border(at, at + missing, (first, behind + missing))


def _copied_within(
    reference: TrackReader, probe: TrackReader, likely: tuple[int, int], shifts: tuple[int, int]
) -> tuple[int, Slipped] | None:
    """Return at which of the likely borders a pass holds samples twice, and which pass; None where none stands out."""
    first, behind = likely
    repeated = abs(shifts[1] - shifts[0])
    if not repeated + DOUBTED_VOTES < behind - first <= LONGEST_DOUBT:
        return None
    slipped: Slipped = "probe" if shifts[1] < shifts[0] else "reference"
    reader, start = (probe, first) if slipped == "probe" else (reference, first + shifts[0])
    count = behind - first + 2 * repeated
    place = copied_at(read_all(reader, start - COPY_MARGIN, count + 2 * COPY_MARGIN), repeated)
    return None if place is None else (first + place - COPY_MARGIN, slipped)


def _spliced_within(
    reference: TrackReader, probe: TrackReader, likely: tuple[int, int], shifts: tuple[int, int]
) -> int | None:
    """Return which of the likely borders one of the passes is spliced at, by its sound; None where none stands out.

    The pass that lost samples is spliced where the shift changes. Where a pass repeated some it is spliced where the
    second copy begins; the first one is left out, where either may be.
    """
    first, behind = likely
    if not 0 < behind - first <= LONGEST_DOUBT:
        return None
    count, repeated = behind - first + 1, abs(shifts[1] - shifts[0])
    # By whose fault the shift changes is not known yet: one pass lost samples, or the other one repeated some.
    lost = reference, first + shifts[0], count
    again = probe, first, count + repeated
    if shifts[1] > shifts[0]:
        lost, again = (probe, first, count), (reference, first + shifts[0], count + repeated)
    surprises = [_surprise(*lost), _surprise(*again)]
    place = outstanding(np.concatenate(surprises))
    if place is None:
        return None
    if place < count:
        return first + place
    place -= count
    return first + (place - repeated if place >= repeated else place)


def _surprise(reader: TrackReader, start: int, count: int) -> Float64s:
    tracks = read_all(reader, start - SPLICE_MARGIN, count + 2 * SPLICE_MARGIN)
    return splice_surprise(tracks)[SPLICE_MARGIN : SPLICE_MARGIN + count]


def _best_within(gains: Iterable[tuple[int, Int64s]], first: int, last: int) -> int:
    """Return the earliest place from ``first`` to ``last`` with the greatest gain."""
    best: tuple[int, int] | None = None
    for start, gain in gains:
        inside = gain[max(0, first - start) : max(0, last - start + 1)]
        if inside.size:
            place = int(inside.argmax())
            if best is None or inside[place] > best[0]:
                best = int(inside[place]), max(first, start) + place
    return first if best is None else best[1]


def _equal(reference: TrackReader, probe: TrackReader, start: int, count: int, shift: int) -> Int64s:
    """Return for each probe sample how many tracks are identical there."""
    counts = np.zeros(count, np.int64)
    for track in range(probe.tracks):
        counts += probe.read(track, start, count) == reference.read(track, start + shift, count)
    return _less_chance(counts, probe.tracks)


def _proving(reference: TrackReader, probe: TrackReader, start: int, count: int, shift: int) -> Int64s:
    """Return for each probe sample how many tracks are identical there and tell something.

    What a mute, a held sample or silence is equal to by chance proves no place; see ``informative``.
    """
    counts, telling = np.zeros(count, np.int64), np.zeros(count, np.int64)
    for track in range(probe.tracks):
        samples = probe.read(track, start - 1, count + 1)
        equal = samples == reference.read(track, start - 1 + shift, count + 1)
        tells = informative(samples)[1:]
        counts += equal[1:] & equal[:-1] & tells
        telling += tells
    return _less_chance(counts, telling)


def _less_chance(counts: Int64s, of: Int64s | int) -> Int64s:
    """Return counts of tracks that are equal, zero where they are few: quiet material is, by chance, anywhere."""
    return np.where(counts * FEWEST_EQUAL < of, 0, counts)
