"""What is told of passes that run along with each other and hold other numbers all along: what their chains did."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.aligner.changes import PIECE_SAMPLES, find_change
from assembler.aligner.labels import track_names
from assembler.aligner.ranges import common, merged
from assembler.aligner.scale import scale_of
from assembler.importer import Note

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.examining import ExaminedReel
    from assembler.aligner.findings import PlacedPass
    from assembler.aligner.scale import Scale
    from assembler.arrays import Int32s
    from assembler.sheet import Sheet

CHAIN_KINDS = frozenset({"not_transparent", "level_differs"})
MOST_PIECES = 16
"""Places at which two passes are held against each other, spread over all that both hold."""


def chain_notes(reel: ExaminedReel, sheet: Sheet) -> list[Note]:
    """Return a note for each pass that holds other numbers all along than one that stands above it.

    Args:
        reel: placed and compared.
        sheet: the session.
    """
    by_name = {one.name: one for one in reel.passes}
    tracks: dict[tuple[str, str], list[int]] = {}
    for track, name in enumerate(reel.reel.tracks):
        rank = (
            reel.findings.by_standing([p.name for p in reel.passes if p.covered(track)], track)
            if name
            else []
        )
        for place, lower in enumerate(rank):
            above = [one for one in rank[:place] if reel.findings.are_unlike(one, lower, track)]
            if above:
                tracks.setdefault((above[0], lower), []).append(track)
    return [
        _chain_note(reel, by_name[upper], by_name[lower], found, scale_of(sheet))
        for (upper, lower), found in tracks.items()
    ]


def _chain_note(
    reel: ExaminedReel, upper: PlacedPass, lower: PlacedPass, tracks: Sequence[int], scale: Scale
) -> Note:
    changes = {track: find_change(_pieces(upper, lower, track), scale.step) for track in tracks}
    by_words: dict[str, list[int]] = {}
    for track, change in changes.items():
        words = (
            change.words(upper.name, lower.name, scale.bits) if change and change.is_alike else "other sound"
        )
        by_words.setdefault(words, []).append(track)
    told = "; ".join(f"{_names(reel, found)}: {words}" for words, found in by_words.items())
    told = told[:1].upper() + told[1:]
    findings = reel.findings
    pair = (
        (upper.name, lower.name) if (upper.name, lower.name) in findings.unlike else (lower.name, upper.name)
    )
    peak, share = findings.largest_difference[pair], findings.unlike[pair]
    borne_out = any(
        one not in (upper, lower) and one.covered(t) and not findings.are_unlike(one.name, upper.name, t)
        for one in reel.passes
        for t in tracks
    )
    whose = f"{lower.name}'s capture chain" if borne_out else "one of the two capture chains"
    text = (
        f"{lower.name} runs along with {upper.name} and is nowhere identical. {told}. {share:.0%} of the samples "
        f"differ, by at most {scale.steps(peak)} LSB ({scale.dbfs(peak)}): {whose} is not bit-transparent, so these "
        f"differences are not taken for flaws, and {lower.name} is used only where nothing else is"
    )
    is_level = all(change is not None and change.is_level_only for change in changes.values())
    return Note("level_differs" if is_level else "not_transparent", text, lower.name, tuple(tracks))


def _pieces(upper: PlacedPass, lower: PlacedPass, track: int) -> list[tuple[Int32s, Int32s]]:
    """Return the same places of both passes; each lies in one stretch of either."""
    both = [
        (low, high)
        for low, high in common(upper.covered(track), lower.covered(track))
        if high - low >= PIECE_SAMPLES
    ]
    every = max(PIECE_SAMPLES, sum(high - low for low, high in both) // MOST_PIECES)
    starts = [at for low, high in both for at in range(low, high - PIECE_SAMPLES + 1, every)]
    return [
        (upper.samples(track, at, at + PIECE_SAMPLES), lower.samples(track, at, at + PIECE_SAMPLES))
        for at in starts
    ] or _short(upper, lower, track)


def _short(upper: PlacedPass, lower: PlacedPass, track: int) -> list[tuple[Int32s, Int32s]]:
    """Return the longest place that passes of short overlap have in common."""
    low, high = max(
        common(merged(upper.covered(track)), merged(lower.covered(track))),
        key=lambda place: place[1] - place[0],
    )
    return [(upper.samples(track, low, high), lower.samples(track, low, high))]


def _names(reel: ExaminedReel, tracks: Sequence[int]) -> str:
    if len(tracks) == sum(bool(name) for name in reel.reel.tracks) > 1:
        return "all tracks"
    return track_names(reel.reel, tracks)
