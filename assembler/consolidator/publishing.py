"""Writing the set to disk: whole or not at all.

What holds at any moment, at a power cut too: the target's name is free, or it holds a complete set. All work
goes into a scaffold, a private folder beside the target; when every file and folder of the set has reached the
disk it is renamed, in one step that never replaces anything, and the rename is made to last.
"""

from __future__ import annotations

import hashlib
import io
import os
import shutil
from contextlib import ExitStack
from pathlib import Path
from typing import IO, TYPE_CHECKING, Self

from assembler.consolidator.disk import Disk, failure_words, size_words
from assembler.consolidator.scaffold import Scaffold
from assembler.errors import PublishError

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from types import TracebackType

    from _typeshed import ReadableBuffer

    from assembler.publication import Publication

BLOCK_BYTES = 1 << 20


class _StagedFile(io.RawIOBase):
    """A file of the set, whose errors are told as those of the set and not of whatever was being read."""

    def __init__(self, staging: Staging, path: Path) -> None:
        self._staging = staging
        self._path = path
        self._file = io.FileIO(staging.disk.create(path), "r+")

    def writable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def write(self, data: ReadableBuffer) -> int:
        try:
            return self._staging.disk.write(self._file.fileno(), data)
        except OSError as error:
            raise self._staging.failure(error, self._path) from error

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


class Staging:
    """A set in the making; a context manager.

    Leaving it without ``finish``, or by any exception, removes what was written: nothing is published.

    Args:
        target: the set's folder; it must not exist, and its parent must.
        needed_bytes: about how large the set will be, if known; named when the disk is full.
        disk: what makes the changes.
        publication: what is told of the set, and of what lies beside it.

    Raises:
        PublishError: the target exists, its parent does not, or nothing can be written there.
    """

    def __init__(
        self,
        target: Path,
        *,
        needed_bytes: int | None = None,
        disk: Disk | None = None,
        publication: Publication | None = None,
    ) -> None:
        self.disk = disk or Disk()
        self._scaffold = Scaffold(target, publication, self.disk)
        self._target = self._scaffold.target
        self._needed_bytes = needed_bytes
        self._folder: Path | None = None
        self._handles: list[IO[bytes]] = []
        self._unsynced: set[Path] = set()

    def __enter__(self) -> Self:
        """Make the temporary folder."""
        with ExitStack() as ending:
            try:
                ending.enter_context(self._scaffold)
                self.disk.make_folder(self._scaffold.work)
            except OSError as error:
                raise self.failure(error, self._target) from error
            ending.pop_all()
        self._folder = self._scaffold.work
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Remove the temporary folder."""
        try:
            for handle in self._handles:
                _abandon(handle)
        finally:
            self._scaffold.__exit__(kind, error, trace)

    @property
    def folder(self) -> Path:
        """Where the set is made, while it is."""
        if self._folder is None:
            raise ValueError("the staging is not entered, or is finished")
        return self._folder

    def open(self, relative: str) -> IO[bytes]:
        """Return a new file of the set for writing and seeking; its folders are made as needed.

        Args:
            relative: path inside the set, parted by ``/``.

        Raises:
            PublishError: the file exists already or cannot be made; later, from the file's own methods, what
                could not be written.
            ValueError: the path leads out of the set.
        """
        path = self._inside(relative)
        try:
            self._make_parents(path)
            raw = _StagedFile(self, path)
        except OSError as error:
            raise self.failure(error, path) from error
        handle = io.BufferedWriter(raw, BLOCK_BYTES)
        self._handles.append(handle)
        self._unsynced.add(path)
        return handle

    def write_bytes(self, relative: str, data: bytes) -> None:
        """Write a whole file. Raises as ``open`` does."""
        with self.open(relative) as file:
            file.write(data)

    def hash_back(self, relative: str, algorithms: Iterable[str]) -> Mapping[str, str]:
        """Return the digests of a closed file as it is on the disk: synced, then read back in 1 MiB blocks.

        This reads a file again that was just written, on purpose: a manifest promises what is on the disk,
        and not what was meant to be. Where the system allows, it is asked to drop its copy in memory first.

        Args:
            relative: as given to ``open``.
            algorithms: names that hashlib knows, ``sha256``.

        Returns:
            Hex digest by algorithm.

        Raises:
            PublishError: it cannot be synced or read back.
        """
        path = self._inside(relative)
        sums = {algorithm: hashlib.new(algorithm, usedforsecurity=False) for algorithm in algorithms}
        try:
            self._sync(path)
            with path.open("rb", buffering=0) as file:
                if hasattr(os, "posix_fadvise"):
                    os.posix_fadvise(file.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
                while block := file.read(BLOCK_BYTES):
                    for running in sums.values():
                        running.update(block)
        except OSError as error:
            raise self.failure(error, path) from error
        return {algorithm: running.hexdigest() for algorithm, running in sums.items()}

    def finish(self) -> None:
        """Publish the set: sync all, rename it into place, sync the parent.

        Raises:
            PublishError: it could not be, or something has the target's name by now; no set was written.
            ValueError: a file is still open.
        """
        if not all(handle.closed for handle in self._handles):
            raise ValueError("a file of the set is still open")
        folder = self.folder
        try:
            for path in sorted(self._unsynced):
                self._sync(path)
            for path in _folders_inside_out(folder):
                self.disk.sync(path)
            self._scaffold.land()
        except FileExistsError as error:
            raise PublishError(f"{self._target} exists already; choose another name") from error
        except OSError as error:
            raise self.failure(error, Path(error.filename or folder)) from error
        self._folder = None

    def failure(self, error: OSError, path: Path) -> PublishError:
        """Return what to tell a person about an error while writing, in one line."""
        return write_failure(error, path, self._scaffold, self._needed_bytes)

    def _inside(self, relative: str) -> Path:
        parts = relative.split("/")
        if any(part in ("", ".", "..") or "\0" in part for part in parts):
            raise ValueError(f"{relative!r} is not a path inside the set")
        return self.folder.joinpath(*parts)

    def _make_parents(self, path: Path) -> None:
        for parent in reversed(path.relative_to(self.folder).parents[:-1]):
            if not (self.folder / parent).is_dir():
                self.disk.make_folder(self.folder / parent)

    def _sync(self, path: Path) -> None:
        if path in self._unsynced:
            self.disk.sync(path)
            self._unsynced.discard(path)


def publish_text(target: Path, text: str, publication: Publication, disk: Disk | None = None) -> None:
    """Publish one file, as a set is published: whole or not at all.

    Args:
        target: the file; it must not exist, and its folder must.
        text: its content, written as UTF-8.
        publication: what is told of it.
        disk: what makes the changes.

    Raises:
        PublishError: the target exists or cannot be written.
    """
    scaffold = Scaffold(target, publication, disk)
    try:
        with scaffold:
            descriptor = scaffold.disk.create(scaffold.work)
            try:
                data = memoryview(text.encode("utf-8"))
                while data:
                    data = data[scaffold.disk.write(descriptor, data) :]
            finally:
                os.close(descriptor)
            scaffold.disk.sync(scaffold.work)
            scaffold.land()
    except FileExistsError as error:
        raise PublishError(f"{scaffold.target} exists already; choose another name") from error
    except OSError as error:
        raise write_failure(error, scaffold.target, scaffold) from error


def write_failure(
    error: OSError, path: Path, scaffold: Scaffold, needed_bytes: int | None = None
) -> PublishError:
    """Return what to tell a person about an error while something is published, in one line.

    Args:
        error: what the system said.
        path: what was being written, in the scaffold or in its final place.
        scaffold: in which it was made.
        needed_bytes: about how large it would have been, if known.
    """
    target = scaffold.target
    place = path
    if path.is_relative_to(scaffold.work):
        place = target / path.relative_to(scaffold.work)
    outcome = "no set was written"
    if scaffold.publication.standing:
        outcome = f"{target} stands, but may not outlast a power cut"
    return PublishError(f"{failure_words(error, target.parent, needed_bytes)} ({place}); {outcome}")


def free_space_check(target: Path, needed_bytes: int) -> None:
    """Raise PublishError if the disk of a target's parent has less than so many bytes free."""
    parent = Path(os.path.abspath(target)).parent  # noqa: PTH100
    try:
        free = shutil.disk_usage(parent).free
    except OSError as error:
        raise PublishError(f"{parent}: {error.strerror}; no set was written") from error
    if free < needed_bytes:
        raise PublishError(
            f"{parent}: the set needs about {size_words(needed_bytes)}, but {size_words(free)} are free; "
            "no set was written"
        )


def _abandon(handle: IO[bytes]) -> None:
    """Close a file whose content no longer matters."""
    raw = handle.raw if isinstance(handle, io.BufferedWriter) and not handle.closed else None
    if isinstance(raw, _StagedFile):
        raw.close()  # past the buffer, which would write first


def _folders_inside_out(folder: Path) -> Iterator[Path]:
    """Yield every folder of a set after those inside it."""
    for path, _, _ in os.walk(folder, topdown=False):
        yield Path(path)
