"""Writing the set to disk: whole or not at all.

What holds at any moment, at a power cut too: the target's name is free, or it holds a complete set. All work
goes into a scaffold, a private folder beside the target; when every file and folder of the set has reached the
disk it is renamed, in one step that never replaces anything, and the rename is made to last.
"""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from typing import IO, TYPE_CHECKING, Self

from assembler.errors import PublishError
from assembler.publishing.disk import Disk, size_words
from assembler.publishing.scaffold import Scaffold
from assembler.publishing.staged import StagedFiles, abandon

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from types import TracebackType

    from assembler.publishing.publication import Publication


class Staging:
    """A set in the making; a context manager.

    Leaving it without ``finish``, or by any exception, removes what was written: nothing is published.

    Args:
        target: the set's folder; it must not exist, and its parent must.
        needed_bytes: about how large the set will be, if known; named when the disk is full.
        disk: what makes the changes.
        publication: what is reported of the set, and of what lies beside it.

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
        self._files: StagedFiles | None = None
        self._handles: list[IO[bytes]] = []
        self._unsynced: set[Path] = set()

    def __enter__(self) -> Self:
        """Make the temporary folder."""
        # An interrupt that strikes behind the entry of another context would leave what that has made: it is left here.
        try:
            self._scaffold.__enter__()
            self.disk.make_folder(self._scaffold.work)
            self._files = StagedFiles(self._scaffold.work, self._target, self._needed_bytes, self.disk)
        except BaseException as error:
            self._scaffold.__exit__(type(error), error, error.__traceback__)
            if isinstance(error, OSError):
                raise self.failure(error, self._target) from error
            raise
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
                abandon(handle)
        finally:
            self._scaffold.__exit__(kind, error, trace)

    @property
    def folder(self) -> Path:
        """Where the set is made, while it is."""
        return self.files.folder

    @property
    def files(self) -> StagedFiles:
        """The files of the set, while it is made; what other processes write them through."""
        if self._files is None:
            raise ValueError("the staging is not entered, or is finished")
        return self._files

    def open(self, relative: str) -> IO[bytes]:
        """Return a new file of the set for writing and seeking; see ``StagedFiles.open``."""
        path = self.files.inside(relative)
        handle = self.files.open(relative)
        self._handles.append(handle)
        self._unsynced.add(path)
        return handle

    def write_bytes(self, relative: str, data: bytes) -> None:
        """Write a whole file. Raises as ``open`` does."""
        with self.open(relative) as file:
            file.write(data)

    def hash_back(self, relative: str, algorithms: Iterable[str]) -> Mapping[str, str]:
        """Return the digests of a closed file as it is on the disk; see ``StagedFiles.hash_back``."""
        digests = self.files.hash_back(relative, algorithms)
        self._unsynced.discard(self.files.inside(relative))
        return digests

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
                self.disk.sync(path)
            for path in _folders_inside_out(folder):
                self.disk.sync(path)
            self._scaffold.land()
        except FileExistsError as error:
            raise PublishError(f"{self._target} exists already; choose another name") from error
        except OSError as error:
            raise self.failure(error, Path(error.filename or folder)) from error
        self._files = None

    def failure(self, error: OSError, path: Path) -> PublishError:
        """Return what to tell a person about an error while writing, in one line."""
        return write_failure(error, path, self._scaffold, self._needed_bytes)


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
    outcome = f"{target} stands, but may not outlast a power cut" if scaffold.publication.standing else None
    return StagedFiles(scaffold.work, target, needed_bytes, scaffold.disk).failure(error, path, outcome)


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


def _folders_inside_out(folder: Path) -> Iterator[Path]:
    """Yield every folder of a set after those inside it."""
    for path, _, _ in os.walk(folder, topdown=False):
        yield Path(path)
