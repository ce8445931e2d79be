"""What came of a build or a check, as records and as rows of plain values."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, TypeAlias

from assembler.timecode import format_sample, frame_rate

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from assembler.aligner import Edit
    from assembler.record.values import Json
    from assembler.sheet import Sheet

Row: TypeAlias = "dict[str, str | int | float | bool | None]"


@dataclass(frozen=True, repr=False)
class SessionResult:
    """What came of a build or a check.

    Args:
        sheet: the session.
        edit: what was decided.
        record: the content of ``assembly.json``.
        target: the set's folder; None for a check.
    """

    sheet: Sheet
    edit: Edit
    record: Mapping[str, Json]
    target: Path | None = None

    def __repr__(self) -> str:
        """Return the result in five lines."""
        edit, flaws = self.edit, self.flaws()
        seconds = edit.length / self.sheet.session.sample_rate
        unused = sum(one.time_map is None for one in edit.passes)
        return "\n".join(
            (
                f"<SessionResult {self.sheet.session.title!r}, {self.target or 'nothing written'}",
                f" tracks: {len(edit.tracks)} of {seconds:.3f} s from {self._label(0)}",
                f" passes: {len(edit.passes)}, not used {unused}; joins: {len(self.joins())}",
                (
                    f" flaws: {len(flaws)}, not cured {sum(not row['cured'] for row in flaws)}; "
                    f"uncured places: {len(edit.uncured)}"
                ),
                f" notes: {len(edit.notes)}; {'in order' if edit.is_sound else 'needs a person'}>",
            )
        )

    def flaws(self) -> list[Row]:
        """Return a row for each flaw of a pass: its samples are that pass's, its tape tracks count from 1."""
        return [
            {
                "pass": one.imported.name,
                "reel": one.imported.reel,
                "kind": flaw.kind,
                "start": flaw.start,
                "end": flaw.end,
                "samples": flaw.end - flaw.start if flaw.samples is None else flaw.samples,
                "tracks": ", ".join(str(track + 1) for track in flaw.tracks),
                "cured": flaw.cured,
            }
            for one in self.edit.passes
            for flaw in one.flaws
        ]

    def joins(self) -> list[Row]:
        """Return a row for each join, with the columns of ``joins.csv``; None for a side that is silence."""
        return [
            {
                "track": track.track.name,
                "number": track.track.number,
                "at": join.at,
                "timecode": self._label(join.at),
                "fade": join.fade,
                "law": join.law,
                "correlation": join.correlation,
                "difference_peak": join.difference_peak,
                "from_pass": before.pass_name,
                "to_pass": behind.pass_name,
            }
            for track in self.edit.tracks
            for join, (before, behind) in zip(track.joins, pairwise(track.spans), strict=True)
        ]

    def uncured(self) -> list[Row]:
        """Return a row for each place that no pass has right; samples count from the set's first one.

        ``accepted_by`` is who lets it stand, None where nobody does.
        """
        return [
            {
                "reel": place.reel,
                "track": place.track.name,
                "kind": place.kind,
                "start": place.start,
                "end": place.end,
                "timecode": self._label(place.start),
                "timecode_end": self._label(place.end),
                "accepted_by": place.accepted.by if place.accepted else None,
            }
            for place in self.edit.uncured
        ]

    def _label(self, position: int) -> str:
        session = self.sheet.session
        return format_sample(
            self.edit.start_sample + position, frame_rate(session.frame_rate), session.sample_rate
        )
