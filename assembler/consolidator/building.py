"""The whole job: a sheet in, a published set out."""

from __future__ import annotations

from contextlib import ExitStack
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from assembler.aligner import Edit, align_session
from assembler.consolidator.bag import payload_oxum, tag_files
from assembler.consolidator.bag.folder import SetFolder
from assembler.consolidator.captures import (
    capture_files,
    check_unchanged,
    digest_files,
    jobs_worth,
    told_belied,
    watched,
)
from assembler.consolidator.checking import imported, silent, with_sheet_notes
from assembler.consolidator.proof.verifying import verify_set
from assembler.consolidator.result import SessionResult
from assembler.consolidator.tracks.returned import ReadBack
from assembler.consolidator.tracks.writing import write_tracks
from assembler.crew import Crew
from assembler.epoch import epoch_date
from assembler.errors import PublishError
from assembler.known import NOTHING
from assembler.publishing.publication import Publication
from assembler.publishing.staging import Staging, free_space_check
from assembler.record.joins import joins_csv
from assembler.record.record import record_of, record_text
from assembler.record.recorded.reading import read_record, read_unwritten
from assembler.record.timeline.otio import load_timeline_library, timeline_otio
from assembler.record.timeline.timeline import timeline_of
from assembler.record.values import SOFTWARE, Json, session_date
from assembler.report import load_page, report_page
from assembler.sheet import NO_ADVICE, Sheet, load_sheet, preparation_words, reel_cautions
from assembler.wave import LARGEST_RIFF

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from assembler.consolidator.checking import Progress
    from assembler.importer import ImportedSession
    from assembler.inputs import AnyPath, InputFile
    from assembler.known import Known
    from assembler.record.recorded.whole import RecordedSet
    from assembler.verdict.notes import Note

    PageMaker = Callable[[RecordedSet], bytes]

HEADER_ROOM = 1 << 16
"""Bytes of metadata allowed for each track when the disk is asked for room."""

WORKER_MODULES = ("assembler.consolidator.building",)
"""What every worker uses."""


def build_set(
    sheet_path: AnyPath,
    target: AnyPath,
    *,
    plan: AnyPath | None = None,
    allow_outside: bool = False,
    progress: Progress = silent,
    foretell: Callable[[Sequence[Note]], None] = lambda _: None,
    page: PageMaker | None = None,
    largest_riff: int = LARGEST_RIFF,
    publication: Publication | None = None,
    known: Known = NOTHING,
    tell: Callable[[str], None] = lambda _: None,
    jobs: int | None = 1,
) -> SessionResult:
    """Build and publish the set.

    Args:
        sheet_path: the session sheet.
        target: the set's folder; must not exist.
        plan: a plan made by hand, to be taken in place of the program's.
        allow_outside: the sheet's paths may lead out of its folder.
        progress: called with what is being done and the share of it that is done.
        foretell: called with what needs a person, if anything does, before the long work of writing begins.
        page: makes the page of the set from its record, in place of `report_page` with views of all places; these are
            not made then.
        largest_riff: size in bytes past which a track becomes RF64; as large as RIFF allows, unless a test says less.
        publication: what is reported of the set, and of what lies beside it.
        known: what was found out before; no set rests on it where a capture's bytes are not what they were.
        tell: called with a line where they are not.
        jobs: how many processes share the work, None: the processors, as far as each has enough to do. The set has the
            same bytes for any number. Workers import the program that calls this: it has to be one that may be.

    Raises:
        SheetError: the sheet, or what lies on disk does not fit it.
        CaptureError: a capture or log cannot be used, or has changed while it was read.
        PublishError: the set could not be written. In every case nothing is published, but for an error after
            which the publication says that the set stands.
        WorkerError: a process that shared the work is gone.
    """
    load_timeline_library()
    load_page()
    target = Path(target)
    publication = publication or Publication()
    sheet = load_sheet(sheet_path, allow_outside=allow_outside)
    with Staging(target, publication=publication) as staging, ExitStack() as opened:
        session = opened.enter_context(imported(sheet, progress, known))
        opened.enter_context(watched(capture_files(session)))
        crew = opened.enter_context(Crew(jobs or jobs_worth(capture_files(session)), WORKER_MODULES))
        edit, digests, files = _aligned_hashed(session, crew, plan, opened, progress, tell)
        if asking := [note for note in edit.notes if note.needs_a_person]:
            foretell(asking)
        free_space_check(target, _needed_bytes(sheet, edit))
        edit = with_sheet_notes(sheet, edit, digests)
        written, views, read_back = write_tracks(
            staging.files,
            sheet,
            edit,
            read_unwritten(record_text(record_of(sheet, edit, digests))),
            crew,
            lambda share: progress("writing tracks", share),
            largest_riff=largest_riff,
            with_views=page is None,
        )
        record = record_of(sheet, edit, digests, written)
        _write_papers(staging, sheet, record, page or partial(report_page, views=views))
        progress("reading back", 0.0)
        _check_staged(staging, _seal(staging, sheet, read_back))
        progress("reading back", 1.0)
        check_unchanged(files)
        publication.is_sound = edit.is_sound
        staging.finish()
    return SessionResult(sheet, edit, record, target)


def _aligned_hashed(
    session: ImportedSession,
    crew: Crew,
    plan: AnyPath | None,
    opened: ExitStack,
    progress: Progress,
    tell: Callable[[str], None],
) -> tuple[Edit, dict[str, str], list[InputFile]]:
    """Return the edit, the digest of each file it was made from, and these; nothing in it rests on a file belied.

    Files are hashed while the session is aligned. Where one is not what it was although the system says so, what is
    known of it is reported, set aside, and all is found anew.
    """
    files = capture_files(session)
    hashed = digest_files(session.sheet, files, crew)
    edit = align_session(session, progress, None if plan is None else Path(plan), crew)
    digests = hashed(lambda share: progress("hashing captures", share))
    if not told_belied(session.sheet, session.known, files, digests, tell):
        return edit, digests, files
    again = opened.enter_context(imported(session.sheet, progress, session.known))
    return _aligned_hashed(again, crew, plan, opened, progress, tell)


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


def _seal(staging: Staging, sheet: Sheet, tracks: dict[str, ReadBack]) -> dict[str, ReadBack]:
    """Write the manifests, from what is read back from the disk, and return what that has shown by path."""
    algorithms = sheet.deliver.checksums
    papers = (f"data/{name}" for name in PAPERS)
    found = {path: ReadBack(staging.hash_back(path, algorithms)) for path in papers} | tracks
    payload: dict[str, dict[str, str]] = {
        name: {path: one.digests[name] for path, one in found.items()} for name in algorithms
    }
    sizes = SetFolder(staging.folder).sizes
    for name, data in tag_files(payload, _bag_info(sheet, [sizes[path] for path in found])).items():
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
            ("Transfer-Caution", caution)
            for caution in reel_cautions((reel.name, reel.prepared) for reel in sheet.reels)
        ),
    ]


def _bagging_date(sheet: Sheet) -> list[tuple[str, str]]:
    """Return the day of bagging, which only the environment tells; without it the session's, and that it is."""
    day = epoch_date()
    if day is not None:
        return [("Bagging-Date", day.isoformat())]
    said = "the date of the session: no SOURCE_DATE_EPOCH gives the day of bagging"
    return [("Bagging-Date", date), ("Bagging-Date-Is", said)] if (date := session_date(sheet)) else []
