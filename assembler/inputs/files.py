"""Files that others made, opened so that reading them cannot hang and what was read can be known again.

A capture is read for a long time, and a set is proved by the digest of what it was made from. So a file is opened
once, its digest is taken through that very descriptor (or of the very bytes that were decoded), and in the end both
the open file and whatever has its name by then must still be what was opened.
"""

from __future__ import annotations

import hashlib
import os
import time
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self
from weakref import WeakValueDictionary

from assembler.errors import CaptureError
from assembler.inputs.regular import open_regular

if TYPE_CHECKING:
    from collections.abc import Callable

HASH_BLOCK = 1 << 20

UNSETTLED_NS = 3_000_000_000
"""FAT tells times of change to two seconds (ECMA-107 keeps them so); other file systems to less."""


@dataclass(frozen=True)
class FileState:
    """What the system knows of a file that changes whenever the file is another one or was written to.

    A program can set a file's time of last change back, but not the time of that very act (``ctime_ns``).
    """

    device: int
    inode: int
    size: int
    mtime_ns: int
    ctime_ns: int

    @classmethod
    def of(cls, file: int | Path) -> Self:
        """Return the state of an open descriptor, or of what has a path now, links followed.

        Raises:
            OSError: the system refuses.
        """
        found = os.stat(file)  # noqa: PTH116 - takes a descriptor too, which Path.stat does not
        return cls(found.st_dev, found.st_ino, found.st_size, found.st_mtime_ns, found.st_ctime_ns)


class InputFile:
    """A regular file, open for reading from several threads at once.

    Args:
        path: the file; it is opened read-only.
        descriptor: the file where it is open already; it is closed with this.

    Attributes:
        path: as given.
        state: of the file when it was opened.
        is_settled: whether it was last written to so long before it was opened that a later write shows in its state.

    Raises:
        CaptureError: it cannot be opened, or is no regular file; the message says what it is.
    """

    def __init__(self, path: Path | str, descriptor: int | None = None) -> None:
        self.path = Path(path)
        self._digest: str | None = None
        try:
            self._descriptor = open_regular(self.path) if descriptor is None else descriptor
            self.state = FileState.of(self._descriptor)
            self.is_settled = time.time_ns() - self.state.mtime_ns > UNSETTLED_NS
            _HERE[self.path, self.state] = self
        except OSError as error:
            raise CaptureError(f"cannot be opened: {error.strerror}", path=self.path) from error

    def __reduce__(self) -> tuple[Any, ...]:
        """Return what opens the file in another process."""
        return _opened_again, (self.path, self.state, self.is_settled, self._digest)

    @property
    def descriptor(self) -> int:
        """The open descriptor; negative once the file is closed."""
        return self._descriptor

    def close(self) -> None:
        """Close the file; once is enough, more does no harm."""
        descriptor, self._descriptor = self._descriptor, -1
        if descriptor >= 0:
            os.close(descriptor)

    def __enter__(self) -> Self:
        """Return the file itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """Close the file."""
        self.close()

    def read(self, start: int, count: int) -> bytes:
        """Return exactly ``count`` bytes from byte ``start`` on.

        Raises:
            CaptureError: the disk fails, or the file has become shorter since it was opened.
            ValueError: the file is closed.
        """
        parts: list[bytes] = []
        while count:
            part = self._read_part(start, count)
            if not part:
                raise CaptureError(
                    "the file has become shorter while it was read", path=self.path, place=f"byte {start}"
                )
            parts.append(part)
            start += len(part)
            count -= len(part)
        return parts[0] if len(parts) == 1 else b"".join(parts)

    def read_all(self, most: int) -> bytes:
        """Return what the file holds, and keep the digest of these very bytes.

        Args:
            most: bytes; of a longer file only one more is read, so that the caller sees that it is.

        Raises:
            CaptureError: the disk fails.
        """
        parts: list[bytes] = []
        size = 0
        while size <= most and (part := self._read_part(size, min(most + 1 - size, HASH_BLOCK))):
            parts.append(part)
            size += len(part)
        data = b"".join(parts)
        self._digest = hashlib.sha256(data).hexdigest() if size <= most else None
        return data

    def sha256(self, advance: Callable[[float], None] = lambda _: None) -> str:
        """Return the SHA-256 of the open file, or of the bytes that ``read_all`` has given.

        Args:
            advance: called with the share of the bytes read.

        Raises:
            CaptureError: the disk fails.
        """
        if self._digest is None:
            running = hashlib.sha256()
            start = 0
            while block := self._read_part(start, HASH_BLOCK):
                running.update(block)
                start += len(block)
                advance(min(1.0, start / max(1, self.state.size)))
            self._digest = running.hexdigest()
        return self._digest

    def check_unchanged(self) -> None:
        """Raise CaptureError if the open file was changed, or its name stands for another file by now."""
        self._check_open()
        try:
            states = FileState.of(self._descriptor), FileState.of(self.path)
        except OSError as error:
            raise CaptureError(
                f"was taken away while it was read: {error.strerror}", path=self.path
            ) from error
        if states != (self.state, self.state):
            raise CaptureError("was changed or replaced while it was read", path=self.path)

    def _check_open(self) -> None:
        if self._descriptor < 0:
            # Whoever holds on to a session after its end is reported so; nothing is wrong with the file.
            raise ValueError(f"{self.path} is read after its session was closed: read inside its with block")

    def _read_part(self, start: int, count: int) -> bytes:
        self._check_open()
        try:
            return os.pread(self._descriptor, count, start)  # one call gives at most 2 GiB
        except OSError as error:
            raise CaptureError(
                f"cannot be read: {error.strerror}", path=self.path, place=f"byte {start}"
            ) from error


_HERE: WeakValueDictionary[tuple[Path, FileState], InputFile] = WeakValueDictionary()
"""Files that this process has open, or had."""
_KEPT: list[InputFile] = []
"""Files that were opened for another process: they stay open as long as this one lives."""


def _opened_again(path: Path, state: FileState, is_settled: bool, digest: str | None) -> InputFile:  # noqa: FBT001 - pickle gives no names
    """Return a file that another process has open, or that this one had sent there.

    Raises:
        CaptureError: what has its name by now is not that very file, in that very state.
    """
    here = _HERE.get((path, state))
    if here is not None and here.descriptor >= 0:
        return here
    file = InputFile(path)
    if file.state != state:
        file.close()
        raise CaptureError("was changed or replaced while it was read", path=path)
    file.is_settled, file._digest = is_settled, digest  # noqa: SLF001 - its own
    _KEPT.append(file)
    return file
