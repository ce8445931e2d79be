"""Why a stretch is taken from a pass, in a few words for the plan that a person reads."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assembler.aligner.records.ranges import common

if TYPE_CHECKING:
    from assembler.aligner.plan.hand.takes import Take
    from assembler.aligner.records.edit import AlignedPass, Edit, TrackEdit
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.records.timemap import TimeMap


class Reasons:
    """What speaks for the takes of a track.

    Args:
        track: as it is planned.
        edit: of the session.
    """

    def __init__(self, track: TrackEdit, edit: Edit) -> None:
        self._ends = {(span.pass_name, span.start + edit.start_sample): span.end for span in track.spans}
        self._start = edit.start_sample
        self._passes = [
            _Held(one, one.time_map, track.track.tape_tracks[one.imported.reel])
            for one in edit.passes
            if one.imported.reel in track.track.tape_tracks and one.time_map is not None
        ]

    def why(self, take: Take) -> str:
        """Return why a stretch is taken: what is wrong there in the passes that are trusted more, if any is."""
        if take.pass_name is None:
            return "no pass holds it"
        end = self._ends.get((take.pass_name, take.at))
        place = take.at, take.at + 1 if end is None else end + self._start
        words: list[str] = []
        for one in self._passes:
            if one.name == take.pass_name:
                kinds = one.kinds(place, is_open=True)
                words = [*words, f"not right here itself: {', '.join(kinds)}"] if kinds else words
                break
            words += one.against(place)
        return "; ".join(words)


class _Held:
    """What one pass holds on one tape track, and what is wrong in it, on the timeline."""

    def __init__(self, one: AlignedPass, time_map: TimeMap, tape_track: int) -> None:
        self.name = one.imported.name
        self._held = [(s.timeline_start, s.timeline_end) for s in time_map.stretches]
        found = [
            (low, high, flaw.kind, flaw.cured)
            for flaw in one.flaws
            if tape_track in flaw.tracks
            for low, high in time_map.timeline_ranges(flaw.start, max(flaw.end, flaw.start + 1))
        ]
        self._flaws = found
        self._starts = np.array([low for low, *_ in found], np.int64)
        self._ends = np.array([high for _, high, *_ in found], np.int64)

    def kinds(self, place: Range, *, is_open: bool = False) -> list[str]:
        """Return the kinds of its flaws in a place; of those alone that are not cured where asked."""
        inside = np.flatnonzero((self._starts < place[1]) & (self._ends > place[0])).tolist()
        return list(dict.fromkeys(self._flaws[n][2] for n in inside if not (is_open and self._flaws[n][3])))

    def against(self, place: Range) -> list[str]:
        """Return what speaks against it in a place: its flaws, or that it does not hold it."""
        kinds = self.kinds(place)
        if kinds:
            return [f"{self.name}: {', '.join(kinds)}"]
        return [] if common(self._held, [place]) == [place] else [f"{self.name} does not hold it"]
