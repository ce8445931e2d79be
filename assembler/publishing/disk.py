"""The disk that a set is written to: every change that is made to it, and why it refuses one."""

from __future__ import annotations

import ctypes
import errno
import os
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from _typeshed import ReadableBuffer

_RENAME_NOREPLACE = 1  # linux/fs.h
_AT_FDCWD = -100  # linux/fcntl.h
# A file system that cannot sync a folder, or has no such rename, answers with one of these.
_NOT_OFFERED = {errno.EINVAL, errno.ENOSYS, errno.ENOTSUP, errno.EOPNOTSUPP}


class Disk:
    """Every change that publishing makes to the disk, one method each: tests let any of them fail."""

    def make_folder(self, path: Path) -> None:
        """Make one folder; its parent is there."""
        path.mkdir()

    def create(self, path: Path) -> int:
        """Create a file that is not there yet and return its descriptor, for writing."""
        return os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL | getattr(os, "O_CLOEXEC", 0), 0o666)

    def write(self, descriptor: int, data: ReadableBuffer) -> int:
        """Write at the file's position and return how many bytes were taken."""
        return os.write(descriptor, data)

    def sync(self, path: Path) -> None:
        """Make a file's content, or a folder's entries, reach the disk."""
        descriptor = os.open(path, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        except OSError as error:
            if not (path.is_dir() and error.errno in _NOT_OFFERED):
                raise
        finally:
            os.close(descriptor)

    def rename(self, source: Path, target: Path) -> None:
        """Rename a folder; raise FileExistsError rather than replace anything."""
        try:
            _rename_without_replacing(source, target)
        except OSError as error:
            if error.errno not in _NOT_OFFERED:
                raise
            # Only an empty folder that appears between these two lines would be replaced.
            if os.path.lexists(target):
                raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(target)) from error
            source.rename(target)


def _rename_without_replacing(source: Path, target: Path) -> None:
    """Rename by Linux's ``renameat2``; raise OSError with ENOSYS where there is none."""
    function = getattr(ctypes.CDLL(None, use_errno=True), "renameat2", None)
    if function is None:
        raise OSError(errno.ENOSYS, os.strerror(errno.ENOSYS))
    if function(_AT_FDCWD, os.fsencode(source), _AT_FDCWD, os.fsencode(target), _RENAME_NOREPLACE):
        number = ctypes.get_errno()
        raise OSError(number, os.strerror(number), str(source), None, str(target))


def failure_words(error: OSError, folder: Path, needed_bytes: int | None) -> str:
    """Return in a few words why writing failed.

    Args:
        error: what the system said.
        folder: where the set was to appear.
        needed_bytes: about how large it would have been, if known.
    """
    needs = f": the set needs about {size_words(needed_bytes)}" if needed_bytes is not None else ""
    if error.errno == errno.ENOSPC:
        return f"disk full{needs}"
    if error.errno == errno.EDQUOT:
        return f"disk quota used up{needs}"
    if error.errno == errno.EFBIG:
        return f"file too large for this disk, or over a limit set for this process{needs}"
    if error.errno == errno.EROFS:
        return f"{folder} is on a read-only disk"
    if error.errno in (errno.EACCES, errno.EPERM):
        return "no permission to write"
    return f"could not write: {error.strerror or error}"


def size_words(count: int) -> str:
    """Return a number of bytes as people say it: MB and GB of 10^6 and 10^9."""
    if count >= 1_000_000_000:
        return f"{count / 1e9:.1f} GB"
    return f"{max(count / 1e6, 0.1):.1f} MB"
