"""Writing the set to disk: whole or not at all.

What holds at any moment, at a power cut too: the target's name is free, or it holds a complete set. All work
goes into a temporary folder beside the target, ``.{name}.partial-{random}``; when every file and folder in it
has reached the disk it is renamed, in one step that never replaces anything, and the rename is made to last.

A run that ends any other way removes its temporary folder. One that was killed cannot; the next run for the
same target does. To tell a dead run's folder from a live one's, every run holds a lock (``flock``) on its own
folder, which the system drops with the process. The lock is on the folder itself, so that no lock file has to
be taken out of the set before it is renamed.

What is not protected: two machines that share a disk without shared locks may take each other's folder for a
dead one's. Then that run fails, and no set is harmed.
"""

from __future__ import annotations

import errno
import fcntl
import hashlib
import io
import os
import secrets
import shutil
from pathlib import Path
from typing import IO, TYPE_CHECKING, Self

from assembler.consolidator.disk import Disk, failure_words, size_words
from assembler.errors import PublishError

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from types import TracebackType

    from _typeshed import ReadableBuffer

BLOCK_BYTES = 1 << 20
NAME_TRIES = 100


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

    Raises:
        PublishError: the target exists, its parent does not, or nothing can be written there.
    """

    def __init__(self, target: Path, *, needed_bytes: int | None = None, disk: Disk | None = None) -> None:
        self.disk = disk or Disk()
        self._target = _absolute(target)
        self._needed_bytes = needed_bytes
        self._folder: Path | None = None
        self._lock = -1
        self._handles: list[IO[bytes]] = []
        self._unsynced: set[Path] = set()
        _check_target(self._target)

    def __enter__(self) -> Self:
        """Remove what dead runs for this target left, and make the temporary folder."""
        _remove_leftovers(self._target)
        try:
            self._folder, self._lock = self._claim_folder()
        except OSError as error:
            raise self.failure(error, self._target) from error
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Remove the temporary folder, unless it was published and is none any more."""
        try:
            for handle in self._handles:
                _abandon(handle)
            if self._folder is not None:
                shutil.rmtree(self._folder, ignore_errors=True)
        finally:
            if self._lock >= 0:
                os.close(self._lock)
                self._lock = -1

    @property
    def folder(self) -> Path:
        """The temporary folder, while there is one."""
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
            PublishError: it could not be, or something has the target's name by now; nothing was published.
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
            self.disk.rename(folder, self._target)
        except FileExistsError as error:
            raise PublishError(f"{self._target} exists already; choose another name") from error
        except OSError as error:
            raise self.failure(error, Path(error.filename or folder)) from error
        self._make_last(folder)
        self._folder = None

    def failure(self, error: OSError, path: Path) -> PublishError:
        """Return what to tell a person about an error while writing, in one line."""
        place = path
        if self._folder is not None and path.is_relative_to(self._folder):
            place = self._target / path.relative_to(self._folder)
        return PublishError(
            f"{failure_words(error, self._target.parent, self._needed_bytes)} ({place}); nothing was published"
        )

    def _make_last(self, folder: Path) -> None:
        """Sync the parent; if that fails take the rename back: an error says that nothing was published."""
        try:
            self.disk.sync(self._target.parent)
        except BaseException as error:
            self._target.rename(folder)
            if isinstance(error, OSError):
                raise self.failure(error, self._target.parent) from error
            raise

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

    def _claim_folder(self) -> tuple[Path, int]:
        """Make a temporary folder and lock it; again, if another run that sweeps just now takes it first."""
        for _ in range(NAME_TRIES):
            folder = self._target.with_name(f".{self._target.name}.partial-{secrets.token_hex(4)}")
            self.disk.make_folder(folder)
            try:
                lock = os.open(folder, os.O_RDONLY)
            except FileNotFoundError:
                continue
            if _lock(lock) is not False and folder.exists():
                return folder, lock
            os.close(lock)
        raise OSError(errno.EAGAIN, "other runs keep taking the temporary folder")


def free_space_check(target: Path, needed_bytes: int) -> None:
    """Raise PublishError if the disk of a target's parent has less than so many bytes free."""
    parent = _absolute(target).parent
    try:
        free = shutil.disk_usage(parent).free
    except OSError as error:
        raise PublishError(f"{parent}: {error.strerror}; nothing was published") from error
    if free < needed_bytes:
        raise PublishError(
            f"{parent}: the set needs about {size_words(needed_bytes)}, but {size_words(free)} are free; "
            "nothing was published"
        )


def _absolute(target: Path) -> Path:
    """Return a target as seen from the root. A link in its place is not followed: the name is taken."""
    return Path(os.path.abspath(target))  # noqa: PTH100 -- resolve() would follow it


def _check_target(target: Path) -> None:
    """Raise PublishError unless the target's name is free in a folder that is there."""
    if os.path.lexists(target):
        raise PublishError(f"{target} exists already; choose another name")
    if not target.parent.is_dir():
        raise PublishError(f"{target.parent} is not a folder; make it first")


def _lock(descriptor: int) -> bool | None:
    """Lock an open folder: True if it is ours now, False if another's, None if locks don't work here."""
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:
        return None
    return True


def _remove_leftovers(target: Path) -> None:
    """Remove temporary folders of this target whose process is gone; errors are of no consequence here."""
    prefix = f".{target.name}.partial-"
    try:
        found = [path for path in target.parent.iterdir() if path.name.startswith(prefix)]
    except OSError:
        return
    for path in found:
        try:
            lock = os.open(path, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW)
        except OSError:
            continue
        if _lock(lock):
            shutil.rmtree(path, ignore_errors=True)
        os.close(lock)


def _abandon(handle: IO[bytes]) -> None:
    """Close a file whose content no longer matters."""
    raw = handle.raw if isinstance(handle, io.BufferedWriter) and not handle.closed else None
    if isinstance(raw, _StagedFile):
        raw.close()  # past the buffer, which would write first


def _folders_inside_out(folder: Path) -> Iterator[Path]:
    """Yield every folder of a set after those inside it."""
    for path, _, _ in os.walk(folder, topdown=False):
        yield Path(path)
