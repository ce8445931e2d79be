"""The whole job: a sheet in, a published set out; and the same without writing, to look before one builds."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING

from assembler.aligner import THREADS, Edit, align_session
from assembler.consolidator.bag import payload_oxum, tag_files
from assembler.consolidator.captures import capture_files, check_unchanged, import_hashed
from assembler.consolidator.examining import track_faults, track_name
from assembler.consolidator.folder import SetFolder
from assembler.consolidator.opened import with_sheet_notes
from assembler.consolidator.publishing import Staging, free_space_check
from assembler.consolidator.result import SessionResult
from assembler.consolidator.tracks import write_tracks
from assembler.consolidator.verifying import ReadBack, verify_set
from assembler.epoch import epoch_date
from assembler.errors import PublishError
from assembler.importer import import_session
from assembler.known import NOTHING
from assembler.publication import Publication
from assembler.record.joins import joins_csv
from assembler.record.record import record_of, record_text
from assembler.record.recorded.reading import read_record, read_unwritten
from assembler.record.timeline import load_timeline_library, timeline_of, timeline_otio
from assembler.record.values import SOFTWARE, Json, relative_path, session_date
from assembler.report import report_page
from assembler.sheet import NO_ADVICE, Sheet, load_sheet, preparation_cautions, preparation_words
from assembler.wave import LARGEST_RIFF

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from assembler.inputs import AnyPath
    from assembler.known import Known
    from assembler.notes import Note
    from assembler.record.recorded.whole import RecordedSet

    Progress = Callable[[str, float], None]
    PageMaker = Callable[[RecordedSet], bytes]

HEADER_ROOM = 1 << 16
"""Bytes of metadata allowed for each track when the disk is asked for room."""

SLOW_LIBRARIES = ("scipy.signal", "scipy.stats", "pyloudnorm")
"""What a check of what is known does without; once the scaffold of a set stands, nothing is loaded any more."""


def _silent(_what: str, _share: float) -> None:
    return


def check_session(
    sheet_path: AnyPath,
    *,
    plan: AnyPath | None = None,
    allow_outside: bool = False,
    progress: Progress = _silent,
    known: Known = NOTHING,
) -> SessionResult:
    """Import and align everything, write nothing.

    Args:
        sheet_path: the session sheet.
        plan: a plan made by hand, to be taken in place of the program's.
        allow_outside: the sheet's paths may lead out of its folder.
        progress: called with what is being done and the share of it that is done.
        known: what was found out before; see ``open_known``.

    Raises:
        SheetError: the sheet, or what lies on disk does not fit it.
        CaptureError: a capture or log cannot be used, or has changed while it was read.
    """
    sheet = load_sheet(sheet_path, allow_outside=allow_outside)
    return check_sheet(sheet, plan=plan, progress=progress, known=known)


def check_sheet(
    sheet: Sheet, *, plan: AnyPath | None = None, progress: Progress = _silent, known: Known = NOTHING
) -> SessionResult:
    """Import and align everything that a sheet names, read from a file or drafted; write nothing.

    Args:
        sheet: the session.
        plan: as for `check_session`.
        progress: as for `check_session`.
        known: as for `check_session`.

    Raises:
        SheetError: what lies on disk does not fit the sheet.
        CaptureError: a capture or log cannot be used, or has changed while it was read.
    """
    with import_session(sheet, lambda share: progress("reading logs", share), known) as session:
        edit = align_session(session, progress, None if plan is None else Path(plan))
        files = capture_files(session)
        check_unchanged(files)
        digests: dict[str, str | None] = {relative_path(sheet, file.path): None for file in files}
        edit = with_sheet_notes(sheet, edit, digests)
        return SessionResult(sheet, edit, record_of(sheet, edit, digests))


def build_set(
    sheet_path: AnyPath,
    target: AnyPath,
    *,
    plan: AnyPath | None = None,
    allow_outside: bool = False,
    progress: Progress = _silent,
    foretell: Callable[[Sequence[Note]], None] = lambda _: None,
    page: PageMaker = report_page,
    largest_riff: int = LARGEST_RIFF,
    publication: Publication | None = None,
    known: Known = NOTHING,
    tell: Callable[[str], None] = lambda _: None,
) -> SessionResult:
    """Build and publish the set.

    Args:
        sheet_path: the session sheet.
        target: the set's folder; must not exist.
        plan: a plan made by hand, to be taken in place of the program's.
        allow_outside: the sheet's paths may lead out of its folder.
        progress: called with what is being done and the share of it that is done.
        foretell: called with what needs a person, if anything does, before the long work of writing begins.
        page: makes the page of the set from its record.
        largest_riff: size in bytes past which a track becomes RF64; as large as RIFF allows, unless a test says less.
        publication: what is told of the set, and of what lies beside it.
        known: what was found out before; no set rests on it where a capture's bytes are not what they were.
        tell: called with a line where they are not.

    Raises:
        SheetError: the sheet, or what lies on disk does not fit it.
        CaptureError: a capture or log cannot be used, or has changed while it was read.
        PublishError: the set could not be written. In every case nothing is published, but for an error after
            which the publication says that the set stands.
    """
    load_timeline_library()
    for name in SLOW_LIBRARIES:
        import_module(name)
    target = Path(target)
    publication = publication or Publication()
    sheet = load_sheet(sheet_path, allow_outside=allow_outside)
    with (
        Staging(target, publication=publication) as staging,
        ThreadPoolExecutor(THREADS) as executor,
        ExitStack() as opened,
    ):
        session, digests = import_hashed(sheet, known, executor, opened, progress, tell)
        files = capture_files(session)
        edit = align_session(session, progress, None if plan is None else Path(plan))
        if asking := [note for note in edit.notes if note.needs_a_person]:
            foretell(asking)
        free_space_check(target, _needed_bytes(sheet, edit))
        edit = with_sheet_notes(sheet, edit, digests)
        written = write_tracks(
            staging,
            sheet,
            edit,
            read_unwritten(record_text(record_of(sheet, edit, digests))),
            executor,
            lambda share: progress("writing tracks", share),
            largest_riff=largest_riff,
        )
        record = record_of(sheet, edit, digests, written)
        _write_papers(staging, sheet, record, page)
        _check_staged(staging, _seal(staging, sheet, record, executor, progress))
        check_unchanged(files)
        publication.is_sound = edit.is_sound
        staging.finish()
    return SessionResult(sheet, edit, record, target)


def _needed_bytes(sheet: Sheet, edit: Edit) -> int:
    return len(edit.tracks) * (edit.length * sheet.deliver.word_length // 8 + HEADER_ROOM)


PAPERS = ("assembly.json", "session.toml", "joins.csv", "timeline.otio", "report.html")


def _write_papers(staging: Staging, sheet: Sheet, record: Mapping[str, Json], page: PageMaker) -> None:
    text = record_text(record)
    # Made from the very text that is published: whoever reads it must come to the same papers.
    recorded = read_record(text)
    contents = (
        text,
        sheet.text,
        joins_csv(recorded),
        timeline_otio(timeline_of(recorded)),
        page(recorded),
    )
    for name, data in zip(PAPERS, contents, strict=True):
        staging.write_bytes(f"data/{name}", data)


def _seal(
    staging: Staging,
    sheet: Sheet,
    record: Mapping[str, Json],
    executor: ThreadPoolExecutor,
    progress: Progress,
) -> dict[str, ReadBack]:
    """Write the manifests, from what is read back from the disk, and return what that has shown by path."""
    folder, recorded = SetFolder(staging.folder), read_record(record_text(record))
    tracks = {track_name(track): track for track in recorded.tracks}
    algorithms = sheet.deliver.checksums

    def read(path: str) -> ReadBack:
        """Read a file from the disk once: its samples are decoded while the system still holds what was hashed."""
        digests = staging.hash_back(path, algorithms)
        return ReadBack(digests, track_faults(folder, recorded, tracks[path]) if path in tracks else ())

    paths = [*(f"data/{name}" for name in PAPERS), *tracks]
    found: dict[str, ReadBack] = {}
    for count, (path, one) in enumerate(zip(paths, executor.map(read, paths), strict=True)):
        found[path] = one
        progress("reading back", (count + 1) / len(paths))
    payload: dict[str, dict[str, str]] = {
        name: {path: one.digests[name] for path, one in found.items()} for name in algorithms
    }
    for name, data in tag_files(payload, _bag_info(sheet, [folder.sizes[path] for path in paths])).items():
        staging.write_bytes(name, data)
    return found


def _check_staged(staging: Staging, read_back: Mapping[str, ReadBack]) -> None:
    """Raise PublishError if the set, as it stands on the disk, is one that ``verify`` would refuse."""
    problems = verify_set(staging.folder, read_back=read_back).problems
    if problems:
        more = f", and {len(problems) - 1} more" if len(problems) > 1 else ""
        raise PublishError(
            f"verify would refuse the set: {problems[0].path}: {problems[0].text}{more}; no set was written. "
            "This is a fault of the program: please report it"
        )


def _bag_info(sheet: Sheet, sizes: list[int]) -> list[tuple[str, str]]:
    session = sheet.session
    return [
        ("Source-Organization", session.originator),
        ("External-Identifier", session.reference),
        ("External-Description", session.description or session.title),
        *_bagging_date(sheet),
        ("Payload-Oxum", payload_oxum(sizes)),
        ("Set-Made-With", SOFTWARE),
        *(
            ("Transfer-Notes", f"reel {reel.name}: {'; '.join(words)} ({NO_ADVICE})")
            for reel in sheet.reels
            if (words := preparation_words(reel.prepared))
        ),
        *(
            ("Transfer-Caution", f"reel {reel.name}: {caution}")
            for reel in sheet.reels
            for caution in preparation_cautions(reel.prepared)
        ),
    ]


def _bagging_date(sheet: Sheet) -> list[tuple[str, str]]:
    """Return the day of bagging, which only the environment tells; without it the session's, and that it is."""
    day = epoch_date()
    if day is not None:
        return [("Bagging-Date", day.isoformat())]
    said = "the date of the session: no SOURCE_DATE_EPOCH told the day of bagging"
    return [("Bagging-Date", date), ("Bagging-Date-Is", said)] if (date := session_date(sheet)) else []
