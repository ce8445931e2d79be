"""The captures as files: their digests, and the proof that a run has not touched them."""

from __future__ import annotations

from operator import methodcaller
from typing import TYPE_CHECKING

from assembler.errors import CaptureError
from assembler.importer import import_session
from assembler.inputs import InputFile
from assembler.record.values import relative_path

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from concurrent.futures import Executor
    from contextlib import ExitStack
    from pathlib import Path

    from assembler.importer import ImportedSession
    from assembler.known import Known
    from assembler.sheet import Sheet


def capture_files(session: ImportedSession) -> list[InputFile]:
    """Return every file that the session is made from, as it was opened, in the order of the sheet.

    A file that is read for several passes was opened for each and is here as often.
    """
    files: list[InputFile] = []
    for one in session.passes:
        files += [file.source for file in one.audio.files]
        if one.log is not None:
            files.append(one.log)
    return files


def digest_files(
    sheet: Sheet,
    files: Iterable[InputFile],
    executor: Executor,
    advance: Callable[[float], None] = lambda _: None,
) -> dict[str, str]:
    """Return the SHA-256 of each file by its path relative to the sheet's folder, each read once.

    Raises:
        CaptureError: a file cannot be read.
    """
    listed = {relative_path(sheet, file.path): file for file in files}
    total = sum(file.state.size for file in listed.values()) or 1
    done = 0
    digests = {}
    found = executor.map(methodcaller("sha256"), listed.values())
    for (path, file), digest in zip(listed.items(), found, strict=True):
        digests[path] = digest
        done += file.state.size
        advance(done / total)
    return digests


def import_hashed(
    sheet: Sheet,
    known: Known,
    executor: Executor,
    opened: ExitStack,
    progress: Callable[[str, float], None],
    tell: Callable[[str], None],
) -> tuple[ImportedSession, dict[str, str]]:
    """Return the session and the digest of each of its files, taken before anything that is known is believed.

    Where a file is not what it was although the system says so, what is known of it is told, set aside, and found anew.

    Args:
        sheet: what belongs together.
        known: what was found out before.
        executor: hashes several files at once.
        opened: closes the session.
        progress: called with what is being done and the share of it that is done.
        tell: called with a line for each file that is not what it was.

    Raises:
        SheetError: the sheet and what lies on disk do not fit together.
        CaptureError: a capture or a log cannot be used.
    """
    session = opened.enter_context(
        import_session(sheet, lambda share: progress("reading logs", share), known)
    )
    digests = digest_files(
        sheet, capture_files(session), executor, lambda share: progress("hashing captures", share)
    )
    belied = known.belied({file: file.sha256() for file in capture_files(session)})
    if not belied:
        return session, digests
    for file in belied:
        tell(
            f"{relative_path(sheet, file.path)}: holds other bytes than it did before, though its size and times are "
            "the same; what was remembered of it is set aside, and found anew"
        )
    return import_hashed(sheet, known, executor, opened, progress, tell)


def check_unchanged(files: Iterable[InputFile]) -> None:
    """Raise CaptureError if a file has changed, or has been replaced, since it was opened.

    A capture that is written to while it is read would give a set that nobody can prove afterwards.
    """
    for file in files:
        try:
            file.check_unchanged()
        except CaptureError as error:
            raise CaptureError(f"{error.problem}; no set was written", path=error.path) from error


def sha256_of(path: Path) -> str:
    """Return the SHA-256 of a file, read in blocks.

    Raises:
        CaptureError: the file cannot be read.
    """
    with InputFile(path) as file:
        return file.sha256()
