"""What passes hold in a place and around it, piece by piece, and the judge's word on each.

All positions are timeline samples.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.flaws.limits import LONGEST_BURST
from assembler.aligner.judge.place import judge_place
from assembler.aligner.records.limits import CHANCE_SAMPLES, READ_SAMPLES
from assembler.aligner.records.ranges import common, pieces_of, without
from assembler.aligner.sound.limits import FIT_SAMPLES, LEAST_RUN, PERIODS_SAMPLES

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from assembler.aligner.judge.stories.verdict import Verdict
    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.ranges import Range
    from assembler.arrays import Int32s


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


def judge_pieces(
    passes: Sequence[PlacedPass],
    track: int,
    members: tuple[int, ...],
    place: Range,
    step: int,
    holders: Sequence[int] = (),
    flawed_before: Sequence[bool] = (),
    flawed_behind: Sequence[bool] = (),
) -> list[tuple[Range, Verdict]]:
    """Return a verdict for each part of a place in which passes differ."""
    edges = {edge for index in members for piece in passes[index].covered(track) for edge in piece}
    judged = []
    for piece in pieces_of([place], READ_SAMPLES):
        surroundings = surroundings_of(place, piece)
        versions = [
            np.concatenate(parts)
            for parts in zip(*(_context(passes, track, members, *part) for part in surroundings), strict=True)
        ]
        whole = [
            index
            for index, one in enumerate(passes)
            if index not in members and not any(without([part], one.covered(track)) for part in surroundings)
        ]
        witnesses = [
            np.concatenate([passes[index].samples(track, *part) for part in surroundings]) for index in whole
        ]
        before = surroundings[0][1] - surroundings[0][0]
        inner = before, before + piece[1] - piece[0]
        open_ends = piece[0] != place[0] or place[0] in edges, piece[1] != place[1] or place[1] in edges
        parts = judge_place(
            versions,
            inner,
            step,
            witnesses=witnesses,
            open_ends=open_ends,
            holders=holders,
            flawed_before=flawed_before if piece[0] == place[0] else (),
            flawed_behind=flawed_behind if piece[1] == place[1] else (),
        )
        shift = piece[0] - before
        judged += [((part.start + shift, part.end + shift), part.verdict) for part in parts]
    return judged


def surroundings_of(place: Range, piece: Range) -> list[Range]:
    """Return what is read to judge a piece of a place: sound before the place, the piece, sound behind the place."""
    # A repeated block has its original before it, at its own length; and may reach out of the place.
    before = min(max(place[1] - place[0], PERIODS_SAMPLES), LONGEST_BURST) + FIT_SAMPLES
    return [(place[0] - before, place[0]), piece, (place[1], place[1] + PERIODS_SAMPLES)]


def is_level(one: PlacedPass, track: int, where: Range) -> bool:
    """Return whether a pass holds one level in a range."""
    return not np.ptp(one.samples(track, *where))


def is_short_level(one: PlacedPass, track: int, part: Range) -> bool:
    """Return whether a pass holds one level in a part, for longer than by chance but too short to be told by it."""
    return CHANCE_SAMPLES < part[1] - part[0] < LEAST_RUN and is_level(one, track, part)
