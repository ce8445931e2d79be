"""The files of a set in the making: written, synced, and read back from the disk. Any process may do its part."""

from __future__ import annotations

import hashlib
import io
import os
from contextlib import suppress
from dataclasses import dataclass, field
from typing import IO, TYPE_CHECKING

from assembler.errors import PublishError
from assembler.publishing.disk import Disk, failure_words

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping
    from pathlib import Path

    from _typeshed import ReadableBuffer

BLOCK_BYTES = 1 << 20


@dataclass(frozen=True)
class StagedFiles:
    """Where a set is made, and by what changes are made there.

    Args:
        folder: in which the set is made.
        target: where it will appear; failures are reported of there.
        needed_bytes: about how large the set will be, if known; named when the disk is full.
        disk: what makes the changes.
    """

    folder: Path
    target: Path
    needed_bytes: int | None = None
    disk: Disk = field(default_factory=Disk)

    def open(self, relative: str) -> IO[bytes]:
        """Return a new file of the set for writing and seeking; its folders are made as needed.

        Args:
            relative: path inside the set, parted by ``/``.

        Raises:
            PublishError: the file exists already or cannot be made; later, from the file's own methods, what
                could not be written.
            ValueError: the path leads out of the set.
        """
        path = self.inside(relative)
        try:
            self._make_parents(path)
            raw = _StagedFile(self, path)
        except OSError as error:
            raise self.failure(error, path) from error
        return io.BufferedWriter(raw, BLOCK_BYTES)

    def hash_back(
        self,
        relative: str,
        algorithms: Iterable[str],
        hear: Callable[[int, bytes], None] = lambda *_: None,
    ) -> Mapping[str, str]:
        """Return the digests of a closed file as it is on the disk: synced, then read back in 1 MiB blocks.

        This reads a file again that was just written, on purpose: a manifest promises what is on the disk,
        and not what was meant to be. Where the system allows, it is asked to drop its copy in memory first.

        Args:
            relative: as given to ``open``.
            algorithms: names that hashlib knows, ``sha256``.
            hear: called with each block and the byte that it begins with.

        Returns:
            Hex digest by algorithm.

        Raises:
            PublishError: it cannot be synced or read back.
        """
        path = self.inside(relative)
        sums = {algorithm: hashlib.new(algorithm, usedforsecurity=False) for algorithm in algorithms}
        try:
            self.disk.sync(path)
            with path.open("rb", buffering=0) as file:
                if hasattr(os, "posix_fadvise"):
                    os.posix_fadvise(file.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
                start = 0
                while block := file.read(BLOCK_BYTES):
                    for running in sums.values():
                        running.update(block)
                    hear(start, block)
                    start += len(block)
        except OSError as error:
            raise self.failure(error, path) from error
        return {algorithm: running.hexdigest() for algorithm, running in sums.items()}

    def failure(self, error: OSError, path: Path, outcome: str | None = None) -> PublishError:
        """Return what to tell a person about an error while writing, in one line.

        Args:
            error: what the system said.
            path: what was being written, in the folder or in its final place.
            outcome: what became of the set, where something did.
        """
        place = path
        if path.is_relative_to(self.folder):
            place = self.target / path.relative_to(self.folder)
        words = failure_words(error, self.target.parent, self.needed_bytes)
        return PublishError(f"{words} ({place}); {outcome or 'no set was written'}")

    def inside(self, relative: str) -> Path:
        """Return the path of a file of the set. Raises ValueError where it leads out of the set."""
        parts = relative.split("/")
        if any(part in ("", ".", "..") or "\0" in part for part in parts):
            raise ValueError(f"{relative!r} is not a path inside the set")
        return self.folder.joinpath(*parts)

    def _make_parents(self, path: Path) -> None:
        for parent in reversed(path.relative_to(self.folder).parents[:-1]):
            if not (self.folder / parent).is_dir():
                with suppress(FileExistsError):  # another process was quicker
                    self.disk.make_folder(self.folder / parent)


class _StagedFile(io.RawIOBase):
    """A file of the set, whose errors are reported as those of the set and not of whatever was being read."""

    def __init__(self, files: StagedFiles, path: Path) -> None:
        self._files = files
        self._path = path
        self._file = io.FileIO(files.disk.create(path), "r+")

    def writable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def write(self, data: ReadableBuffer) -> int:
        try:
            return self._files.disk.write(self._file.fileno(), data)
        except OSError as error:
            raise self._files.failure(error, self._path) from error

    def seek(self, offset: int, whence: int = os.SEEK_SET) -> int:
        return self._file.seek(offset, whence)

    def tell(self) -> int:
        return self._file.tell()

    def fileno(self) -> int:
        return self._file.fileno()

    def close(self) -> None:
        if not self.closed:
            super().close()
            self._file.close()


def abandon(handle: IO[bytes]) -> None:
    """Close a file whose content no longer matters."""
    raw = handle.raw if isinstance(handle, io.BufferedWriter) and not handle.closed else None
    if isinstance(raw, _StagedFile):
        raw.close()  # past the buffer, which would write first
