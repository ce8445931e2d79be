"""The one way out to the terminal: nothing that came from outside is obeyed there, all of it is shown.

Light on purpose: errors are reported with it before anything heavy is loaded. Tables and progress: `consoles`.
"""

from __future__ import annotations

import json
import shlex
import shutil
import sys
import textwrap
from typing import TYPE_CHECKING

import click

from assembler.printable import printable

if TYPE_CHECKING:
    from collections.abc import Mapping
    from os import PathLike

    from assembler.record.values import Json


def say(*lines: str, err: bool = False) -> None:
    """Print lines, on standard error if asked. A line end inside one of them is shown, not obeyed."""
    for line in lines:
        click.echo(printable(line), err=err)


def say_wrapped(*lines: str) -> None:
    """Print lines that a terminal goes on with below themselves, word by word; a pipe has them whole."""
    width = shutil.get_terminal_size().columns
    for line in lines:
        text = printable(line)
        indent = " " * (len(text) - len(text.lstrip()) + 2)
        folded = textwrap.wrap(text, width, subsequent_indent=indent, break_long_words=False)
        click.echo("\n".join(folded) if sys.stdout.isatty() and folded else text)


def command_line(*words: str | PathLike[str]) -> str:
    """Return a command of this program to be copied, quoted as a shell needs it."""
    return shlex.join(["assembler", *map(str, words)])


def say_text(text: str) -> None:
    """Print a text of many lines, such as a sheet, as it is but for what a terminal would obey."""
    click.echo("\n".join(printable(line) for line in text.split("\n")), nl=False)


def say_json(record: Mapping[str, Json]) -> None:
    """Print a JSON object in ASCII: all else stands in it as JSON's own escapes."""
    # DEL is the one control character that JSON lets stand (RFC 8259, section 7).
    text = json.dumps(record, ensure_ascii=True, indent=1, allow_nan=False)
    click.echo(text.replace("\x7f", "\\u007f"))
