"""``assembler watch``: captures followed while they are recorded."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from assembler.cli.options.examples import example
from assembler.cli.options.loudness import quiet_option
from assembler.cli.options.memory import remembering
from assembler.cli.options.shared import PATH, outside_option

if TYPE_CHECKING:
    from pathlib import Path

    from assembler.cli.answer import Answer
    from assembler.known import Known


@click.command(short_help="Follow captures while they are recorded.", epilog=example("watch"))
@click.argument("source", metavar="FOLDER|SHEET", type=PATH)
@quiet_option
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object a line, no words.")
@outside_option
@remembering
def watch(source: Path, *, as_json: bool, allow_outside: bool, known: Known) -> Answer:
    """Follow the captures in FOLDER, or in the folder of SHEET, while they are being recorded.

    What is wrong with a pass is reported within seconds; when it ends, what must be played again. Ctrl-C ends it.
    Writes nothing but what it remembers in your cache folder.
    """
    from assembler.cli.watching.following import follow

    return follow(source, as_json=as_json, allow_outside=allow_outside, known=known)
