"""The captures as files: their digests, and the proof that a run has not touched them."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING

from assembler.crew import cores
from assembler.errors import CaptureError
from assembler.inputs import InputFile
from assembler.record.values import relative_path

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping
    from pathlib import Path

    from assembler.crew import Crew
    from assembler.importer import ImportedSession
    from assembler.known import Known
    from assembler.sheet import Sheet

WORTH_A_WORKER = 64 << 20
"""Bytes of captures that take as long as a worker needs to start, several times over."""


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
    sheet: Sheet, files: Iterable[InputFile], crew: Crew
) -> Callable[[Callable[[float], None]], dict[str, str]]:
    """Begin to hash files, each read once.

    Returns:
        What waits for it and gives the SHA-256 of each file by its path relative to the sheet's folder; it takes what
        is called with the share that is done, and raises CaptureError where a file cannot be read.
    """
    listed = {relative_path(sheet, file.path): file for file in files}
    awaited = crew.begin(_digest, list(listed.values()))
    return lambda advance: dict(zip(listed, awaited(advance), strict=True))


def _digest(file: InputFile, advance: Callable[[float], None]) -> str:
    return file.sha256(advance)


def told_belied(
    sheet: Sheet,
    known: Known,
    files: Iterable[InputFile],
    digests: Mapping[str, str],
    tell: Callable[[str], None],
) -> bool:
    """Return whether files are not what they were although the system says so; what is known of them is set aside.

    Args:
        sheet: what belongs together.
        known: what was found out before.
        files: of the session.
        digests: by path relative to the sheet's folder.
        tell: called with a line for each such file.
    """
    belied = known.belied({file: digests[relative_path(sheet, file.path)] for file in files})
    for file in belied:
        tell(
            f"{relative_path(sheet, file.path)}: holds other bytes than it did before, though its size and times are "
            "the same; what was remembered of it is set aside, and found anew"
        )
    return bool(belied)


def jobs_worth(files: Iterable[InputFile]) -> int:
    """Return how many processes to share work on captures among: the processors, as far as each has enough to do."""
    return max(1, min(cores(), sum(file.state.size for file in files) // WORTH_A_WORKER))


@contextmanager
def watched(files: Iterable[InputFile]) -> Iterator[None]:
    """Tell of a file that has changed or was replaced rather than of what came of that.

    Raises:
        CaptureError: such a file, or what was raised inside.
    """
    try:
        yield
    except CaptureError:
        check_unchanged(files)
        raise


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
