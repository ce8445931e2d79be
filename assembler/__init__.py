"""Assembles flawed captures of digital session tapes into one verified deliverable set.

Everything that a command does a program can do:

    load_sheet      read and check a session sheet
    draft_sheet     look through a folder of captures for a first sheet
    check_session   import and align a session, write nothing
    build_set       build and publish a set; `report_page` makes its page
    verify_set      check a set, and prove it against its captures
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from assembler.version import __version__

if TYPE_CHECKING:
    from assembler.consolidator import build_set, check_session, verify_set
    from assembler.importer.looking import draft_sheet
    from assembler.report import report_page
    from assembler.sheet import load_sheet

__all__ = [
    "__version__",
    "build_set",
    "check_session",
    "draft_sheet",
    "load_sheet",
    "report_page",
    "verify_set",
]

_HOMES = {
    "build_set": "assembler.consolidator",
    "check_session": "assembler.consolidator",
    "verify_set": "assembler.consolidator",
    "draft_sheet": "assembler.importer.looking",
    "report_page": "assembler.report",
    "load_sheet": "assembler.sheet",
}


def __getattr__(name: str) -> Any:  # noqa: ANN401 - the types stand in the imports above
    """Load a public name when it is first used: the command line's help needs none of them."""
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
