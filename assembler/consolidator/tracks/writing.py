"""The delivered tracks of a set: what each is called, and the writing of all of them, shared among processes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assembler.consolidator.tracks.writer import TrackWork, write_track
from assembler.consolidator.viewing import choose_places, gather_views, track_sources
from assembler.sheet import file_name
from assembler.wave import LARGEST_RIFF

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from assembler.aligner import DeliveredTrack, Edit
    from assembler.consolidator.tracks.returned import ReadBack
    from assembler.crew import Crew
    from assembler.publishing.staged import StagedFiles
    from assembler.record.recorded.whole import RecordedSet
    from assembler.record.written import WrittenTrack
    from assembler.report.views import Views
    from assembler.sheet import Sheet


def track_file_names(tracks: Sequence[DeliveredTrack]) -> list[str]:
    """Return the path of each track inside the payload: number and name, so that a listing is in tape order."""
    digits = max(2, len(str(max(track.number for track in tracks))))
    return [f"tracks/{track.number:0{digits}d}_{file_name(track.name)}.wav" for track in tracks]


def write_tracks(
    files: StagedFiles,
    sheet: Sheet,
    edit: Edit,
    plan: RecordedSet,
    crew: Crew,
    advance: Callable[[float], None],
    *,
    largest_riff: int = LARGEST_RIFF,
    with_views: bool = True,
) -> tuple[list[WrittenTrack], Views, dict[str, ReadBack]]:
    """Write all tracks of the set, each block by block.

    A track is read back by whoever wrote it, while others write: the disk is waited for beside work.

    Args:
        files: of the set in the making.
        sheet: the session.
        edit: what to write.
        plan: the same as the record will have it; what is embedded in the tracks follows from it.
        crew: shares the tracks.
        advance: called with the share of the samples written.
        largest_riff: size in bytes past which a file becomes RF64.
        with_views: whether views of places are made.

    Returns:
        What was measured, what there is to see, and what the disk gave back by path inside the set.
    """
    names = track_file_names([track.track for track in edit.tracks])
    passes = tuple(one.imported for one in edit.passes)
    sources = [track_sources(plan, edit, *both) for both in zip(edit.tracks, plan.tracks, strict=True)]
    covered = {track.track.number: one.covered for track, one in zip(edit.tracks, sources, strict=True)}
    choices = choose_places(plan, covered) if with_views else ()
    works = [
        TrackWork(
            files,
            sheet,
            track,
            name,
            edit.length,
            passes,
            plan,
            planned,
            largest_riff,
            shown,
            tuple(one for one in choices if one.track == track.track.number),
        )
        for track, name, planned, shown in zip(edit.tracks, names, plan.tracks, sources, strict=True)
    ]
    done = crew.begin(write_track, works)(advance)
    views = gather_views(choices, (view for one in done for view in one.views))
    return [one.written for one in done], views, {one.path: one.read_back for one in done}
