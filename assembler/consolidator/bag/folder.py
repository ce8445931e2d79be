"""A set's folder as it was found: what is in it, and the one way in which its files are opened."""

from __future__ import annotations

import errno
import os
import stat
from typing import TYPE_CHECKING

from assembler.inputs import open_regular

if TYPE_CHECKING:
    from pathlib import Path


class SetFolder:
    """A folder listed once. No link is followed, and nothing but regular files of the listing is opened.

    Args:
        root: the folder; it may be read-only.

    Attributes:
        sizes: bytes of each regular file by its path inside the set, parted by ``/``.
        folders: paths of the folders.
        oddities: path and what is wrong, of all that is neither or cannot be listed.
    """

    def __init__(self, root: Path) -> None:
        self.root = root
        self.sizes: dict[str, int] = {}
        self.folders: set[str] = set()
        self.oddities: list[tuple[str, str]] = []
        found = [""]
        while found:
            found += self._list(found.pop())

    def open(self, name: str) -> int:
        """Return a read-only descriptor of a file of the listing.

        Raises:
            OSError: there is none, or it cannot be opened.
        """
        if name not in self.sizes:
            number = errno.ELOOP if any(name == path for path, _ in self.oddities) else errno.ENOENT
            raise OSError(
                number, "not a regular file" if number == errno.ELOOP else os.strerror(number), name
            )
        return open_regular(self.root / name, follow=False)

    def read(self, name: str, most: int) -> bytes:
        """Return a file of the listing that has at most so many bytes.

        Raises:
            OSError: there is none, it has more, or cannot be read.
        """
        with os.fdopen(self.open(name), "rb") as stream:
            size = os.fstat(stream.fileno()).st_size
            data = b"" if size > most else stream.read(most + 1)
            if max(size, len(data)) > most:
                raise OSError(errno.EFBIG, f"{max(size, len(data))} bytes, at most {most} are read", name)
            return data

    def _list(self, folder: str) -> list[str]:
        """Note what is in one folder and return the folders inside it."""
        inside = []
        try:
            entries = list(os.scandir(self.root / folder))
        except OSError as error:
            self.oddities.append((folder, f"cannot be listed: {error.strerror}"))
            return []
        for entry in entries:
            path = f"{folder}/{entry.name}".lstrip("/")
            printable = os.fsencode(path).decode("utf-8", "replace")
            try:
                found = entry.stat(follow_symlinks=False)
            except OSError as error:
                self.oddities.append((printable, f"cannot be read: {error.strerror}"))
                continue
            if path != printable:
                self.oddities.append((printable, "has a name that is not UTF-8: no manifest can list it"))
            elif stat.S_ISDIR(found.st_mode):
                inside.append(path)
            elif stat.S_ISREG(found.st_mode):
                self.sizes[path] = found.st_size
            else:
                self.oddities.append((path, "is a link or special file: what it leads to is not in the bag"))
        self.folders.update(inside)
        return inside
