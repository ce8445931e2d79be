"""What came of a build or a check, as records and as rows of plain values."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, TypeAlias

from assembler.timecode import format_sample, frame_rate
from assembler.verdict.states import worst_of

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from assembler.aligner import Edit, TimeMap
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

    def passes(self) -> list[Row]:
        """Return a row for each pass in the order of the sheet: where it lies, how that is known, and how surely.

        ``start`` and ``end`` count from the set's first sample; they and their labels are None for a pass that is not
        used.
        """
        return [
            {
                "pass": one.imported.name,
                "reel": one.imported.reel,
                "used": one.time_map is not None,
                **self._ends(one.time_map),
                "source": one.imported.position.source,
                "uncertainty_samples": one.imported.position.uncertainty_samples,
                "flaws": len(one.flaws),
            }
            for one in self.edit.passes
        ]

    def states(self) -> list[Row]:
        """Return a row for each stretch of each reel: its state, by the worst of its tracks; see ``State``.

        Samples count from the set's first one: a tape may begin before it, and go on after its last.
        """
        return [
            {
                "reel": reel,
                "start": one.start - self.edit.start_sample,
                "end": one.end - self.edit.start_sample,
                "timecode": self._label(one.start - self.edit.start_sample),
                "seconds": (one.end - one.start) / self.sheet.session.sample_rate,
                "state": one.state.value,
            }
            for reel, tracks in self.edit.states.items()
            for one in worst_of(tracks)
        ]

    def spans(self) -> list[Row]:
        """Return a row for each span: which stretch of a track comes from which pass, and from where in it.

        ``pass`` is None for digital silence. ``woven`` counts samples that stand in for lost ones from other passes.
        """
        return [
            {
                "track": track.track.name,
                "number": track.track.number,
                "start": span.start,
                "end": span.end,
                "timecode": self._label(span.start),
                "pass": span.pass_name,
                "pass_start": span.pass_start,
                "woven": sum(count for filled in span.filled for _, _, count in filled.at),
            }
            for track in self.edit.tracks
            for span in track.spans
        ]

    def notes(self) -> list[Row]:
        """Return a row for each correction or finding; ``pass`` is None where it is about no single one."""
        return [
            {"kind": one.kind, "pass": one.pass_name, "text": one.text, "needs_a_person": one.needs_a_person}
            for one in self.edit.notes
        ]

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

    def _ends(self, time_map: TimeMap | None) -> Row:
        if time_map is None:
            return dict.fromkeys(("start", "end", "timecode", "timecode_end"))
        start, end = (at - self.edit.start_sample for at in (time_map.start, time_map.end))
        return {
            "start": start,
            "end": end,
            "timecode": self._label(start),
            "timecode_end": self._label(end),
        }

    def _label(self, position: int) -> str:
        session = self.sheet.session
        return format_sample(
            self.edit.start_sample + position, frame_rate(session.frame_rate), session.sample_rate
        )
