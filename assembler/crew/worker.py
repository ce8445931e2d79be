"""A worker process, as the process that started it sees it."""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING, Any

from assembler.crew.serving import DONE, SHARE, serve
from assembler.errors import WorkerError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from functools import partial


class Worker:
    """A worker process, driven by one thread at a time."""

    def __init__(self, context: Any, others: Sequence[Worker] | None = None) -> None:  # noqa: ANN401 - its classes have no common names
        """Start a process; of one that is forked from this one: beside which others."""
        try:
            self.connection, theirs = context.Pipe()
            with theirs:
                copied = [] if others is None else [self.connection, *(one.connection for one in others)]
                self.process = context.Process(target=serve, args=(theirs, copied), daemon=True)
                self.process.start()
        except (OSError, EOFError) as error:
            raise WorkerError(
                f"no worker process can be started: {str(error) or 'the system ended it'}; --jobs 1 needs none"
            ) from error

    def do(self, work: partial[Any], heard: Callable[[float], None] | None) -> Any:  # noqa: ANN401 - whatever the task gives
        """Have a task done and return what came of it."""
        try:
            self.connection.send((work, heard is not None))
            kind, value = self.connection.recv()
            while kind == SHARE:
                if heard is not None:
                    heard(value)
                kind, value = self.connection.recv()
        except (EOFError, ConnectionError) as error:
            raise WorkerError(self._end()) from error
        if kind == DONE:
            return value
        raise value

    def dismiss(self) -> None:
        """Let the process end, unless it has."""
        with suppress(OSError):
            self.connection.send(None)

    def wait(self) -> None:
        """Wait for the end of the process."""
        self.process.join()
        self.connection.close()

    def _end(self) -> str:
        """Return in words how the process ended."""
        with suppress(OSError):
            self.process.join(1)
        code = self.process.exitcode
        how = (
            f"was killed by signal {-code}"
            if code is not None and code < 0
            else "ended before its work was done"
        )
        return f"a worker process {how}, as happens where memory runs out"
