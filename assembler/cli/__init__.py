"""The command line: thin commands over the package's public functions."""

from assembler.cli.commands import main

__all__ = ["main"]
