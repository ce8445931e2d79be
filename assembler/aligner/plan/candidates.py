"""What each pass offers a delivered track: what it holds, what of that is flawed, and which passes hold the same.

Positions are timeline samples.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.aligner.plan.choices import Candidate
from assembler.aligner.records.ranges import common, merged, without

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from assembler.aligner.plan.weaving import Weaving
    from assembler.aligner.records.edit import DeliveredTrack
    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.records.reel import ExaminedReel
    from assembler.sheet import Sheet


def candidate_of(
    sheet: Sheet, reel: ExaminedReel, one: PlacedPass, track: DeliveredTrack, weaving: Weaving
) -> Candidate:
    """Return what a pass offers a track; flaws of its other tracks count too where a reel is repaired as a whole."""
    tape_track = track.tape_tracks[reel.name]
    wanted = None if sheet.repair.scope == "reel" else tape_track
    # What other passes fill is right.
    found = [
        (piece, flaw.kind)
        for flaw in reel.findings.flaws
        if flaw.pass_name == one.name and wanted in (None, flaw.track)
        for piece in weaving.unwoven(one.name, flaw.track, (flaw.start, flaw.end))
    ]
    unproved = _unproved(reel, one, tape_track)
    flaws = merged([*(piece for piece, _ in found), *unproved])
    # What a slip leaves in doubt may be right; what is flawed besides is not.
    beside = merged(piece for places, _ in one.maps[tape_track].doubts() for piece in places)
    certain = [piece for piece, kind in found if kind != "disagreement"]
    doubted = without(common(beside, flaws), merged([*certain, *unproved]))
    covered = one.covered(tape_track)
    if sheet.repair.scope == "reel":
        # All tracks change together, so a pass counts only where it has all of them.
        for other in range(one.reader.tracks):
            covered = common(covered, one.covered(other))
    return Candidate(one.name, reel.name, tuple(covered), tuple(flaws), tuple(doubted))


def _unproved(reel: ExaminedReel, one: PlacedPass, tape_track: int) -> list[Range]:
    """Return where a pass that is nowhere identical with another one must not stand in for it on a track.

    It holds other numbers than the tape; a punch or a person's plan may still ask for it, and where it is
    alone it is all there is.
    """
    covered = {p.name: p.covered(tape_track) for p in reel.passes if p.covered(tape_track)}
    if one.name not in covered:
        return []
    rank = reel.findings.by_standing(list(covered), tape_track)
    barring = [
        piece
        for other in rank[: rank.index(one.name)]
        if reel.findings.are_unlike(other, one.name, tape_track)
        for piece in covered[other]
    ]
    return common(covered[one.name], merged(barring))


def alike_groups(holding: Iterable[ExaminedReel], track: DeliveredTrack) -> dict[str, int]:
    """Return a number for each pass; passes with one number hold identical samples of a track where both are good."""
    groups: dict[str, int] = {}
    for reel in holding:
        tape_track = track.tape_tracks[reel.name]
        first = len(groups)
        for number, one in enumerate(reel.passes):
            alike = [
                groups[other.name]
                for other in reel.passes[:number]
                if reel.groups[other.name] == reel.groups[one.name]
                and not reel.findings.are_unlike(other.name, one.name, tape_track)
            ]
            groups[one.name] = alike[0] if alike else first + number
    return groups


def coverage_of(reels: Sequence[ExaminedReel], track: DeliveredTrack) -> dict[str, list[Range]]:
    """Return what each pass holds of a delivered track."""
    return {
        one.name: merged(one.covered(track.tape_tracks[reel.name]))
        for reel in reels
        if reel.name in track.tape_tracks
        for one in reel.passes
    }
