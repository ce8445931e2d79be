"""Stretches of one version of a place that a machine makes by itself: levels held, straight lines, blocks played twice.

Each is found exactly, from its first sample to its last, so that a place where flaws of several captures overlap can be
cut where one of them begins or ends. Where noise sets in or stops is found as nearly as prediction errors show it.

Audio is ``int32``, shape ``(samples,)``; positions count from the array's first sample.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.flaws.builds import CLIPPED, FORETOLD_COPY, LONG_CLIPPED, PEAKS, STROKE, Structure
from assembler.aligner.flaws.limits import (
    ABRUPT_RATIO,
    ABRUPT_SAMPLES,
    CHANCE_EQUAL,
    CLIPPED_RATIO,
    KEY_SAMPLES,
    LEAST_ADJOINED,
    LEAST_BUSY,
    LEAST_CLIPPED,
    LEAST_EDGES,
    LEAST_LEVEL,
    LEAST_QUIET,
    LEAST_REPEAT,
    LEAST_TELLING,
    LEVEL_NATS,
    LONE_RATIO,
    MOST_IN_A_ROW,
    MOST_LAGS,
    MOST_LEVELS,
    MOST_LEVELS_HELD,
    MOST_PROBES,
    OUTSIDE_SAMPLES,
    ROUGH_BRIDGE,
    ROUNDING_POWER,
)
from assembler.aligner.flaws.lines import straight_lines
from assembler.aligner.records.ranges import ranges_of
from assembler.aligner.sound.levels import HASH_FACTOR, Run, constant_runs, prediction_errors
from assembler.aligner.sound.limits import LEAST_RUN, MATERIAL_RUNS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Float64s, Int32s, UInt64s


def structures_of(
    samples: Int32s,
    agreed: Int32s,
    others: Sequence[Int32s],
    place: Range,
    step: int,
    open_ends: tuple[bool, bool],
    *,
    holds_levels: bool,
    seeks_copies: bool,
    longest_zero: int = 0,
    witnesses: Sequence[Int32s] = (),
) -> list[Structure]:
    """Return the structures that reach into a place.

    Args:
        samples: one version with its surroundings.
        agreed: what most captures hold.
        others: the other versions.
        place: where captures differ.
        step: one step of the tape's word length.
        open_ends: whether the place begins, ends, where a capture does: then a flaw may reach out of it.
        holds_levels: whether the sound holds levels by nature.
        seeks_copies: whether blocks played twice are looked for.
        longest_zero: for how long the sound stays at zero where that is one of its levels.
        witnesses: other captures; the original of a block played twice may be flawed in every version.
    """
    longest = _longest_level(agreed, place) if holds_levels else 0
    held = _held(samples, agreed, place, longest, longest_zero)
    straight = [
        line
        for line in straight_lines(samples, others, place, step)
        # A level is a line that does not rise, and better told as one: it was made from one sample alone.
        if not any(one.start <= line.start and line.end <= one.end for one in held)
    ]
    exact = [one for one in straight if one.is_exact]
    return [
        # A line that hardly rises is made of levels.
        *(one for one in held if not any(line.start <= one.start and one.end <= line.end for line in exact)),
        *straight,
        *(_repeats(samples, [samples, *others], witnesses, agreed, place, open_ends) if seeks_copies else ()),
        *(_adjoined(samples, place, longest) if longest else ()),
    ]


def _held(samples: Int32s, agreed: Int32s, place: Range, longest: int, longest_zero: int) -> list[Structure]:
    """Return the levels held in a place, but for those no longer than the sound's own; at a clipped peak, as such."""
    # Where levels are held by nature one may reach far out of the place, and tell by its length.
    reach = samples.size if longest else LEAST_RUN
    low, high = max(0, place[0] - reach), min(samples.size, place[1] + reach)
    runs = [
        Run(run.start + low, run.end + low, run.value)
        for run in constant_runs(samples[low:high], LEAST_RUN if longest else LEAST_CLIPPED)
        if run.end + low > place[0] - LEAST_RUN and run.start + low < place[1] + LEAST_RUN
    ]
    found = [
        Structure("mute", run.start, run.end)
        for run in runs
        if run.value == 0 and run.end - run.start > max(longest_zero, LEAST_RUN - 1)
    ]
    # The first sample of a level held is the last good one.
    own = _own_levels(agreed, place) if longest else set()
    for run in _not_in_a_row([run for run in runs if run.value]):
        kind = "hold" if longest else _level_kind(run, agreed, place)
        natural = longest if not own or run.value in own else 0
        if run.end - run.start > (natural if natural or kind in PEAKS else LEAST_RUN - 1):
            found.append(Structure(kind, run.start + 1, run.end, (run.start,), natural=natural))
    return found


def _own_levels(agreed: Int32s, place: Range) -> set[int]:
    """Return the levels that the sound around a place holds, where they are few; none where they are not."""
    sides = (agreed[: place[0]], agreed[place[1] :])
    levels = {run.value for side in sides for run in constant_runs(side)}
    return levels if len(levels) <= MOST_LEVELS_HELD else set()


def _level_kind(run: Run, agreed: Int32s, place: Range) -> str:
    """Return what a level is that is held: sound around may stay there too, as its largest, if peaks are clipped.

    Args:
        run: of equal samples.
        agreed: what most captures hold.
        place: where they differ.
    """
    flats = []
    for low, high in ((0, place[0]), (place[1], agreed.size)):
        side = agreed[low:high]
        if side.size and run.value in (int(side.min()), int(side.max())):
            flats += ranges_of(side == run.value, offset=low)
    # What it grows out of is the level itself.
    lengths = [end - start for start, end in flats if end < run.start or run.end < start]
    size, usual = run.end - run.start, max(lengths, default=0)
    fills_place = run.start <= place[0] and place[1] <= run.end
    if size <= usual and not fills_place:
        return CLIPPED
    return LONG_CLIPPED if size <= CLIPPED_RATIO * usual else "hold"


def _not_in_a_row(runs: Sequence[Run]) -> list[Run]:
    """Return the runs but for those of which several follow each other without a sample between: a square wave's."""
    rows: list[list[Run]] = []
    for run in runs:
        if rows and rows[-1][-1].end == run.start:
            rows[-1].append(run)
        else:
            rows.append([run])
    return [run for row in rows for run in (row if len(row) <= MOST_IN_A_ROW else _outstanding(row))]


def _outstanding(row: Sequence[Run]) -> list[Run]:
    """Return the run of a row that is many times as long as every other; none where no run is."""
    *others, longest = sorted(row, key=lambda run: run.end - run.start)
    usual = max(run.end - run.start for run in others)
    return [longest] if longest.end - longest.start >= LONE_RATIO * usual else []


def _longest_level(agreed: Int32s, place: Range) -> int:
    """Return how long the sound around a place holds a level at most."""
    sides = (agreed[: place[0]], agreed[place[1] :])
    return max(
        (run.end - run.start + CHANCE_EQUAL for side in sides for run in constant_runs(side) if run.value),
        default=0,
    )


def _repeats(
    samples: Int32s,
    versions: Sequence[Int32s],
    witnesses: Sequence[Int32s],
    agreed: Int32s,
    place: Range,
    open_ends: tuple[bool, bool],
) -> list[Structure]:
    """Return the blocks that stand a second time, but for those that go on outside the place."""
    start, end = place
    if end - start < LEAST_REPEAT:
        return []
    sources = [*versions, *witnesses]
    keys = [_keys(source[:end]) for source in sources]
    found: list[tuple[int, Structure]] = []
    for at in _probes(samples, keys, start):
        if any(one.start <= at < one.end for _, one in found):
            continue
        copies = [
            (*_extent(samples, source, at, at - int(earlier)), at - int(earlier))
            for source, held in zip(sources, keys, strict=True)
            for earlier in np.flatnonzero(held[: at - LEAST_REPEAT + 1] == keys[0][at])[-MOST_LAGS:]
        ]
        first, last, lag = max(copies, key=lambda copy: copy[1] - copy[0])
        outside = (
            slice(first, start - OUTSIDE_SAMPLES if not open_ends[0] else 0),
            slice(end + OUTSIDE_SAMPLES if not open_ends[1] else last, last),
        )
        goes_on = any(
            _is_telling(samples[part]) and np.array_equal(samples[part], agreed[part]) for part in outside
        )
        # Strokes of a drum machine, out of silence and into it, are the same again and again; a block that a machine
        # plays twice is cut out anywhere, and stands right behind its original.
        ends = samples[first : first + LEAST_QUIET], samples[last - LEAST_QUIET : last]
        sounding = sum(bool(end.any()) for end in ends)
        is_stroke = sounding == 0 or (sounding == 1 and lag > last - first)
        if last - first >= LEAST_REPEAT and not goes_on:
            original = slice(max(first, start) - lag, min(last, end) - lag)
            is_heard = all(np.array_equal(version[original], samples[original]) for version in versions)
            # Where the original is heard in this version alone, it may be noise thrown in and played twice.
            natural = STROKE if is_heard else FORETOLD_COPY
            found.append((lag, Structure(natural if is_stroke else "repeat", first, last)))
    return [one for _, one in found] + _lost_between(found)


def _lost_between(copies: Sequence[tuple[int, Structure]]) -> list[Structure]:
    """Return what lies between copies from one lag before, as what may well be one: its original may be lost.

    Args:
        copies: lag and block.
    """
    blocks = sorted((one.start, one.end, lag) for lag, one in copies if one.kind == "repeat")
    return [
        Structure(FORETOLD_COPY, end, start)
        for (_, end, lag), (start, _, other) in pairwise(blocks)
        if lag == other and 0 < start - end < lag
    ]


def _adjoined(samples: Int32s, place: Range, longest: int) -> list[Structure]:
    """Return the block of sound that holds levels which fills a place and stands right before it too, as long.

    Pieces of such sound often stand twice, but hardly ever for just as many samples as lie between them. At either
    end a level may go on for a while by chance.
    """
    start, end = place
    size = end - start
    # Its end may be a rest, as what it lies over.
    sounding = np.flatnonzero(samples[end:])
    rest = int(sounding[0]) if sounding.size else samples.size - end
    if size < LEAST_ADJOINED or np.count_nonzero(np.diff(samples[start:end])) < LEAST_EDGES:
        return []
    for lag in range(size, min(size + 2 * longest + rest, start) + 1):
        if not np.array_equal(samples[start:end], samples[start - lag : end - lag]):
            continue
        first, last = _extent(samples, samples, start, lag)
        if start - longest < first and last < end + longest + rest and lag <= last - first:
            return [Structure("repeat", first, last, is_adjoined=True)]
    return []


def _is_telling(samples: Int32s) -> bool:
    """Return whether enough samples differ from their neighbours: silence repeats silence."""
    return int(np.count_nonzero(np.diff(samples))) >= LEAST_TELLING


def _keys(samples: Int32s) -> UInt64s:
    """Return a number for each block of a few samples, shape (blocks,): equal ones stand for equal blocks."""
    words = samples.astype(np.uint64)
    short = _mixed([words[index : words.size - KEY_SAMPLES + 1 + index] for index in range(KEY_SAMPLES)])
    count = samples.size - LEAST_REPEAT + 1
    return _mixed([short[index : index + count] for index in range(0, LEAST_REPEAT, KEY_SAMPLES)])


def _probes(samples: Int32s, keys: Sequence[UInt64s], start: int) -> list[int]:
    """Return places of blocks, from ``start`` on, that stood before; where such blocks follow each other, the first.

    Args:
        samples: one version.
        keys: of it first, then of the others; shape (blocks,) each.
        start: first place to look at.
    """
    # A block that another version holds at the same place tells nothing new.
    other = [np.flatnonzero(held != keys[0]) for held in keys[1:]]
    every = np.concatenate([keys[0], *(held[fresh] for held, fresh in zip(keys[1:], other, strict=True))])
    ordered = np.sort(every)
    if not (ordered[1:] == ordered[:-1]).any():
        return []
    places = np.concatenate([np.arange(keys[0].size), *other])
    order = np.lexsort((places, every))
    firsts = np.flatnonzero(np.diff(every[order], prepend=~every[order[0]]))
    # Of equal blocks the first is known; one of this version that stands later is a copy of it.
    earliest = np.repeat(places[order[firsts]], np.diff(np.append(firsts, order.size)))
    own = order < keys[0].size
    later, lags = order[own], order[own] - earliest[own]
    # Levels held repeat themselves and prove nothing.
    telling = (later >= start) & (samples[later] != samples[later + 1]) & (lags >= LEAST_REPEAT)
    by_place = np.argsort(later[telling])
    later, lags = later[telling][by_place], lags[telling][by_place]
    # A sample that is no copy leaves out all blocks that hold it.
    fresh = (np.diff(lags, prepend=-1) != 0) | (np.diff(later, prepend=later[:1]) > LEAST_REPEAT)
    return [int(place) for place in later[fresh][:MOST_PROBES]]


def _mixed(words: Sequence[UInt64s]) -> UInt64s:
    """Return one number for each row of words; equal rows give equal numbers, others hardly ever."""
    keys = np.zeros(words[0].size, np.uint64)
    for column in words:
        keys = (keys ^ column) * HASH_FACTOR
        keys ^= keys >> np.uint64(29)
    return keys


def _extent(samples: Int32s, source: Int32s, at: int, lag: int) -> Range:
    """Return how far a block is the copy of what stands a lag before it."""
    before = np.flatnonzero(samples[lag:at] != source[: at - lag])
    behind = np.flatnonzero(samples[at:] != source[at - lag : samples.size - lag])
    start = lag + int(before[-1]) + 1 if before.size else lag
    end = at + int(behind[0]) if behind.size else samples.size
    return start, end


def rough_borders(samples: Int32s, place: Range, predictor: Float64s, usual: float) -> list[int]:
    """Return where noise sets in or stops: prediction errors far over the usual, forwards and backwards in time.

    Errors forwards show where it sets in, and go on behind it for as long as the predictor remembers; so its end
    is looked for backwards.
    """
    start, end = place
    low, high = max(0, start - predictor.size), min(samples.size, end + predictor.size)
    piece = samples[low:high].astype(np.float64)
    onsets = [first for first, _ in _rough(piece, predictor, usual)]
    ends = [piece.size - first for first, _ in _rough(piece[::-1], predictor, usual)]
    return [edge + low for edge in (*onsets, *ends) if start < edge + low < end]


def level_borders(samples: Int32s, place: Range, predictor: Float64s) -> list[int]:
    """Return where prediction errors change their level: noise no louder than the sound sets in or stops there."""
    low, end = place
    start = low + predictor.size
    if end - start < 2 * LEAST_LEVEL:
        return []
    # What went before may be another flaw, which foretells nothing.
    errors = prediction_errors(samples[low:end].astype(np.float64), predictor)[predictor.size :]
    powers = np.concatenate(([0.0], np.cumsum(errors**2 + ROUNDING_POWER)))
    whole = _level_change(powers, 0, end - start)
    changes = [whole] if whole[0] > LEVEL_NATS else []
    found: list[int] = []
    for _ in range(MOST_LEVELS):
        if not changes:
            break
        best = max(changes)
        changes.remove(best)
        _, at, first, last = best
        if _is_abrupt(powers, at):
            found.append(at + start)
        changes += [
            one
            for one in (_level_change(powers, first, at), _level_change(powers, at, last))
            if one[0] > LEVEL_NATS
        ]
    return found


def _is_abrupt(powers: Float64s, at: int) -> bool:
    """Return whether errors change their level from one sample to the next: a stroke dies away, noise stops."""
    size = min(at, powers.size - 1 - at, ABRUPT_SAMPLES)
    before, behind = powers[at] - powers[at - size], powers[at + size] - powers[at]
    return bool(max(before, behind) > ABRUPT_RATIO * min(before, behind))


def _level_change(powers: Float64s, first: int, last: int) -> tuple[float, int, int, int]:
    """Return what it saves, in nats, to write errors at two levels, and where the second one begins; and the range."""
    splits = np.arange(first + LEAST_LEVEL, last - LEAST_LEVEL)
    if not splits.size:
        return 0.0, first, first, last
    sizes = np.array([splits - first, last - splits])
    sums = np.array([powers[splits] - powers[first], powers[last] - powers[splits]])
    two = sizes * np.log(np.maximum(sums / sizes, ROUNDING_POWER))
    one = (last - first) * np.log(max(float(sums[:, 0].sum()) / (last - first), ROUNDING_POWER))
    gains = (one - two.sum(axis=0)) / 2.0
    best = int(gains.argmax())
    return float(gains[best]), int(splits[best]), first, last


def busy_borders(samples: Int32s, place: Range) -> list[int]:
    """Return where a version of sound that holds levels by nature begins and ceases to change all the time."""
    start, end = place
    changes = np.diff(samples[start:end]) != 0
    busy = [
        (low, high + 1) for low, high in ranges_of(changes, bridge=CHANCE_EQUAL) if high - low >= LEAST_BUSY
    ]
    return [edge + start for found in busy for edge in found if 0 < edge < end - start]


def _rough(piece: Float64s, predictor: Float64s, usual: float) -> list[Range]:
    return ranges_of(np.abs(prediction_errors(piece, predictor)) > usual, bridge=ROUGH_BRIDGE)


def cuts_of(structures: list[list[Structure]], borders: list[int], place: Range) -> list[Range]:
    """Return the parts of a place between all borders of structures and of noise.

    A version that holds levels all over the place does so by nature: it is not cut there.
    """
    edges = {place[0], place[1], *borders}
    for version in structures:
        held = [one for one in version if one.kind in ("mute", "hold")]
        for one in version:
            if len(held) <= MATERIAL_RUNS or one not in held:
                edges.update(edge for edge in (one.start, one.end) if place[0] < edge < place[1])
    return list(pairwise(sorted(edges)))
