"""Workers of our own: processes of this machine, one order at a time each."""

from __future__ import annotations

import selectors
import time
from typing import TYPE_CHECKING, cast

from assembler.batch.orders import Done
from assembler.batch.workers.process import WorkerProcess
from assembler.crew import signals_held

if TYPE_CHECKING:
    from assembler.batch.orders import Order

_PATIENCE_SECONDS = 20.0
"""So long a worker may take to clear up before it is killed."""


class EmbeddedPool:
    """So many processes at most; one that dies is replaced when there is something to do.

    Args:
        jobs: how many; one at least.
        lock: a descriptor that each of them inherits; negative for none.
    """

    def __init__(self, jobs: int, lock: int = -1) -> None:
        self._jobs = max(1, jobs)
        self._lock = lock
        self._idle: list[WorkerProcess] = []
        self._busy: dict[int, WorkerProcess] = {}
        self._selector = selectors.DefaultSelector()

    def room(self) -> int:
        """Return how many orders more the workers could begin now."""
        return self._jobs - len(self._busy)

    def give(self, order: Order) -> None:
        """Have an order done."""
        worker = self._idle.pop() if self._idle else WorkerProcess(self._lock, self._busy.values())
        self._busy[worker.rows.fileno()] = worker
        self._selector.register(worker.rows, selectors.EVENT_READ)
        worker.give(order)

    def wait(self, seconds: float) -> list[Done]:
        """Return what was done since the last call, after so many seconds at most if nothing was."""
        done = []
        for key, _ in self._selector.select(seconds):
            self._selector.unregister(key.fileobj)
            worker = self._busy.pop(key.fd)
            row, order = worker.row(), cast("Order", worker.order)
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
        self._selector.close()
        self._idle, self._busy = [], {}
        # A second interrupt comes after: a worker that nobody has killed would be waited for at this process's end.
        with signals_held():
            for worker in workers:
                worker.end()
            until = time.monotonic() + _PATIENCE_SECONDS
            for worker in workers:
                worker.wait(until)
