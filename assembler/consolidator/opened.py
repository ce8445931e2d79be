"""A session that stays open: aligned, and read as it would be delivered, without a set being written."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Self

from assembler.aligner import align_session
from assembler.consolidator.captures import capture_files
from assembler.consolidator.checking import imported, with_sheet_notes
from assembler.consolidator.result import SessionResult
from assembler.consolidator.tracks.rendering import TrackRenderer, pass_reader, sample_format
from assembler.known import NOTHING
from assembler.record.record import record_of
from assembler.record.values import relative_path
from assembler.sheet import load_sheet

if TYPE_CHECKING:
    from collections.abc import Callable

    from assembler.aligner import Edit
    from assembler.arrays import Int32s
    from assembler.importer import ImportedSession
    from assembler.inputs import AnyPath
    from assembler.known import Known


class OpenSession:
    """A session whose captures are open. Use as a context manager: it closes them.

    Args:
        imported: its passes, open.
        progress: called with what is being done and the share of it that is done.
    """

    def __init__(self, imported: ImportedSession, progress: Callable[[str, float], None]) -> None:
        self._imported: ImportedSession | None = imported
        self._progress = progress
        self._renderers: dict[str, TrackRenderer] = {}
        self._length = 0
        self._result: SessionResult | None = None
        self.sheet = imported.sheet

    def align(self, *, plan: AnyPath | None = None) -> Edit:
        """Return what is decided about the session: tracks with spans and joins, flaws, notes.

        Args:
            plan: a plan made by hand, to be taken in place of the program's.

        Raises:
            SheetError: the plan, or what lies on disk, does not fit the sheet.
            CaptureError: a capture cannot be used.
            ValueError: the session is closed.
        """
        session = self._opened()
        edit = align_session(session, self._progress, None if plan is None else Path(plan))
        digests = {relative_path(self.sheet, file.path): None for file in capture_files(session)}
        edit = with_sheet_notes(self.sheet, edit, digests)
        self._result = SessionResult(self.sheet, edit, record_of(self.sheet, edit, digests))
        passes = [one.imported for one in edit.passes]
        quantised = sample_format(self.sheet.deliver.word_length, self.sheet.session.bit_depth)
        self._renderers = {
            track.track.name: TrackRenderer(track, pass_reader(track.track, passes), quantised)
            for track in edit.tracks
        }
        self._length = edit.length
        return edit

    @property
    def result(self) -> SessionResult:
        """What ``align`` has found, as rows of plain values; it stays when the session is closed.

        Raises:
            ValueError: the session is not aligned yet.
        """
        if self._result is None:
            raise ValueError("the session is not aligned yet: call align() first")
        return self._result

    def read_pass(self, pass_name: str, track_name: str, start: int, end: int) -> Int32s:
        """Return the samples ``start`` to ``end`` of one pass of a track as it was captured, shape ``(end - start,)``.

        Args:
            pass_name: as the sheet has it.
            track_name: as the sheet has it.
            start: counted from the pass's first sample. What lies before that, or after its last, is zero.
            end: first one after them.

        Raises:
            ValueError: the session is closed, has no such pass, or that pass no such track; or the range is none.
            CaptureError: a capture cannot be read.
        """
        passes = {one.name: one for one in self._opened().passes}
        if pass_name not in passes:
            raise ValueError(f"there is no pass {pass_name!r}; allowed: {', '.join(passes)}")
        one = passes[pass_name]
        tracks = next(reel.tracks for reel in self.sheet.reels if reel.name == one.reel)
        if not track_name or track_name not in tracks:
            allowed = ", ".join(filter(None, tracks))
            raise ValueError(f"pass {pass_name} has no track {track_name!r}; allowed: {allowed}")
        if start > end:
            raise ValueError(f"samples {start} to {end}; allowed: a range whose end is not before its start")
        return one.audio.read(tracks.index(track_name), start, end - start)

    def read(self, track_name: str, start: int, end: int) -> Int32s:
        """Return the samples ``start`` to ``end`` of a track as a set would have them, shape ``(end - start,)``.

        Args:
            track_name: as the sheet has it.
            start: counted from the set's first sample.
            end: first one after them.

        Raises:
            ValueError: the session is closed or not aligned yet, has no such track, or the range is not in it.
            CaptureError: a capture cannot be read.
        """
        self._opened()
        if not self._renderers:
            raise ValueError("the session is not aligned yet: call align() first")
        if track_name not in self._renderers:
            raise ValueError(f"there is no track {track_name!r}; allowed: {', '.join(self._renderers)}")
        if not 0 <= start <= end <= self._length:
            raise ValueError(f"samples {start} to {end}; allowed: a range within 0 to {self._length}")
        return self._renderers[track_name].block(start, end)

    def close(self) -> None:
        """Close all captures and logs; once is enough, more does no harm."""
        if self._imported is not None:
            self._imported.close()
            self._imported = None

    def __enter__(self) -> Self:
        """Return the session itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """Close all captures and logs."""
        self.close()

    def _opened(self) -> ImportedSession:
        if self._imported is None:
            raise ValueError("the session is closed: align and read inside its with block")
        return self._imported


def open_session(
    sheet_path: AnyPath,
    *,
    allow_outside: bool = False,
    progress: Callable[[str, float], None] = lambda *_: None,
    known: Known = NOTHING,
) -> OpenSession:
    """Return a session with its captures open, to be aligned and read.

    Args:
        sheet_path: the session sheet.
        allow_outside: the sheet's paths may lead out of its folder.
        progress: called with what is being done and the share of it that is done.
        known: what was found out before; see ``open_known``.

    Raises:
        SheetError: the sheet, or what lies on disk does not fit it.
        CaptureError: a capture or log cannot be used.
    """
    sheet = load_sheet(sheet_path, allow_outside=allow_outside)
    return OpenSession(imported(sheet, progress, known), progress)
