"""A worker: a process that reads one order a line, does it, and writes one row a line, until its input ends.

It lives on its own: a batch that is gone ends it in the midst of its work, and what it had half done is cleared up as
after an interrupt. It is forked from the batch, with all that is loaded there, or started anew.
"""

from __future__ import annotations

import os
import queue
import signal
import sys
import threading
from typing import TYPE_CHECKING

from assembler.batch.orders import Order
from assembler.batch.workers.doing import do
from assembler.collection import row_line
from assembler.crew import begin_forked, let_signals_come
from assembler.process.heap import keep_freed
from assembler.process.interrupts import ENDING, INTERRUPTING, is_put_off

if TYPE_CHECKING:
    from collections.abc import Sequence
    from types import FrameType
    from typing import BinaryIO


def main() -> None:
    """Work as a process that was started for it: orders come in as its input, rows go where its output went."""
    _work(sys.stdin.buffer, os.fdopen(os.dup(1), "wb"))


def serve(orders: BinaryIO, rows: BinaryIO, copied: Sequence[BinaryIO]) -> None:
    """Work as a process that was forked.

    Args:
        orders: where they come from.
        rows: where they go.
        copied: ends of pipes that this process was forked with; they are the starter's.
    """
    os.setsid()  # Ctrl-C is for the batch, which ends its workers
    begin_forked(copied)
    _work(orders, rows)


def _work(orders: BinaryIO, rows: BinaryIO) -> None:
    """Work until there is nothing more to do, or nobody who asks for it."""
    for number in ENDING:
        signal.signal(number, _interrupt)
    try:
        let_signals_come()
        keep_freed()
        os.dup2(2, 1)  # what a library prints is no answer
        lines: queue.SimpleQueue[bytes] = queue.SimpleQueue()
        threading.Thread(target=_listen, args=(orders, lines), daemon=True).start()
        while line := lines.get():
            row = do(Order.model_validate_json(line))
            if signal.getsignal(signal.SIGTERM) is not _interrupt:
                break  # an interrupt was taken for a fault of the session, or lost: nobody waits for the row
            rows.write(row_line(row))
            rows.flush()
        os._exit(0)
    except (KeyboardInterrupt, BrokenPipeError):
        os._exit(130)  # nothing is left to be cleared up, and nobody to be told


def _listen(stream: BinaryIO, lines: queue.SimpleQueue[bytes]) -> None:
    for line in stream:
        lines.put(line)
    lines.put(b"")
    os.kill(os.getpid(), signal.SIGTERM)


def _interrupt(_: int, frame: FrameType | None) -> None:
    if is_put_off(frame, _interrupt):
        return
    # Once: a second one, from a system that ends all there is, or as the input ends too, would strike the clearing up.
    for number in INTERRUPTING:
        signal.signal(number, signal.SIG_IGN)
    raise KeyboardInterrupt
