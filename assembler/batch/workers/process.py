"""A worker's process, as the pool sees it: started, given orders, ended."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from contextlib import suppress
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from assembler.batch.workers.worker import serve
from assembler.collection import Row, read_row
from assembler.crew import has_one_thread, signals_held
from assembler.errors import WorkerError

if TYPE_CHECKING:
    from collections.abc import Iterable
    from multiprocessing.process import BaseProcess

    from assembler.batch.orders import Order

_START = """
from assembler.process.heap import keep_loaded
keep_loaded()
from assembler.batch.workers.worker import main
main()
"""
"""What a worker runs that is started anew: how it loads is settled before there is anything to load."""


class WorkerProcess:
    """One process, and the order that it is at.

    It is forked from this one, which has loaded all that it needs, where no other thread can hold a lock that it would
    wait for.

    Args:
        lock: a descriptor that it inherits; negative for none.
        others: workers that there are.

    Raises:
        WorkerError: the system starts no more processes.
    """

    def __init__(self, lock: int, others: Iterable[WorkerProcess]) -> None:
        self.order: Order | None = None
        try:
            theirs, self._orders = _pipe()
            self.rows, their_rows = _pipe()
            with theirs, their_rows:
                if has_one_thread():
                    copied = [end for worker in (self, *others) for end in worker.ends]
                    self._process: BaseProcess | _Started = _forked(theirs, their_rows, copied)
                else:
                    self._process = _started(theirs, their_rows, lock)
        except OSError as error:
            raise WorkerError(f"no worker process can be started: {error.strerror or error}") from error

    @property
    def ends(self) -> tuple[BinaryIO, BinaryIO]:
        """This side's ends of its pipes."""
        return self._orders, self.rows

    def give(self, order: Order) -> None:
        """Have an order done."""
        self.order = order
        with suppress(BrokenPipeError):  # it has died: that is seen when its row is read
            self._orders.write(order.model_dump_json().encode("utf-8") + b"\n")
            self._orders.flush()

    def row(self) -> Row | None:
        """Return the row that has come; None if the worker has died instead."""
        line = self.rows.readline()
        if line.endswith(b"\n"):
            with suppress(ValueError):
                return read_row(line)
        return None

    def end(self) -> None:
        """Tell it to clear up and end."""
        with suppress(OSError):
            self._process.terminate()

    def wait(self, until: float) -> None:
        """Wait for its end until such a time of the system's steady clock; then it is killed."""
        self._process.join(max(0.0, until - time.monotonic()))
        if self._process.exitcode is None:
            self._process.kill()
            self._process.join()
        for end in self.ends:
            with suppress(OSError):
                end.close()


class _Started(subprocess.Popen[bytes]):
    """A process that was started anew, with the names that a forked one has."""

    def join(self, timeout: float | None = None) -> None:
        with suppress(subprocess.TimeoutExpired):
            self.wait(timeout)

    @property
    def exitcode(self) -> int | None:
        return self.poll()


def _pipe() -> tuple[BinaryIO, BinaryIO]:
    read, written = os.pipe()
    return os.fdopen(read, "rb"), os.fdopen(written, "wb")


def _forked(orders: BinaryIO, rows: BinaryIO, copied: list[BinaryIO]) -> BaseProcess:
    process = get_context("fork").Process(target=serve, args=(orders, rows, copied), daemon=True)
    with signals_held():
        process.start()
    return process


def _started(orders: BinaryIO, rows: BinaryIO, lock: int) -> _Started:
    package = Path(__file__).resolve().parents[2]
    path = os.pathsep.join(filter(None, (str(package), os.environ.get("PYTHONPATH"))))
    return _Started(
        [sys.executable, "-P", "-c", _START],  # what lies where the batch was started is no part of it
        stdin=orders,
        stdout=rows,
        env={"OPENBLAS_NUM_THREADS": "1", **os.environ, "PYTHONPATH": path},
        pass_fds=(lock,) if lock >= 0 else (),
        start_new_session=True,  # Ctrl-C is for the batch, which ends its workers
    )
