"""What a path stands for, and a regular file opened so that nothing can hang."""

from __future__ import annotations

import errno
import os
import stat
from contextlib import suppress
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from pathlib import Path

AnyPath: TypeAlias = "str | os.PathLike[str]"
"""A path as a program may give it."""

_KINDS = (
    (stat.S_ISDIR, "a folder"),
    (stat.S_ISFIFO, "a named pipe"),
    (stat.S_ISSOCK, "a socket"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a device"),
)


def is_utf8(path: Path | str) -> bool:
    """Return whether a path can be written down in UTF-8, as records and sheets are; the system takes any bytes."""
    try:
        os.fspath(path).encode()
    except UnicodeEncodeError:
        return False
    return True


def kind_of(path: Path) -> str | None:
    """Return what a path is in words if it is there and no regular file; else None. Nothing is opened."""
    with suppress(OSError, ValueError):
        mode = path.stat().st_mode
        return None if stat.S_ISREG(mode) else _kind_words(mode)
    return None


def _kind_words(mode: int) -> str:
    return next((words for is_kind, words in _KINDS if is_kind(mode)), "no file")


def open_regular(path: Path, *, follow: bool = True) -> int:
    """Return a read-only descriptor of a regular file.

    Args:
        path: the file.
        follow: whether a link in its place is followed.

    Raises:
        OSError: it cannot be opened, or is no regular file; the reason stands in ``strerror``.
    """
    # O_NONBLOCK: opening a named pipe would otherwise wait for a writer; regular files ignore it.
    flags = os.O_RDONLY | os.O_CLOEXEC | os.O_NONBLOCK | os.O_NOCTTY | (0 if follow else os.O_NOFOLLOW)
    try:
        descriptor = os.open(path, flags)
    except ValueError as error:  # a NUL in the path
        raise OSError(errno.EINVAL, str(error), str(path)) from error
    except OSError as error:
        # A socket, or a device without a driver, cannot even be opened.
        kind = kind_of(path) if follow else None
        if kind is None:
            raise
        raise OSError(errno.EINVAL, f"{kind}, not a regular file", str(path)) from error
    mode = os.fstat(descriptor).st_mode
    if not stat.S_ISREG(mode):
        os.close(descriptor)
        raise OSError(errno.EINVAL, f"{_kind_words(mode)}, not a regular file", str(path))
    return descriptor
