"""Opening what is to be read: regular files alone, whatever else lies in their place.

A capture and a set may come from anywhere. Where a file should be there may stand a pipe that would wait for a writer,
a device without end, or a link to something that is nobody's business.
"""

from __future__ import annotations

import errno
import os
import stat
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path


def open_regular(path: Path, *, follow: bool = True) -> int:
    """Return a read-only descriptor of a regular file.

    Args:
        path: the file.
        follow: whether a link in its place is followed.

    Raises:
        OSError: it cannot be opened, or is no regular file; the reason stands in ``strerror``.
    """
    # O_NONBLOCK: opening a named pipe would otherwise wait for a writer; regular files ignore it.
    flags = os.O_RDONLY | os.O_CLOEXEC | os.O_NONBLOCK | (0 if follow else os.O_NOFOLLOW)
    try:
        descriptor = os.open(path, flags)
    except ValueError as error:  # a NUL in the path
        raise OSError(errno.EINVAL, str(error), str(path)) from error
    if not stat.S_ISREG(os.fstat(descriptor).st_mode):
        os.close(descriptor)
        raise OSError(errno.EINVAL, "not a regular file", str(path))
    return descriptor
