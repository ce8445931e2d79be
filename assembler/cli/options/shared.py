"""Options that several commands have."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import click

from assembler.cli.options.values import GivenPath

MOST_JOBS: Final = 256

PATH: Final = GivenPath(path_type=Path)

json_option = click.option(
    "--json", "as_json", is_flag=True, help="Print one JSON object on standard output, no words."
)
outside_option = click.option(
    "--allow-outside", is_flag=True, help="Let the sheet's paths lead out of its folder."
)
jobs_option = click.option(
    "--jobs",
    type=click.IntRange(1, MOST_JOBS),
    metavar="N",
    help="Share the work among N processes.  [default: the processors, where there is enough to do]",
)
