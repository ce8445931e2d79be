"""The states of all tracks of a reel, from what comparing its passes has shown.

Positions are timeline samples.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.aligner.events.suspects import places_to_listen_to
from assembler.aligner.records.ranges import merged, without
from assembler.aligner.states.track import Closed, PassHoldings, stretches_of
from assembler.verdict.states import TrackStates

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.aligner.records.edit import DeliveredTrack
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.records.reel import ExaminedReel
    from assembler.sheet import Sheet
    from assembler.verdict.states import Suspect


def known_of(
    reels: Sequence[ExaminedReel], tracks: Sequence[DeliveredTrack], sheet: Sheet
) -> tuple[dict[str, tuple[TrackStates, ...]], tuple[Suspect, ...]]:
    """Return the states of each reel's tracks, by its name, and the places of all reels worth listening to."""
    suspects = places_to_listen_to(reels, sheet.session.sample_rate)
    cures = sheet.repair.unlike == "cure"
    return {
        reel.name: states_of(reel, tracks, suspects=suspects, unlike_cures=cures) for reel in reels
    }, suspects


def states_of(
    reel: ExaminedReel,
    tracks: Sequence[DeliveredTrack],
    *,
    suspects: Sequence[Suspect] = (),
    unlike_cures: bool = True,
) -> tuple[TrackStates, ...]:
    """Return the states of the tracks of a reel that are delivered; nothing where none of its passes can be used.

    Args:
        reel: placed and compared.
        tracks: of the set.
        suspects: places that look like a flaw.
        unlike_cures: whether what only a pass has right that is nowhere identical with a better one counts as saved.
    """
    wanted = [track.tape_tracks[reel.name] for track in tracks if reel.name in track.tape_tracks]
    held = {track: _holdings(reel, track) for track in wanted}
    covered = merged(piece for own in held.values() for one in own for piece in one.covered)
    if not covered:
        return ()
    reach = covered[0][0], covered[-1][1]
    return tuple(
        TrackStates(
            track,
            stretches_of(
                reach,
                held[track],
                _closed(reel, track, _unrecorded(reel, track, reach, held[track]), suspects),
                lambda first, second, track=track: _are_same(reel, first, second, track),  # type: ignore[misc]
                lambda name, track=track: unlike_cures or not _is_lesser(reel, name, track),  # type: ignore[misc]
            ),
        )
        for track in wanted
    )


def _holdings(reel: ExaminedReel, track: int) -> list[PassHoldings]:
    flawed: dict[str, list[Range]] = {}
    for flaw in reel.findings.flaws:
        if flaw.track == track:
            flawed.setdefault(flaw.pass_name, []).append((flaw.start, flaw.end))
    return [
        PassHoldings(
            one.name,
            without(merged(one.covered(track)), reel.idle.get(one.name, ())),
            flawed.get(one.name, ()),
        )
        for one in reel.passes
    ]


def _unrecorded(reel: ExaminedReel, track: int, reach: Range, held: Sequence[PassHoldings]) -> list[Range]:
    """Return where nothing was ever recorded, with what sticks out of it by less than a frame and no pass covers."""
    holes = list(reel.unrecorded.get(track, ()))
    for start, end in without([reach], merged(piece for one in held for piece in one.covered)):
        holes += without([(start, end)], reel.recorded(track, start, end))
    return holes


def _closed(
    reel: ExaminedReel, track: int, unrecorded: Sequence[Range], suspects: Sequence[Suspect]
) -> Closed:
    return Closed(
        woven=[(one.start, one.end) for one in reel.findings.woven if one.track == track],
        undecided=[(one.start, one.end) for one in reel.findings.undecided if one.track == track],
        suspect=[(one.start, one.end) for one in suspects if one.reel == reel.name and track in one.tracks],
        unrecorded=unrecorded,
    )


def _are_same(reel: ExaminedReel, first: str, second: str, track: int) -> bool:
    return reel.groups.get(first) == reel.groups.get(second) and not reel.findings.are_unlike(
        first, second, track
    )


def _is_lesser(reel: ExaminedReel, name: str, track: int) -> bool:
    """Return whether a pass holds other numbers all along than a better one on a track."""
    holding = [one.name for one in reel.passes if one.maps[track].stretches]
    return bool(reel.findings.better_ones(name, holding, track))
