"""The captures as files: their digests, and the proof that a run has not touched them."""

from __future__ import annotations

import hashlib
import os
from typing import TYPE_CHECKING

from assembler.consolidator.record import relative_path
from assembler.errors import CaptureError
from assembler.opening import open_regular

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from concurrent.futures import Executor
    from pathlib import Path

    from assembler.importer import ImportedSession
    from assembler.sheet import Sheet

HASH_BLOCK = 1 << 20


def capture_files(session: ImportedSession) -> list[Path]:
    """Return every file that the session is made from, each once, in the order of the sheet."""
    files: dict[Path, None] = {}
    for one in session.passes:
        files.update((file.path, None) for file in one.audio.files)
        if one.log is not None:
            files[one.log] = None
    return list(files)


def digest_files(
    sheet: Sheet, files: Iterable[Path], executor: Executor, advance: Callable[[float], None] = lambda _: None
) -> dict[str, str]:
    """Return the SHA-256 of each file by its path relative to the sheet's folder.

    Raises:
        CaptureError: a file cannot be read.
    """
    listed = list(files)
    total = sum(path.stat().st_size for path in listed) or 1
    done = 0
    digests = {}
    for path, digest in zip(listed, executor.map(sha256_of, listed), strict=True):
        digests[relative_path(sheet, path)] = digest
        done += path.stat().st_size
        advance(done / total)
    return digests


def sha256_of(path: Path) -> str:
    """Return the SHA-256 of a file, read in blocks.

    Raises:
        CaptureError: the file cannot be read.
    """
    running = hashlib.sha256()
    try:
        with os.fdopen(open_regular(path), "rb", buffering=0) as file:
            while block := file.read(HASH_BLOCK):
                running.update(block)
    except OSError as error:
        raise CaptureError(f"cannot be read: {error.strerror}", path=path) from error
    return running.hexdigest()


class UnchangedFiles:
    """Watches that files stay as they were: size and time of last change, taken at the start.

    A capture that is written to while it is read would give a set that nobody can prove afterwards.
    """

    def __init__(self, files: Iterable[Path]) -> None:
        self._seen = {path: self._state(path) for path in files}

    def check(self) -> None:
        """Raise CaptureError if a file has changed since."""
        for path, state in self._seen.items():
            if self._state(path) != state:
                raise CaptureError("was changed while it was read; nothing was published", path=path)

    @staticmethod
    def _state(path: Path) -> tuple[int, int]:
        try:
            found = path.stat()
        except OSError as error:
            raise CaptureError(f"cannot be read: {error.strerror}", path=path) from error
        return found.st_size, found.st_mtime_ns
