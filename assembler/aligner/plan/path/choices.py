"""What the path over a track chooses between, what it may assume, and what it gives.

Positions are timeline samples.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

from assembler.aligner.records.findings import flawed_ranges
from assembler.aligner.records.ranges import common, merged, without

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from assembler.aligner.plan.weaving import Weaving
    from assembler.aligner.records.edit import DeliveredTrack
    from assembler.aligner.records.passes import PlacedPass
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.records.reel import ExaminedReel
    from assembler.sheet import Sheet


@dataclass(frozen=True)
class Candidate:
    """One pass that a track may be taken from.

    Args:
        name: of the pass.
        covered: timeline ranges it has samples for, in order.
        flawed: timeline ranges in which it is not what the tape holds, in order.
        in_part: the flawed ranges in which it holds the tape's own samples in part, or perhaps beside their place.
    """

    name: str
    covered: tuple[Range, ...]
    flawed: tuple[Range, ...] = ()
    in_part: tuple[Range, ...] = ()

    @cached_property
    def good(self) -> list[Range]:
        """The covered ranges less the flawed ones."""
        return without(self.covered, self.flawed)


@dataclass(frozen=True)
class Forced:
    """A stretch that the sheet takes from a named pass: a punch, or the take of an accepted place.

    ``tracks`` are names of delivered tracks, None for all that the pass holds.
    """

    start: int
    end: int
    name: str
    fade_samples: int
    tracks: frozenset[str] | None = None
    is_accepted: bool = False

    def is_on(self, track: str) -> bool:
        """Return whether a delivered track is meant."""
        return self.tracks is None or track in self.tracks


@dataclass(frozen=True)
class Choice:
    """A stretch of a delivered track and the pass it comes from; None is silence."""

    start: int
    end: int
    name: str | None


@dataclass(frozen=True)
class PlannedJoin:
    """Where two choices meet.

    Args:
        at: the border that the path chose, then moved to where the join can be made.
        fade: length of the fade that would be made if the sides differ; 0 for a cut.
        outgoing: pass before, or None for silence.
        incoming: pass after, or None for silence.
        room: range in which both sides have samples to join by; the fade lies inside it.
        is_movable: whether a better place nearby may be taken; a person's own places stay.
    """

    at: int
    fade: int
    outgoing: str | None
    incoming: str | None
    room: Range
    is_movable: bool = True


@dataclass(frozen=True)
class TrackChoices:
    """What the path gives: choices in order without gaps, and one join for each border between them."""

    choices: tuple[Choice, ...]
    joins: tuple[PlannedJoin, ...]


@dataclass(frozen=True)
class PlanRules:
    """What the path may assume.

    Args:
        fade_samples: wished length of a fade.
        alike: names of passes that hold identical samples wherever both are good, as sets.
        forced: punches in order; where two overlap the later one wins (no sheet has two that contradict).
        heed_flaws: False where the sheet wants its punches only.
    """

    fade_samples: int
    alike: Mapping[str, int] = field(default_factory=dict)
    forced: tuple[Forced, ...] = ()
    heed_flaws: bool = True

    def are_alike(self, first: str, second: str) -> bool:
        """Return whether two passes hold identical samples where both are good."""
        return first in self.alike and self.alike[first] == self.alike.get(second)


def fade_of(sheet: Sheet, fade_ms: float | None = None) -> int:
    """Return the length in samples of a fade: the sheet's, or a punch's own."""
    return round((sheet.repair.fade_ms if fade_ms is None else fade_ms) * sheet.session.sample_rate / 1000)


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
    unproved = _unproved(reel, one, tape_track, sheet)
    flaws = merged([*(piece for piece, _ in found), *unproved])
    # What a slip leaves in doubt may be right, and between means stand the tape's own samples.
    beside = merged(piece for places, _ in one.maps[tape_track].doubts() for piece in places)
    kept = {"means": flaws, "disagreement": beside}
    lost = [part for piece, kind in found for part in without([piece], kept.get(kind, ()))]
    in_part = without(flaws, merged([*lost, *unproved]))
    covered = one.covered(tape_track)
    if sheet.repair.scope == "reel":
        # All tracks change together, so a pass counts only where it has all of them.
        for other in range(one.reader.tracks):
            covered = common(covered, one.covered(other))
    return Candidate(one.name, tuple(covered), tuple(flaws), tuple(in_part))


def _unproved(reel: ExaminedReel, one: PlacedPass, tape_track: int, sheet: Sheet) -> list[Range]:
    """Return where a pass that is nowhere identical with another one must not stand in for it on a track.

    It holds other numbers than the tape; a punch or a person's plan may still ask for it, and where it is
    alone it is all there is. A witness may stand in for better passes where each of these is flawed, and beside
    that for as long as a fade takes.
    """
    covered = {p.name: p.covered(tape_track) for p in reel.passes if p.covered(tape_track)}
    if one.name not in covered:
        return []
    above = reel.findings.better_ones(one.name, list(covered), tape_track)
    barring = merged(piece for other in above for piece in covered[other])
    if sheet.repair.unlike == "cure" and (one.name, tape_track) in reel.findings.witnesses:
        wanted = None if sheet.repair.scope == "reel" else tape_track
        barring = without(barring, _wanting(reel, above, wanted, covered, fade_of(sheet)))
    return common(covered[one.name], barring)


def _wanting(
    reel: ExaminedReel,
    names: Sequence[str],
    wanted: int | None,
    covered: Mapping[str, Sequence[Range]],
    fade: int,
) -> list[Range]:
    """Return where none of some passes has a track right, all tracks for None, with room for a fade on either side."""
    right = merged(
        piece
        for name in names
        for piece in without(covered[name], flawed_ranges(reel.findings.flaws, name, wanted))
    )
    held = merged(piece for name in names for piece in covered[name])
    return merged((start - fade, end + fade) for start, end in without(held, right))


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
