"""Consoles for tables and progress that show texts from outside letter by letter."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rich.cells import cell_len
from rich.console import Console, Group

from assembler.printable import printable

if TYPE_CHECKING:
    from rich.text import Text

__all__ = ["PIPE_WIDTH", "Group", "PlainConsole"]

# The library loads its table of widths at the first letter that is not plain: now, and not when a set stands.
cell_len("漢")

PIPE_WIDTH = 240
"""A file or a pipe has no width: nothing is to be cut there."""


class PlainConsole(Console):
    """A console to which ``[red]``, ``:bomb:`` and escape sequences are letters, in lines and in cells alike."""

    def __init__(self, *, stderr: bool = False) -> None:
        super().__init__(stderr=stderr, highlight=False, markup=False, emoji=False)
        if not self.is_terminal:
            self.width = PIPE_WIDTH

    def render_str(self, text: str, **options: Any) -> Text:  # noqa: ANN401 - the library's own options
        """Return a text to print, as all texts come by here: lines, titles and cells of tables."""
        return super().render_str(printable(text), **options)
