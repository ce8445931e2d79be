"""The command line.

Question: what does a person type, what is printed for that, and with which status does it end?
Input: the words of a command line.
Output: lines, tables or JSON; an exit status; errors in one line or two.

Each in its file:

- `commands`: all commands, and the one place where errors become words and a status.
- `options/`: what can be typed. `sessions/`: what concerns one session; `many/`: what concerns many; `watching/`.
- `answer`: what a command comes to: a status, and words still to be printed.
- `terminal/`: the one way out. `process`: signals, streams and limits of the process.

Help answers at once: what is heavy is imported by the command that uses it, when it runs.
"""

from __future__ import annotations

import os
import signal
import sys

__all__ = ["main"]


def main() -> None:
    """Run the command line of this process."""
    # An interrupt in the middle of an import is no exception that anything could tell of.
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
        signal.signal(signal.SIGINT, _end_at_once)
    from assembler.cli.process import check_memory, hold_interrupts, prepare_process
    from assembler.printable import printable

    prepare_process()
    status, words = 130, "interrupted; no set was written"
    try:
        check_memory()
        # Loaded only now: what interrupts or lacks a library that early is reported in a line as well.
        from assembler.cli.commands import run

        words = ""
        status = run(sys.argv[1:])
    except KeyboardInterrupt:
        pass
    except MemoryError as error:
        status, words = 2, f"{str(error) or 'out of memory'}; no set was written"
    except ImportError as error:
        status, words = 2, f"a part of the program cannot be loaded: {error}; no set was written"
    hold_interrupts()
    if words and sys.stderr is not None:
        sys.stderr.write(printable(f"assembler: {words}") + "\n")
    sys.exit(status)


def _end_at_once(*_: object) -> None:
    """End a process that has begun nothing yet."""
    os.write(2, b"assembler: interrupted; no set was written\n")
    os._exit(130)
