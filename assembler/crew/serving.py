"""A worker's side: tasks come in, results and errors go out, until it is let go."""

from __future__ import annotations

import os
import pickle
import select
import signal
import threading
import traceback
from contextlib import suppress
from typing import TYPE_CHECKING, Final

from assembler.crew.forking import begin_forked, let_signals_come
from assembler.process.interrupts import ENDING

if TYPE_CHECKING:
    from collections.abc import Sequence
    from multiprocessing.connection import Connection

    from assembler.crew.forking import Closable

SHARE: Final = "share"
DONE: Final = "done"
FAILED: Final = "failed"

LEAST_TOLD: Final = 0.01
"""Share of a task."""


def serve(connection: Connection, copied: Sequence[Closable] = ()) -> None:
    """Do tasks until a task is nothing.

    Args:
        connection: where tasks come from.
        copied: ends of connections that this process was forked with; they are the starter's.

    Signals that end a process are left to the starter, which ends its workers. A worker whose starter was killed ends
    at once, in the midst of a task.
    """
    for number in ENDING:
        signal.signal(number, signal.SIG_IGN)
    let_signals_come()
    begin_forked(copied)
    threading.Thread(target=_end_with_starter, args=(connection,), daemon=True).start()
    with suppress(EOFError, ConnectionError):
        while _serve_one(connection, connection.recv_bytes()):
            pass


def _serve_one(connection: Connection, message: bytes) -> bool:
    """Do a task and return whether there was one."""
    try:
        # A capture that stands in a task is opened here, and may be another one by now.
        task = pickle.loads(message)  # noqa: S301 - of the process that started this one
        if task is None:
            return False
        work, is_followed = task
        result = work(_Teller(connection)) if is_followed else work()
        answer = pickle.dumps((DONE, result), pickle.HIGHEST_PROTOCOL)
    except Exception as error:  # noqa: BLE001 - whatever it is, the starter raises it
        answer = _failure(error)
    connection.send_bytes(answer)
    return True


class _Teller:
    """Sends how far a task is, not more often than anybody sees."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection
        self._told = 0.0

    def __call__(self, share: float) -> None:
        if share - self._told >= LEAST_TOLD:
            self._told = share
            self._connection.send((SHARE, share))


def _failure(error: Exception) -> bytes:
    """Return an error ready to be sent, with the way to it; one that cannot be sent by what it says."""
    error.add_note("".join(traceback.format_exception(error)))
    try:
        answer = pickle.dumps((FAILED, error))
        pickle.loads(answer)  # noqa: S301 - just made
    except Exception:  # noqa: BLE001 - a class may refuse in any way
        answer = pickle.dumps((FAILED, RuntimeError(f"{type(error).__name__}: {error}")))
    return answer


def _end_with_starter(connection: Connection) -> None:
    """End this process when the starter is gone, by the one end of the connection that no other process has.

    The pipe by which the standard library tells so is copied into each worker that is forked later: one that hangs
    would keep all before it.
    """
    gone = select.poll()
    gone.register(connection.fileno(), 0)  # a hang-up is always told
    gone.poll()
    os._exit(1)
