"""Values that a command is given: paths, lengths of time."""

from __future__ import annotations

import math
import os
from pathlib import Path
from typing import Any

import click

from assembler.errors import AssemblerError
from assembler.inputs import is_utf8


class GivenPath(click.Path):
    """A path that can be written down: what is printed names it, and libraries take no other."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:  # noqa: ANN401 - click's own
        """Return the path; a name that is not UTF-8 is refused."""
        path = Path(os.fsdecode(super().convert(value, param, ctx)))
        if not is_utf8(path):
            raise AssemblerError(
                f"{path}: the name is not UTF-8; allowed: names in UTF-8 (rename it, or start in its folder)"
            )
        return path


class Seconds(click.FloatRange):
    """A length of time; the library lets a number that is none by."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:  # noqa: ANN401 - click's own
        """Return the seconds, a number."""
        seconds = super().convert(value, param, ctx)
        if math.isnan(seconds):
            self.fail(
                f"{value!r} is no length of time; allowed: seconds from {self.min} to {self.max}", param, ctx
            )
        return seconds
