"""What a command remembers from one run to the next: the two options, and what is known."""

from __future__ import annotations

from functools import wraps
from typing import TYPE_CHECKING

import click

from assembler.cli.terminal.words import say

if TYPE_CHECKING:
    from collections.abc import Callable

    from assembler.cli.answer import Answer

MEBIBYTES = 256
"""A check of an hour of a much damaged tape leaves one or two."""
MOST_MEBIBYTES = 1 << 20


def remembering(command: Callable[..., Answer]) -> Callable[..., Answer]:
    """Give a command ``--no-cache`` and ``--cache-size``, and what is known by them as ``known``."""

    @click.option(
        "--cache-size",
        type=click.IntRange(1, MOST_MEBIBYTES),
        default=MEBIBYTES,
        show_default=True,
        metavar="MIB",
        help="Mebibytes that may be kept in the user's cache folder of what is found out about captures.",
    )
    @click.option("--no-cache", is_flag=True, help="Find everything out anew, and keep nothing of it.")
    @wraps(command)
    def called(*arguments: object, no_cache: bool, cache_size: int, **options: object) -> Answer:
        from assembler.known import open_known

        known = open_known(0 if no_cache else cache_size, lambda line: say(f"assembler: {line}", err=True))
        return command(*arguments, known=known, **options)

    return called
