"""The command line: thin commands over the package's public functions."""

from __future__ import annotations

import sys

from assembler.cli.process import check_memory, hold_interrupts, prepare_process
from assembler.printable import printable

__all__ = ["main"]


def main() -> None:
    """Run the command line of this process."""
    prepare_process()
    status, words = 130, "interrupted; no set was written"
    try:
        check_memory()
        # Loaded only now: what interrupts or lacks a library that early is told in a line as well.
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
