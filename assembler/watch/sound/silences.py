"""The silences of each track so far, by which rests of an instrument are told from mutes: they show in time only.

A check weighs all of a pass; while it is recorded the same rules weigh what there is by now. Positions are samples
of the pass.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from assembler.aligner.events.lone import told_together
from assembler.aligner.records.because import Because, Rule
from assembler.aligner.records.findings import FoundFlaw
from assembler.aligner.records.limits import LEAST_WITNESSES
from assembler.aligner.records.passes import PlacedPass
from assembler.aligner.records.ranges import common
from assembler.aligner.records.timemap import Stretch, TimeMap
from assembler.aligner.sound.limits import FIT_SAMPLES
from assembler.aligner.sound.rests import rests_among, silences_in

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assembler.aligner.records.passes import TrackReader
    from assembler.aligner.records.ranges import Range
    from assembler.aligner.sound.rests import Silence

MOST_KEPT: Final = 400
"""Silences of a track that bear witness: the last ones."""

NEAR_SAMPLES: Final = 1 << 19
"""Rests so near (11 s at 48 kHz) are weighed together with those of other tracks."""


@dataclass
class Silences:
    """Silences of one pass, by track."""

    _kept: dict[int, list[Silence]] = field(default_factory=dict)

    def add(self, audio: TrackReader, starts: Mapping[int, int], end: int, step: int) -> None:
        """Note the silences of new sound.

        Args:
            audio: of the pass.
            starts: for each track that is looked at, from which sample on.
            end: up to which sample.
            step: one step of the tape's word length.
        """
        own = _by_itself(audio, end)
        for track, start in starts.items():
            kept = self._kept.setdefault(track, [])
            last = kept[-1].place[1] if kept else 0
            kept += [
                silence
                for silence in silences_in(own, track, (start, end), step)
                if last < silence.place[1] <= end - FIT_SAMPLES
            ]
            del kept[:-MOST_KEPT]

    def weighed(self, audio: TrackReader, end: int, flaws: Sequence[FoundFlaw]) -> list[FoundFlaw]:
        """Return flaws of one pass alone without those that are rests by all silences so far.

        Args:
            audio: of the pass.
            end: up to which sample there is any.
            flaws: in samples of the pass, that no other pass bears out.
        """
        cutting = sorted({flaw.track for flaw in flaws if is_cut(flaw)})
        rests = {track: self.rests(track) for track in cutting}
        asked = [flaw for flaw in flaws if is_cut(flaw) and common([_place(flaw)], rests[flaw.track])]
        kept = [flaw for flaw in flaws if flaw not in asked]
        if len({flaw.track for flaw in asked}) < LEAST_WITNESSES:
            return kept
        # Silence of three tracks at once may be lost sync all the same.
        because = Because(Rule.CUT_OFF)
        since = min(flaw.start for flaw in asked) - NEAR_SAMPLES
        near = [
            FoundFlaw("", track, "mute", *place, because=because)
            for track, places in rests.items()
            for place in places
            if place[0] >= since
        ]
        together = told_together([_by_itself(audio, end)], range(audio.tracks), kept, near)
        return [*kept, *(flaw for flaw in together if flaw in asked)]

    def rests(self, track: int) -> list[Range]:
        """Return the silences of a track so far that are how it is played, in order."""
        found = rests_among(self._kept.get(track, []))
        return sorted({*found.natural, *found.doubtful})


def _by_itself(audio: TrackReader, end: int) -> PlacedPass:
    return PlacedPass("", audio, (TimeMap((Stretch(0, end, 0),)),) * audio.tracks)


def _place(flaw: FoundFlaw) -> Range:
    return flaw.start, flaw.end


def is_cut(flaw: FoundFlaw) -> bool:
    """Return whether a flaw is sound cut off to silence."""
    return flaw.kind == "mute" and flaw.because.rule is Rule.CUT_OFF
