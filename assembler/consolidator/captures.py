"""The captures as files: their digests, and the proof that a run has not touched them."""

from __future__ import annotations

from operator import methodcaller
from typing import TYPE_CHECKING

from assembler.errors import CaptureError
from assembler.inputs import InputFile
from assembler.record.values import relative_path

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from concurrent.futures import Executor
    from pathlib import Path

    from assembler.importer import ImportedSession
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


def check_unchanged(files: Iterable[InputFile]) -> None:
    """Raise CaptureError if a file has changed, or has been replaced, since it was opened.

    A capture that is written to while it is read would give a set that nobody can prove afterwards.
    """
    for file in files:
        try:
            file.check_unchanged()
        except CaptureError as error:
            raise CaptureError(f"{error.problem}; nothing was published", path=error.path) from error


def sha256_of(path: Path) -> str:
    """Return the SHA-256 of a file, read in blocks.

    Raises:
        CaptureError: the file cannot be read.
    """
    with InputFile(path) as file:
        return file.sha256()
