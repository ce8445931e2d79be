"""A disk on which things happen, and a program that kills a publishing run at every one of its operations.

The program, ``python -m tests.damage.publishing_faulty_disk TARGET``, prints a line for each kill: the signal
that ended the run and what the target's folder held afterwards. It forks, which a process with threads, as
that of the tests may be, should not.
"""

from __future__ import annotations

import json
import os
import signal
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from assembler.publishing.disk import Disk
from assembler.publishing.staging import Staging

if TYPE_CHECKING:
    from collections.abc import Callable

    from _typeshed import ReadableBuffer

NEW = {"bagit.txt": b"tag", "data/tracks/01.wav": b"sound" * 300_000, "data/a.json": b"{}"}


def do_nothing() -> None:
    """Let an operation pass."""


class FaultyDisk(Disk):
    """A disk on which something happens before the operation of a given number, from 0; -1: never."""

    def __init__(self, number: int = -1, happen: Callable[[], None] = do_nothing) -> None:
        self.done = 0
        self._number = number
        self._happen = happen

    def make_folder(self, path: Path) -> None:
        """Count, then do it."""
        self._step()
        super().make_folder(path)

    def create(self, path: Path) -> int:
        """Count, then do it."""
        self._step()
        return super().create(path)

    def write(self, descriptor: int, data: ReadableBuffer) -> int:
        """Count, then do it."""
        self._step()
        return super().write(descriptor, data)

    def sync(self, path: Path) -> None:
        """Count, then do it."""
        self._step()
        super().sync(path)

    def rename(self, source: Path, target: Path) -> None:
        """Count, then do it."""
        self._step()
        super().rename(source, target)

    def _step(self) -> None:
        self.done += 1
        if self.done == self._number + 1:
            self._happen()


def publish(target: Path, disk: Disk) -> None:
    """Publish the new set as the program does: written, read back, finished."""
    with Staging(target, needed_bytes=1_500_005, disk=disk) as staging:
        for name, data in NEW.items():
            staging.write_bytes(name, data)
            staging.hash_back(name, ["sha256"])
        staging.finish()


def contents(folder: Path) -> dict[str, int]:
    """Return the size of every file under a folder by its path."""
    return {
        str(path.relative_to(folder)): path.stat().st_size for path in folder.rglob("*") if path.is_file()
    }


def kill_at_every_operation(target: Path) -> None:
    """Publish again and again, killed one operation later each time, until the set is there."""
    number = 0
    status = signal.SIGKILL
    while status:
        child = os.fork()
        if not child:
            publish(target, FaultyDisk(number, lambda: os.kill(os.getpid(), signal.SIGKILL)))
            os._exit(0)
        _, status = os.waitpid(child, 0)  # type: ignore[assignment]  # a plain number
        print(json.dumps({"signal": os.WTERMSIG(status), "found": contents(target.parent)}))  # noqa: T201
        if target.exists():
            return
        number += 1


if __name__ == "__main__":
    kill_at_every_operation(Path(sys.argv[1]))
