"""Workers of our own: processes of this machine, one order at a time each."""

from __future__ import annotations

import os
import selectors
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path
from typing import IO, TYPE_CHECKING, cast

from assembler.batch.orders import Done
from assembler.collection import Row, read_row

if TYPE_CHECKING:
    from assembler.batch.orders import Order

_PATIENCE_SECONDS = 20.0
"""So long a worker may take to clear up before it is killed."""

_START = """
from assembler.heap import keep_loaded
keep_loaded()
from assembler.batch.workers.worker import main
main()
"""
"""What a worker runs: how it loads is settled before there is anything to load."""


class _Worker:
    """One process, and the order that it is at."""

    def __init__(self, lock: int) -> None:
        package = Path(__file__).resolve().parents[2]
        path = os.pathsep.join(filter(None, (str(package), os.environ.get("PYTHONPATH"))))
        self._process = subprocess.Popen(  # noqa: S603 - a text of our own
            [sys.executable, "-c", _START],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env={"OPENBLAS_NUM_THREADS": "1", **os.environ, "PYTHONPATH": path},
            pass_fds=(lock,) if lock >= 0 else (),
            start_new_session=True,  # Ctrl-C is for the batch, which ends its workers
        )
        self.order: Order | None = None

    @property
    def answers(self) -> IO[bytes]:
        return cast("IO[bytes]", self._process.stdout)

    def give(self, order: Order) -> None:
        self.order = order
        orders = cast("IO[bytes]", self._process.stdin)
        with suppress(BrokenPipeError):  # it has died: that is seen when its answer is read
            orders.write(order.model_dump_json().encode("utf-8") + b"\n")
            orders.flush()

    def answer(self) -> Row | None:
        """Return the row that has come; None if the worker has died instead."""
        line = self.answers.readline()
        if line.endswith(b"\n"):
            with suppress(ValueError):
                return read_row(line)
        return None

    def end(self) -> None:
        with suppress(OSError):
            self._process.terminate()

    def wait(self, until: float) -> None:
        try:
            self._process.wait(max(0.0, until - time.monotonic()))
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        for stream in (self._process.stdin, self._process.stdout):
            if stream is not None:
                with suppress(OSError):
                    stream.close()


class EmbeddedPool:
    """So many processes at most; one that dies is replaced when there is something to do.

    Args:
        jobs: how many.
        lock: a descriptor that each of them inherits; negative for none.
    """

    def __init__(self, jobs: int, lock: int = -1) -> None:
        self._jobs = jobs
        self._lock = lock
        self._idle: list[_Worker] = []
        self._busy: dict[int, _Worker] = {}
        self._selector = selectors.DefaultSelector()

    def room(self) -> int:
        """Return how many orders more the workers could begin now."""
        return self._jobs - len(self._busy)

    def give(self, order: Order) -> None:
        """Have an order done."""
        worker = self._idle.pop() if self._idle else _Worker(self._lock)
        self._busy[worker.answers.fileno()] = worker
        self._selector.register(worker.answers, selectors.EVENT_READ)
        worker.give(order)

    def wait(self, seconds: float) -> list[Done]:
        """Return what was done since the last call, after so many seconds at most if nothing was."""
        done = []
        for key, _ in self._selector.select(seconds):
            self._selector.unregister(key.fileobj)
            worker = self._busy.pop(key.fd)
            row, order = worker.answer(), cast("Order", worker.order)
            if row is None:
                worker.end()
                worker.wait(time.monotonic())
            else:
                self._idle.append(worker)
            done.append(Done(order, row))
        return done

    def close(self) -> None:
        """End the workers and what they are at."""
        workers = [*self._idle, *self._busy.values()]
        for worker in workers:
            worker.end()
        until = time.monotonic() + _PATIENCE_SECONDS
        for worker in workers:
            worker.wait(until)
        self._selector.close()
        self._idle, self._busy = [], {}
