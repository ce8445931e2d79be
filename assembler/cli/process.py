"""The process that a command runs in: its signals, streams and limits."""

from __future__ import annotations

import io
import os
import resource
import signal
import sys
from contextlib import suppress
from typing import TYPE_CHECKING, Final

from assembler.process.heap import keep_freed, keep_loaded
from assembler.process.interrupts import ENDING, INTERRUPTING, is_put_off

if TYPE_CHECKING:
    from types import FrameType

    from _typeshed import ReadableBuffer

LEAST_MEMORY: Final = 400 << 20
"""Bytes of address space under which numeric libraries may fail while they load, some without end."""


def prepare_process() -> None:
    """Make signals that end a process interrupts, streams that fail harmless, and allow many files."""
    for number in ENDING:
        # What the caller has set to be ignored, as nohup does, stays so.
        if signal.getsignal(number) is not signal.SIG_IGN:
            signal.signal(number, _interrupt)
    _fill_standard_streams()
    _allow_many_files()
    # Libraries of linear algebra start a thread for each core and reserve memory for it; nothing here gains by that,
    # and under a limit on either they end the process.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    keep_loaded()
    keep_freed()
    if isinstance(sys.stdout, io.TextIOWrapper):
        # A terminal that cannot show a letter shows a question mark; it is no reason to fail.
        sys.stdout.reconfigure(errors="replace")
    if isinstance(sys.stderr, io.TextIOWrapper):
        sys.stderr = io.TextIOWrapper(
            io.BufferedWriter(_Words(sys.stderr.fileno())),
            encoding=sys.stderr.encoding,
            errors="replace",
            line_buffering=True,
            write_through=True,
        )


def check_memory() -> None:
    """Go on only where there is memory enough to load libraries.

    Raises:
        MemoryError: the process may use less.
    """
    allowed, _ = resource.getrlimit(resource.RLIMIT_AS)
    if allowed != resource.RLIM_INFINITY and allowed < LEAST_MEMORY:
        raise MemoryError(
            f"a limit of {allowed >> 20} MiB on memory is too low; allowed: {LEAST_MEMORY >> 20} MiB and more"
        )


def hold_interrupts() -> None:
    """Let no further signal interrupt the process, which is about to end: the words come out whole."""
    for number in INTERRUPTING:
        if signal.getsignal(number) is _interrupt:
            signal.signal(number, signal.SIG_IGN)


def give_up_output() -> None:
    """Let the rest of standard output go nowhere: Python would complain of it once more at exit."""
    with suppress(OSError, ValueError, AttributeError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)


class _Words(io.RawIOBase):
    """Standard error, to which words are written as far as it takes them: a terminal that is gone ends no work."""

    def __init__(self, descriptor: int) -> None:
        self._descriptor = descriptor

    def writable(self) -> bool:
        return True

    def fileno(self) -> int:
        return self._descriptor

    def isatty(self) -> bool:
        return os.isatty(self._descriptor)

    def write(self, data: ReadableBuffer) -> int:
        with suppress(OSError):
            return os.write(self._descriptor, data)
        return memoryview(data).nbytes


def _fill_standard_streams() -> None:
    """Open what the caller has closed, to nowhere: or the first track written would get its number."""
    for descriptor in range(3):
        try:
            os.fstat(descriptor)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # gets the lowest free number, this one


def _allow_many_files() -> None:
    """Let this process open as many files as the system allows: sixteen reels in many passes are over a thousand."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if soft != hard:
        # Some systems name a hard limit that they then refuse; what was allowed before will have to do.
        with suppress(ValueError, OSError):
            resource.setrlimit(resource.RLIMIT_NOFILE, (hard, hard))


def _interrupt(_: int, frame: FrameType | None) -> None:
    if not is_put_off(frame, _interrupt):
        raise KeyboardInterrupt
