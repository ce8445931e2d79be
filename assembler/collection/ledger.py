"""The ledger on disk: JSON lines that are only ever appended, one whole row a write."""

from __future__ import annotations

import errno
import fcntl
import os
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Self

from assembler.collection.rows import Row, latest_rows, read_row, row_line
from assembler.errors import LedgerError
from assembler.inputs import open_regular

if TYPE_CHECKING:
    from assembler.inputs import AnyPath

LEDGER = "ledger.jsonl"
MOST_BYTES = 1 << 30
"""Ten thousand sessions with two rows each have some 30 MB."""


@dataclass(frozen=True)
class Collection:
    """What the ledger of a root tells.

    Args:
        root: the folder that holds sets and ledger.
        history: every row, in the order of writing.
    """

    root: Path
    history: tuple[Row, ...]

    @property
    def rows(self) -> tuple[Row, ...]:
        """The last row of each session, in the order in which they were first seen."""
        return tuple(latest_rows(self.history).values())


class Ledger:
    """The ledger of a root, open for one batch alone. Use as a context manager.

    Args:
        root: the folder that holds sets and ledger; it is made where only it is missing.

    Raises:
        LedgerError: the root cannot be used, or another batch is at work in it.
    """

    def __init__(self, root: Path) -> None:
        self.root = root
        self._path = root / LEDGER
        check_root(root)
        try:
            root.mkdir(exist_ok=True)
            flags = os.O_RDWR | os.O_CREAT | os.O_APPEND | os.O_CLOEXEC | os.O_NOFOLLOW | os.O_NONBLOCK
            self._descriptor = os.open(self._path, flags, 0o666)
        except OSError as error:
            raise LedgerError(f"{error.filename or root}: {error.strerror}; nothing was built") from error
        try:
            self._lock()
            data = _read(self._descriptor, self._path)
            self.history = list(_rows(self._path, data))
            whole = data.rfind(b"\n") + 1
            if whole < len(data):
                os.ftruncate(self._descriptor, whole)  # a row that was torn when the power failed
            self._size = whole
        except BaseException:
            self.close()
            raise

    @property
    def descriptor(self) -> int:
        """The open ledger, which holds the lock: whoever inherits it holds the lock too."""
        return self._descriptor

    def append(self, row: Row) -> None:
        """Add a row, and have it reach the disk.

        Raises:
            LedgerError: it cannot be written; the ledger is as it was before.
        """
        line = row_line(row)
        try:
            _write(self._descriptor, line)
            if not self._size:
                _sync_folder(self.root)
        except OSError as error:
            with suppress(OSError):
                os.ftruncate(self._descriptor, self._size)
            words = (
                f"{self._path}: a row could not be written: {error.strerror}; sets that stand are known again"
            )
            raise LedgerError(words) from error
        self._size += len(line)
        self.history.append(row)

    def close(self) -> None:
        """Let others have the ledger; once is enough, more does no harm."""
        descriptor, self._descriptor = self._descriptor, -1
        if descriptor >= 0:
            os.close(descriptor)

    def __enter__(self) -> Self:
        """Return the ledger itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """Let others have the ledger."""
        self.close()

    def _lock(self) -> None:
        try:
            fcntl.flock(self._descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise LedgerError(
                f"{self.root}: another batch is at work there, or its workers still are; allowed: one at a time"
            ) from error
        except OSError as error:
            raise LedgerError(
                f"{self.root}: the disk knows no locks ({error.strerror}), so two batches would not know of each "
                "other; allowed: a root on a disk that does"
            ) from error


def read_collection(root: AnyPath) -> Collection:
    """Return what the ledger of a root tells; a batch may be at work there.

    Args:
        root: the folder that a batch has built into.

    Raises:
        LedgerError: there is no ledger, or a line of it is no row.
    """
    root = Path(root)
    path = root / LEDGER
    try:
        descriptor = open_regular(path)
    except OSError as error:
        raise LedgerError(f"{path}: {error.strerror}; allowed: a root that `batch` has built into") from error
    try:
        return Collection(root, _rows(path, _read(descriptor, path)))
    finally:
        os.close(descriptor)


def has_ledger(root: Path) -> bool:
    """Return whether a batch has been at work in a folder."""
    return os.path.lexists(root / LEDGER)


def check_root(root: Path) -> None:
    """Raise LedgerError unless a folder holds a ledger, is empty, or can be made; nothing is written."""
    try:
        if root.is_dir():
            if not has_ledger(root) and any(root.iterdir()):
                raise LedgerError(
                    f"{root}: holds other things and no ledger; allowed: a new or empty folder, or a root that "
                    "`batch` has built into"
                )
        elif os.path.lexists(root):
            raise LedgerError(f"{root}: is no folder; allowed: a new or empty folder")
        elif not root.parent.is_dir():
            raise LedgerError(f"{root.parent} is not a folder; make it first")
    except OSError as error:
        raise LedgerError(f"{root}: {error.strerror}; nothing was built") from error


def _read(descriptor: int, path: Path) -> bytes:
    parts: list[bytes] = []
    size = 0
    try:
        while part := os.pread(descriptor, 1 << 20, size):
            parts.append(part)
            size += len(part)
            if size > MOST_BYTES:
                raise LedgerError(f"{path}: has more than {MOST_BYTES >> 20} MiB; that is no ledger")
    except OSError as error:
        raise LedgerError(f"{path}: cannot be read: {error.strerror}") from error
    return b"".join(parts)


def _rows(path: Path, data: bytes) -> tuple[Row, ...]:
    """Return the rows of all whole lines: what follows the last line end was torn, or is being written."""
    rows = []
    for number, line in enumerate(data.split(b"\n")[:-1], 1):
        try:
            rows.append(read_row(line))
        except ValueError as error:
            raise LedgerError(f"{path}: line {number}: {error}") from error
    return tuple(rows)


def _write(descriptor: int, line: bytes) -> None:
    if os.write(descriptor, line) < len(line):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
    os.fsync(descriptor)


def _sync_folder(folder: Path) -> None:
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        with suppress(OSError):  # not every disk can
            os.fsync(descriptor)
    finally:
        os.close(descriptor)
