"""The crew: worker processes that are handed tasks, as an executor of the standard library hands them to threads.

Each worker is driven by a thread of its own, which sends a task, passes on the progress that is reported of it and
brings back the result or the error. So all that is known of executors holds: futures, order, cancelling. A crew of
one has no workers at all: a task is done where it is handed over, and nothing else is different.

As long as this process has one thread alone, all workers are forked from it when the first task is handed over: they
have loaded what it has, share that memory, and are there within milliseconds. Where other threads might hold locks, the
standard library's fork server starts them, which first loads what they need. What leaves a crew by an error kills its
workers, wherever they are in their tasks.
"""

from __future__ import annotations

import os
import threading
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from functools import partial
from multiprocessing import get_context
from queue import SimpleQueue
from typing import TYPE_CHECKING, Any, Self, TypeVar

from assembler.crew.forking import has_one_thread, signals_held
from assembler.crew.worker import Worker
from assembler.errors import WorkerError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from types import TracebackType

    Advance = Callable[[float], None]

_Task = TypeVar("_Task")
_Result = TypeVar("_Result")


def cores() -> int:
    """Return how many processors this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


class Crew(Executor):
    """An executor whose tasks are done by worker processes; use as a context manager.

    Functions are those of a module, arguments and results what can be pickled; audio goes by path and span.

    Args:
        jobs: how many tasks are done at once; 1: here, one after the other, when they are handed over.
        modules: what a worker is sure to use, loaded once for all of them.
    """

    def __init__(self, jobs: int, modules: Sequence[str] = ()) -> None:
        self.jobs = jobs
        self._workers: list[Worker] = []
        self._waiting: list[Worker] = []
        self._own = threading.local()
        self._lock = threading.Lock()
        self._is_ending = False
        self._threads: ThreadPoolExecutor | None = None
        if jobs > 1:
            self._context = get_context("forkserver")
            self._context.set_forkserver_preload(["__main__", *modules])
            self._threads = ThreadPoolExecutor(jobs)

    def submit(self, function: Callable[..., _Result], /, *arguments: Any, **more: Any) -> Future[_Result]:  # noqa: ANN401 - as Executor has it
        """Hand over one call and return its future."""
        work = partial(function, *arguments, **more)
        if self._threads is not None:
            self._fork_workers()
            return self._threads.submit(self._drive, work, None)
        future: Future[_Result] = Future()
        try:
            future.set_result(work())
        except Exception as error:  # noqa: BLE001 - it is the future's
            future.set_exception(error)
        return future

    def begin(
        self, function: Callable[[_Task, Advance], _Result], tasks: Sequence[_Task]
    ) -> Callable[[Advance], list[_Result]]:
        """Hand over tasks that tell how far they are.

        Args:
            function: takes a task and what is to be called with the share of it that is done.
            tasks: alike in length.

        Returns:
            What waits for them, and gives what came of each, in their order. It takes what is to be called, in the
            thread that waits, with the share of all of them that is done.
        """
        if self._threads is None:
            return partial(_done_here, function, tasks)
        self._fork_workers()
        heard: SimpleQueue[tuple[int, float | None]] = SimpleQueue()

        def tell(number: int, share: float | None) -> None:
            heard.put((number, share))

        futures = [
            self._threads.submit(self._drive, partial(function, task), partial(tell, number))
            for number, task in enumerate(tasks)
        ]
        for number, future in enumerate(futures):
            future.add_done_callback(lambda _, number=number: tell(number, None))  # type: ignore[misc]
        return partial(_awaited, futures, heard)

    def __enter__(self) -> Self:
        """Return the crew itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """End the workers: by an error at once, else when all tasks are done."""
        try:
            if error is not None:
                self._kill()
            self.shutdown(cancel_futures=error is not None)
        except BaseException:
            # Interrupted while the last tasks were waited for: the system would wait for them at this process's end.
            self._kill()
            raise

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:  # noqa: FBT001, FBT002 - as Executor has it
        """Let all workers end."""
        if self._threads is not None:
            self._threads.shutdown(wait, cancel_futures=cancel_futures)
            if wait:
                # All are let go before any is waited for: they end side by side.
                for worker in self._workers:
                    worker.dismiss()
                for worker in self._workers:
                    worker.wait()

    def _drive(self, work: partial[_Result], heard: Advance | None) -> _Result:
        """Have this thread's own worker do a task."""
        worker: Worker | None = getattr(self._own, "worker", None)
        if worker is None:
            with self._lock:
                if self._is_ending:
                    raise WorkerError("the work was given up")
                if self._waiting:
                    worker = self._waiting.pop()
                else:
                    worker = Worker(self._context)
                    self._workers.append(worker)
                self._own.worker = worker
        result: _Result = worker.do(work, heard)
        return result

    def _fork_workers(self) -> None:
        """Fork all workers, if there are none and no other thread can hold a lock that they would wait for."""
        if self._workers or not has_one_thread():
            return
        # A signal that strikes between the fork and the worker's own care is the starter's, and comes after.
        with signals_held():
            for _ in range(self.jobs):
                self._workers.append(Worker(get_context("fork"), self._workers))
        self._waiting = list(self._workers)

    def _kill(self) -> None:
        # A second interrupt would leave some alive, in whose tasks nobody could interrupt them.
        with signals_held(), self._lock:
            self._is_ending = True
            for worker in self._workers:
                worker.process.kill()


def _done_here(
    function: Callable[[_Task, Advance], _Result], tasks: Sequence[_Task], advance: Advance
) -> list[_Result]:
    """Do tasks one after the other."""
    results = []
    for number, task in enumerate(tasks):
        results.append(function(task, lambda share, number=number: advance((number + share) / len(tasks))))  # type: ignore[misc]
        advance((number + 1) / len(tasks))
    return results


def _awaited(
    futures: Sequence[Future[_Result]], heard: SimpleQueue[tuple[int, float | None]], advance: Advance
) -> list[_Result]:
    """Pass on what is heard of tasks until the last of them is done."""
    shares = [0.0] * len(futures)
    left = len(futures)
    while left:
        number, share = heard.get()
        if share is None:
            left -= 1
            futures[number].result()  # an error ends all at once
        shares[number] = 1.0 if share is None else share
        advance(sum(shares) / len(shares))
    return [future.result() for future in futures]
