"""A folder of entries, each a file that is whole or as good as absent.

An entry is written beside its place and renamed into it, so two processes and a killed one do no harm; its first line
is a digest of its name and the rest, so that a torn, altered or misplaced one is seen. The folder is bounded: what was
not asked for longest goes first. Whatever the disk refuses, nothing is kept: no work depends on it.
"""

from __future__ import annotations

import hashlib
import os
import stat
import tempfile
import time
from contextlib import suppress
from typing import TYPE_CHECKING

from assembler.inputs import open_regular

if TYPE_CHECKING:
    from pathlib import Path

_NEW = ".new-"
"""How the name of an entry that is still being written begins."""
_ABANDONED_SECONDS = 3600
"""Nobody writes an entry for an hour: whoever began it is gone."""
_TRIMMED_SHARE = 0.9
"""To so much of its bound a folder is trimmed, so that not every entry asks for it."""


class Store:
    """Entries by name in a folder of one's own.

    Args:
        folder: made where it is missing.
        most_bytes: that all entries together may take.

    Raises:
        OSError: the folder cannot be made, or is not this user's alone: what stands in it might be anybody's.
    """

    def __init__(self, folder: Path, most_bytes: int) -> None:
        self.folder = folder
        self._most = most_bytes
        self._size: int | None = None
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        _check_private(folder)

    def read(self, name: str) -> bytes | None:
        """Return what an entry holds; None where there is none that is whole."""
        path = self.folder / name
        try:
            with open(open_regular(path, follow=False), "rb") as file:  # noqa: PTH123 - a descriptor
                digest, _, data = file.read(self._most + 65).partition(b"\n")
        except OSError:
            return None
        if digest != _digest(name, data):
            return None
        with suppress(OSError):
            os.utime(path)  # asked for just now
        return data

    def write(self, name: str, data: bytes) -> None:
        """Keep an entry, in place of an older one; or none, where it takes too much room or the disk refuses."""
        text = _digest(name, data) + b"\n" + data
        if len(text) > self._most:
            return
        with suppress(OSError):
            descriptor, path = tempfile.mkstemp(prefix=_NEW, dir=self.folder)
            try:
                with os.fdopen(descriptor, "wb") as file:
                    file.write(text)
                os.replace(path, self.folder / name)  # noqa: PTH105 - both are text here
            except BaseException:
                with suppress(OSError):
                    os.unlink(path)  # noqa: PTH108
                raise
            self._make_room(len(text))

    def _make_room(self, added: int) -> None:
        if self._size is not None:
            self._size += added
        if self._size is None or self._size > self._most:
            self._size = self._trim()

    def _trim(self) -> int:
        """Take away what was abandoned and, beyond the bound, what was asked for longest ago; return what is left."""
        found: list[tuple[int, int, str]] = []
        now = time.time()
        with os.scandir(self.folder) as entries:
            for entry in entries:
                with suppress(OSError):
                    state = entry.stat(follow_symlinks=False)
                    if entry.name.startswith(_NEW) and now - state.st_mtime > _ABANDONED_SECONDS:
                        os.unlink(entry.path)  # noqa: PTH108
                    elif stat.S_ISREG(state.st_mode):
                        found.append((state.st_mtime_ns, state.st_size, entry.path))
        size = sum(one for _, one, _ in found)
        if size <= self._most:
            return size
        for _, one, path in sorted(found):
            if size <= self._most * _TRIMMED_SHARE:
                break
            with suppress(OSError):
                os.unlink(path)  # noqa: PTH108
            size -= one
        return size


def _digest(name: str, data: bytes) -> bytes:
    return hashlib.sha256(name.encode() + b"\n" + data).hexdigest().encode()


def _check_private(folder: Path) -> None:
    state = os.lstat(folder)
    if not stat.S_ISDIR(state.st_mode):
        raise OSError(f"{folder} is no folder")
    if hasattr(os, "geteuid") and (
        state.st_uid != os.geteuid() or state.st_mode & (stat.S_IWGRP | stat.S_IWOTH)
    ):
        raise OSError(f"{folder} can be written to by others")
