"""Which captures are of one tape, by their names, and by their sound where names and timecode do not tell."""

from __future__ import annotations

import re
from contextlib import ExitStack
from dataclasses import dataclass, replace
from itertools import combinations
from pathlib import PurePosixPath
from typing import TYPE_CHECKING

from assembler.aligner.place.search import find_anywhere
from assembler.drafting.hearing import open_audio
from assembler.drafting.names import split_pass_name
from assembler.sheet import natural_key

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from assembler.drafting.found import DraftPass
    from assembler.drafting.hearing import Captures, Heard

AS_LONG = 0.98
"""Of the longest pass; what misses less is as long, and the cleaner one comes first."""
MOST_PAIRS = 400
"""Pairs that are heard; a draft may take a while, and not a day."""
LEAST_TAPE_TRACKS = 4
MIX_CHANNELS = 2
_SIDE = re.compile(r"(?:^|[ ._-])(l|r|left|right)$", re.IGNORECASE)


@dataclass
class Tape:
    """Captures taken for one tape.

    Args:
        name: of the reel.
        members: its captures.
        told: lines on what made them one, or two.
    """

    name: str
    members: list[Heard]
    told: list[str]


def without_mixes(passes: Sequence[DraftPass]) -> tuple[list[DraftPass], list[str]]:
    """Return the captures that may be a tape's, and a line for each that is left out.

    Two channels, in one file or in a left and a right one, beside captures of at least twice as many tracks are a mix
    that somebody made.
    """
    most = max((one.tracks for one in passes), default=0)
    is_mix = [
        one.tracks == MIX_CHANNELS and most >= LEAST_TAPE_TRACKS and _is_stereo(one.files) for one in passes
    ]
    told = [
        f"{' and '.join(one.files)} is left out: {one.tracks} channels beside captures of {most} tracks, "
        "a mix and no tape"
        for one, left_out in zip(passes, is_mix, strict=True)
        if left_out
    ]
    return [one for one, left_out in zip(passes, is_mix, strict=True) if not left_out], told


def _is_stereo(files: Sequence[str]) -> bool:
    """Return whether files are one, or a left and a right one of one name."""
    if len(files) == 1:
        return True
    sides = [_SIDE.search(PurePosixPath(path).stem) for path in files]
    found = [(side.string[: side.start()], side.group(1)[0].lower()) for side in sides if side is not None]
    return (
        len(found) == MIX_CHANNELS
        and found[0][0] == found[1][0]
        and {side for _, side in found} == {"l", "r"}
    )


def tapes_of(captures: Captures, heard: Sequence[Heard], advance: Callable[[float], None]) -> list[Tape]:
    """Return the tapes, each with its captures, the longest and cleanest first.

    Args:
        captures: where they lie.
        heard: what each shows by itself.
        advance: called with the share of the work done.

    Raises:
        CaptureError: a capture cannot be read.
    """
    named: dict[str, list[Heard]] = {}
    for one in heard:
        named.setdefault(split_pass_name(one.found.name)[0], []).append(one)
    tapes = [Tape(name, members, []) for name, members in named.items()]
    pairs = _asked(tapes)
    found = _found(captures, pairs[:MOST_PAIRS], advance)
    tapes = _split(tapes[0], found) if len(tapes) == 1 else _united(tapes, found)
    for tape in tapes:
        tape.members = in_order(tape.members)
    return sorted(tapes, key=lambda tape: natural_key(tape.name))


def in_order(members: Iterable[Heard]) -> list[Heard]:
    """Return the captures of one tape, the longest first; of those as long as it the one that stands still least."""
    rows = sorted(members, key=lambda one: natural_key(one.found.name))
    longest = max(one.length for one in rows)
    return sorted(
        rows, key=lambda one: (0, one.still) if one.length >= AS_LONG * longest else (1, -one.length)
    )


def is_found(captures: Captures, first: Heard, second: Heard) -> bool:
    """Return whether the shorter of two captures is found in the longer one by its sound.

    Raises:
        CaptureError: a capture cannot be read.
    """
    longer, shorter = sorted((first, second), key=lambda one: -one.length)
    with ExitStack() as opened:
        reference, probe = (open_audio(captures.folder, one.found, opened) for one in (longer, shorter))
        return captures.known.recall(
            "found in", (reference, probe), lambda: find_anywhere(reference, probe) is not None
        )


def may_be_one(first: Heard, second: Heard) -> bool:
    """Return whether two captures may hold the same stretch of a tape: alike in tracks, not apart by their logs."""
    if first.found.tracks != second.found.tracks:
        return False
    return first.reach is None or second.reach is None or _overlap(first, second)


def _overlap(first: Heard, second: Heard) -> bool:
    one, other = first.reach, second.reach
    return one is not None and other is not None and max(one[0], other[0]) < min(one[1], other[1])


def _asked(tapes: Sequence[Tape]) -> list[tuple[Heard, Heard]]:
    """Return the pairs of which names do not tell whether they are of one tape.

    One name for all tells nothing; a name with a number after it that several captures share tells theirs.
    """
    if len(tapes) == 1:
        pairs = list(combinations(tapes[0].members, 2))
    else:
        pairs = [
            (one, other)
            for first, second in combinations(tapes, 2)
            if min(len(first.members), len(second.members)) == 1
            for one in first.members
            for other in second.members
        ]
    return [pair for pair in pairs if may_be_one(*pair)]


def _found(
    captures: Captures, pairs: Sequence[tuple[Heard, Heard]], advance: Callable[[float], None]
) -> list[tuple[Heard, Heard]]:
    """Return the pairs of which one is found in the other; what follows from others is not heard again."""
    found: list[tuple[Heard, Heard]] = []
    for count, pair in enumerate(pairs):
        if not any(
            {id(one) for one in pair} <= {id(each) for each in row} for row in _rows(pair, found)
        ) and (is_found(captures, *pair)):
            found.append(pair)
        advance((count + 1) / len(pairs))
    return found


def _rows(members: Iterable[Heard], found: Iterable[tuple[Heard, Heard]]) -> list[list[Heard]]:
    """Return the captures in rows of which all are found in each other, directly or by way of others."""
    rows = [[one] for one in members]
    for pair in found:
        known = {id(one) for row in rows for one in row}
        rows += [[one] for one in pair if id(one) not in known]
        ends = [next(row for row in rows if any(one is each for each in row)) for one in pair]
        if ends[0] is not ends[1]:
            ends[0].extend(ends[1])
            rows = [row for row in rows if row is not ends[1]]
    return rows


def _united(tapes: Sequence[Tape], found: Sequence[tuple[Heard, Heard]]) -> list[Tape]:
    """Return the tapes, those as one of which a capture was found in another's; the longest one's name is kept."""
    joined: list[Tape] = list(tapes)
    for pair in found:
        one, other = (
            next(tape for tape in joined if any(each is heard for each in tape.members)) for heard in pair
        )
        if one is other:
            continue
        kept, taken = sorted((one, other), key=lambda tape: -max(each.length for each in tape.members))
        kept.members += taken.members
        names = " and ".join(heard.found.name for heard in pair)
        kept.told += [*taken.told, f"{names} hold the same sound, so they are taken for one tape"]
        joined = [tape for tape in joined if tape is not taken]
    return joined


def _split(tape: Tape, found: Sequence[tuple[Heard, Heard]]) -> list[Tape]:
    """Return the tapes that captures of one name are of.

    What is not found in the others may be another stretch of the same tape, unless timecode says that it is the same
    stretch, or both are found in captures of their own.
    """
    rows = _rows(tape.members, found)
    kept = [rows[0]]
    for row in rows[1:]:
        for other in kept:
            apart = (len(row) > 1 and len(other) > 1) or any(
                _overlap(one, each) for one in row for each in other
            )
            if not apart and row[0].found.tracks == other[0].found.tracks:
                other.extend(row)
                break
        else:
            kept.append(row)
    if len(kept) == 1:
        return [tape]
    names = [tape.name, *(f"{tape.name} tape {number}" for number in range(2, len(kept) + 1))]
    told = "its captures hold other sound than those of other tapes, though their names are alike"
    return [Tape(name, row, [told]) for name, row in zip(names, kept, strict=True)]


def as_found(tapes: Iterable[Tape]) -> list[DraftPass]:
    """Return the captures as a draft takes them, each with its tape, in order."""
    return [
        replace(
            one.found,
            reel=tape.name,
            bit_depth=one.bits or one.found.bit_depth,
            reach=one.reach,
            by_sound=any(has_timecode(other.found) for other in tape.members),
        )
        for tape in tapes
        for one in tape.members
    ]


def has_timecode(found: DraftPass) -> bool:
    """Return whether a capture has timecode of its own."""
    return found.log is not None or found.ltc is not None
