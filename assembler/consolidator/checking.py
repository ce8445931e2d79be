"""A session imported and aligned, and nothing written: to look before one builds."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from assembler.aligner import align_session
from assembler.consolidator.captures import (
    capture_files,
    check_unchanged,
    jobs_worth,
    watched,
)
from assembler.consolidator.result import SessionResult
from assembler.crew import Crew
from assembler.importer import import_session
from assembler.known import NOTHING
from assembler.record.embedded.cuts import embedding_notes
from assembler.record.record import record_of, record_text
from assembler.record.recorded.reading import read_unwritten
from assembler.record.values import relative_path
from assembler.sheet import load_sheet, reel_cautions
from assembler.verdict.notes import Note

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from assembler.aligner import Edit
    from assembler.importer import ImportedSession
    from assembler.inputs import AnyPath
    from assembler.known import Known
    from assembler.sheet import Sheet

    Progress = Callable[[str, float], None]

WORKER_MODULES = ("assembler.consolidator.checking",)
"""What every worker uses."""


def silent(_what: str, _share: float) -> None:
    """Take in what is being done, and the share of it that is done, and tell nobody."""


def check_session(
    sheet_path: AnyPath,
    *,
    plan: AnyPath | None = None,
    allow_outside: bool = False,
    progress: Progress = silent,
    known: Known = NOTHING,
    jobs: int | None = 1,
) -> SessionResult:
    """Import and align everything, write nothing.

    Args:
        sheet_path: the session sheet.
        plan: a plan made by hand, to be taken in place of the program's.
        allow_outside: the sheet's paths may lead out of its folder.
        progress: called with what is being done and the share of it that is done.
        known: what was found out before; see ``open_known``.
        jobs: as for `build_set`.

    Raises:
        SheetError: the sheet, or what lies on disk does not fit it.
        CaptureError: a capture or log cannot be used, or has changed while it was read.
        WorkerError: a process that shared the work is gone.
    """
    sheet = load_sheet(sheet_path, allow_outside=allow_outside)
    return check_sheet(sheet, plan=plan, progress=progress, known=known, jobs=jobs)


def check_sheet(
    sheet: Sheet,
    *,
    plan: AnyPath | None = None,
    progress: Progress = silent,
    known: Known = NOTHING,
    jobs: int | None = 1,
) -> SessionResult:
    """Import and align everything that a sheet names, read from a file or drafted; write nothing.

    Args:
        sheet: the session.
        plan: as for `check_session`.
        progress: as for `check_session`.
        known: as for `check_session`.
        jobs: as for `build_set`.

    Raises:
        SheetError: what lies on disk does not fit the sheet.
        CaptureError: a capture or log cannot be used, or has changed while it was read.
        WorkerError: a process that shared the work is gone.
    """
    with imported(sheet, progress, known) as session, watched(files := capture_files(session)):
        with Crew(jobs or jobs_worth(files), WORKER_MODULES) as crew:
            edit = align_session(session, progress, None if plan is None else Path(plan), crew)
        check_unchanged(files)
        digests: dict[str, str | None] = {relative_path(sheet, file.path): None for file in files}
        edit = with_sheet_notes(sheet, edit, digests)
        return SessionResult(sheet, edit, record_of(sheet, edit, digests))


def imported(sheet: Sheet, progress: Progress, known: Known) -> ImportedSession:
    """Return what a sheet names, opened and read but for its samples.

    Raises:
        SheetError: what lies on disk does not fit the sheet.
        CaptureError: a capture or log cannot be used.
    """
    return import_session(sheet, lambda share: progress("reading logs", share), known)


def with_sheet_notes(sheet: Sheet, edit: Edit, digests: Mapping[str, str | None]) -> Edit:
    """Return the edit with what the sheet itself gives reason to tell."""
    reported = reel_cautions((reel.name, reel.prepared) for reel in sheet.reels)
    cautions = [Note("caution", text) for text in reported]
    plan = read_unwritten(record_text(record_of(sheet, edit, digests)))
    return replace(edit, notes=(*edit.notes, *cautions, *embedding_notes(plan)))
