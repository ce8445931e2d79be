"""A person's takes: which pass each stretch of a track is taken from, and whether they fit what there is.

Positions are timeline samples.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

from assembler.aligner.records.edit import CONSTANT_POWER
from assembler.aligner.records.ranges import without
from assembler.aligner.records.reel import place_label
from assembler.errors import SheetError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from assembler.aligner.records.edit import TrackEdit
    from assembler.aligner.records.ranges import Range
    from assembler.sheet import Sheet


@dataclass(frozen=True)
class Take:
    """A stretch of a track that begins at ``at`` (timeline sample) and is taken from one pass, or is silence.

    ``fade`` is the length in samples of the fade at its beginning; None for the sheet's. ``woven`` says whether its
    woven stretches are filled from other passes, or stand as the pass has them.
    """

    at: int
    pass_name: str | None
    fade: int | None = None
    woven: bool = False


Plan = dict[str, tuple[Take, ...]]
"""Takes by track name."""


def stretches_of(takes: Sequence[Take], extent: Range) -> list[tuple[Take, int, int]]:
    """Return takes with their ranges, cut to the set; silence before the first one."""
    start, end = extent
    listed = [Take(min(start, takes[0].at), None), *takes, Take(max(end, takes[-1].at), None)]
    cut = [(take, max(start, take.at), min(end, following.at)) for take, following in pairwise(listed)]
    return [(take, low, high) for take, low, high in cut if low < high]


def check_takes(
    path: Path,
    sheet: Sheet,
    track: tuple[int, str],
    takes: Sequence[Take],
    covered: Mapping[str, Sequence[Range]],
    extent: Range,
) -> None:
    """Refuse takes from a pass that does not hold the track there.

    The track is its number in the plan, from 1, and its name.

    Raises:
        SheetError: with the take, what its pass does not hold, and which passes do; or that it begins after the end.
    """
    place = place_label(sheet)
    for number, take in enumerate(takes, 1):
        if take.at >= extent[1]:
            raise SheetError(
                f"track {track[1]}: found a take at {place(take.at)}; "
                f"allowed: takes that begin before the set ends, at {place(extent[1])}",
                file=path,
                key=f"track[{track[0]}].take[{number}].at",
            )
    for take, low, high in stretches_of(takes, extent):
        gaps = without([(low, high)], covered.get(take.pass_name, ())) if take.pass_name else []
        if gaps:
            first, last = (place(sample) for sample in gaps[0])
            reel = next(one.reel for one in sheet.passes if one.name == take.pass_name)
            holders = [name for name, ranges in covered.items() if not without([gaps[0]], ranges)]
            allowed = ", ".join(['"" for silence', *(f'"{name}"' for name in holders)])
            raise SheetError(
                f"track {track[1]}, reel {reel}: the take at {place(take.at)} is from "
                f"{take.pass_name}, and {take.pass_name} has nothing from {first} to {last}; allowed there: {allowed}",
                file=path,
                key=f"track[{track[0]}].take[{takes.index(take) + 1}].pass",
            )


def takes_of(track: TrackEdit, start: int) -> list[Take]:
    """Return the takes of a track; spans of one pass on both sides of a slip are one take."""
    takes: list[Take] = []
    for index, span in enumerate(track.spans):
        if takes and takes[-1].pass_name == span.pass_name:
            takes[-1] = replace(takes[-1], woven=takes[-1].woven or bool(span.filled))
            continue
        join = track.joins[index - 1] if index else None
        fade = join.fade if join is not None and join.law == CONSTANT_POWER else None
        takes.append(Take(span.start + start, span.pass_name, fade, bool(span.filled)))
    return takes
