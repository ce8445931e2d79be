"""The private folder beside a target in which it is made, and from which it is moved into place in one step.

The folder is named ``.assembler-partial-{digest of the target's name}-{random}``, which is short whatever the
target is called. In it stand a *mark*, a file of the folder's own name that says in words whose folder it is, and
the work under the target's own name, so that a name that the disk does not take is refused at the start. The
mark never has to be taken out of the work before that is moved.

A run that ends in any way removes its folder. One that was killed cannot; the next run for the same target
does, and says so. To tell a dead run's folder from a live one's, every run holds a lock (``flock``) on its own,
which the system drops with the process. A folder is taken for this program's only if its name and its mark
both are, and nothing else stands in it; whatever else looks like it is left alone.

What is not protected: two machines that share a disk without shared locks may take each other's folder for a
dead one's. Then that run fails, and nothing published is harmed.
"""

from __future__ import annotations

import fcntl
import hashlib
import os
import re
import secrets
import shutil
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Self

from assembler.errors import PublishError
from assembler.publishing.disk import Disk
from assembler.publishing.publication import Publication

if TYPE_CHECKING:
    from types import TracebackType

PREFIX = ".assembler-partial-"
MARK = b"Work of the capture assembler that is going on or was killed; its next run for the same target removes it.\n"
MOST_MARK_BYTES = 4096
RANDOM_BYTES = 8


class Scaffold:
    """The folder in which a target is made; a context manager that removes it in any case.

    Args:
        target: what is to be published, a folder or a file; its name must be free and its parent be there.
        publication: what is reported of it.
        disk: what makes the changes.
        over_empty: an empty folder of the target's name may be replaced.

    Raises:
        PublishError: the target exists, cannot be named so, or its parent is not there.
    """

    def __init__(
        self,
        target: Path,
        publication: Publication | None = None,
        disk: Disk | None = None,
        *,
        over_empty: bool = False,
    ) -> None:
        # As seen from the root, but a link in the target's place is not followed: the name is taken.
        self.target = Path(os.path.abspath(target))  # noqa: PTH100
        self.publication = publication or Publication()
        self.disk = disk or Disk()
        self._over_empty = over_empty
        self._folder = self.target.with_name(_prefix(self.target.name) + secrets.token_hex(RANDOM_BYTES))
        self._is_claimed = False
        self._lock = -1
        _check_target(self.target, over_empty=over_empty)

    def __enter__(self) -> Self:
        """Remove what killed runs for this target left, tell of others', and make the folder.

        Raises:
            OSError: it cannot be made.
        """
        _sweep(self.target, self.publication)
        try:
            self._claim()
        except BaseException:
            self._clear()
            raise
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Remove the folder, and what is left of the work in it."""
        self._clear()

    @property
    def work(self) -> Path:
        """Where the target is made; nothing is there at first."""
        return self._folder / self.target.name

    def land(self) -> None:
        """Publish the work, all of which has reached the disk: move it to the target, and make that last.

        Raises:
            FileExistsError: something has the target's name by now.
            OSError: it could not be moved, or that could not be made to last: then it was moved back, unless that
                failed too; the publication knows.
        """
        self.publication.announce(self.work, self.target)
        if self._over_empty and self.target.is_dir():
            self.work.rename(self.target)
        else:
            self.disk.rename(self.work, self.target)
        try:
            self.disk.sync(self.target.parent)
        except BaseException:
            self.target.rename(self.work)
            raise

    def _claim(self) -> None:
        """Make the folder, lock it, and only then mark it: no other run takes an unmarked one for left over."""
        self._is_claimed = True
        self.disk.make_folder(self._folder)
        self._lock = os.open(self._folder, os.O_RDONLY)
        _lock(self._lock)
        mark = self._folder / self._folder.name
        descriptor = self.disk.create(mark)
        try:
            self.disk.write(descriptor, MARK + os.fsencode(self.target.name))
        finally:
            os.close(descriptor)
        # Unmarked it could never be removed by another run, and it may hold gigabytes when the power fails.
        self.disk.sync(mark)
        self.disk.sync(self._folder)

    def _clear(self) -> None:
        try:
            if self._is_claimed:
                _remove(self._folder, self.target.name)
        finally:
            if self._lock >= 0:
                os.close(self._lock)
                self._lock = -1


def _prefix(name: str) -> str:
    """Return how the folders of a target of this name begin."""
    return f"{PREFIX}{hashlib.sha256(os.fsencode(name)).hexdigest()[:16]}-"


def _is_folder_of(name: str, folder: str) -> bool:
    """Return whether a folder is named exactly as a run for a target of this name names its own."""
    return re.fullmatch(f"{re.escape(_prefix(name))}[0-9a-f]{{{2 * RANDOM_BYTES}}}", folder) is not None


def _check_target(target: Path, *, over_empty: bool) -> None:
    """Raise PublishError unless the target's name is free in a folder that is there."""
    try:
        target.lstat()
    except FileNotFoundError:
        is_free = True
    except NotADirectoryError:
        is_free = True  # its parent is a file, which is reported below
    except OSError as error:
        raise PublishError(f"{target}: {error.strerror}; no set was written") from error
    else:
        is_free = over_empty and target.is_dir() and not target.is_symlink() and not any(target.iterdir())
    if not is_free:
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


def _sweep(target: Path, publication: Publication) -> None:
    """Remove what killed runs for this target left, tell of that and of other targets'; errors are reported, too."""
    try:
        found = sorted(path for path in target.parent.iterdir() if path.name.startswith(PREFIX))
    except OSError:
        return
    for path in found:
        try:
            descriptor = os.open(path, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW)
        except OSError:
            continue
        try:
            name = _marked_name(path, descriptor)
            if name is not None and _lock(descriptor):
                publication.tell(_swept(path, name, target))
        finally:
            os.close(descriptor)


def _swept(path: Path, name: str, target: Path) -> str:
    """Deal with a killed run's folder and return what to tell of it."""
    if name != target.name:
        return f"{path} was left by a killed run for {name}; it is not touched"
    if _remove(path, name):
        return f"{path} was left by a killed run for {name} and is now removed"
    return f"{path} was left by a killed run for {name} and cannot be removed"


def _marked_name(folder: Path, descriptor: int) -> str | None:
    """Return the target's name by a folder's mark; None if the folder is not provably this program's."""
    try:
        mark = os.open(folder.name, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK, dir_fd=descriptor)
    except OSError:
        return None
    with os.fdopen(mark, "rb") as file:
        try:
            data = file.read(MOST_MARK_BYTES)
        except OSError:
            return None
    name = os.fsdecode(data.removeprefix(MARK))
    is_ours = data.startswith(MARK) and _is_folder_of(name, folder.name)
    return name if is_ours and set(os.listdir(descriptor)) <= {folder.name, name} else None


def _remove(folder: Path, name: str) -> bool:
    """Remove a folder of this program: the work, the mark last. Return whether it is gone."""
    work = folder / name
    with suppress(OSError):
        shutil.rmtree(work, ignore_errors=True)
        work.unlink(missing_ok=True)  # a file; of a folder that could not be removed wholly, this ends it
        (folder / folder.name).unlink(missing_ok=True)
        folder.rmdir()
    return not os.path.lexists(folder)
