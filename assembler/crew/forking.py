"""Processes forked from this one: when that is safe, and what one of them does first."""

from __future__ import annotations

import gc
import signal
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from assembler.process.heap import keep_freed
from assembler.process.interrupts import INTERRUPTING

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator


def has_one_thread() -> bool:
    """Return whether nothing runs in this process but what asks, threads of libraries counted; False if unknown.

    Another one might hold a lock, which a forked process would wait for.
    """
    try:
        return sum(1 for _ in Path("/proc/self/task").iterdir()) == 1
    except OSError:
        return False


@contextmanager
def signals_held() -> Iterator[None]:
    """Have signals that interrupt this process wait; a process forked meanwhile holds them until it lets them come."""
    held = signal.pthread_sigmask(signal.SIG_BLOCK, INTERRUPTING)
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, held)


def let_signals_come() -> None:
    """End in a forked process what ``signals_held`` began: it has said by now what each of them does."""
    signal.pthread_sigmask(signal.SIG_UNBLOCK, INTERRUPTING)


class Closable(Protocol):
    """A file or connection."""

    def close(self) -> object:
        """Let it go."""


def begin_forked(copied: Iterable[Closable]) -> None:
    """Begin a forked process.

    Args:
        copied: ends of connections that it was forked with and that are the starter's alone: with a copy of one,
            nobody would see that the starter is gone.
    """
    for one in copied:
        one.close()
    # What was loaded before the fork stays: looked through for cycles, each page of it would be copied.
    gc.freeze()
    keep_freed()
