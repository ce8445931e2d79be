"""Assembles flawed captures of digital session tapes into one verified deliverable set.

Everything that a command does a program can do. Paths are text or anything like a path:

    load_sheet      read and check a session sheet
    draft_sheet     look through a folder of captures for a first sheet
    check_session   import and align a session, write nothing
    find_retakes    what must be played again, from a sheet and its edit
    open_session    the same, with the captures left open: read what would be delivered
    write_plan      the plan of an edit as text, to change by hand
    build_set       build and publish a set, with its page
    read_record     a set's record, from the bytes of its assembly.json
    report_page     the page of a record
    verify_set      check a set, and prove it against its captures

What is raised on purpose is an `AssemblerError`; its tree stands in `assembler.errors`.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from assembler.errors import (
    AssemblerError,
    CaptureError,
    PlanError,
    PublishError,
    SheetError,
    TimecodeError,
    TimecodeLogError,
    WaveError,
)
from assembler.version import __version__

if TYPE_CHECKING:
    from assembler.aligner import Edit, write_plan
    from assembler.consolidator import (
        OpenSession,
        SessionResult,
        VerifyResult,
        build_set,
        check_session,
        open_session,
        verify_set,
    )
    from assembler.importer.looking import draft_sheet
    from assembler.record.recorded.reading import read_record
    from assembler.report import report_page
    from assembler.retakes import find_retakes
    from assembler.sheet import load_sheet

__all__ = [
    "AssemblerError",
    "CaptureError",
    "Edit",
    "OpenSession",
    "PlanError",
    "PublishError",
    "SessionResult",
    "SheetError",
    "TimecodeError",
    "TimecodeLogError",
    "VerifyResult",
    "WaveError",
    "__version__",
    "build_set",
    "check_session",
    "draft_sheet",
    "find_retakes",
    "load_sheet",
    "open_session",
    "read_record",
    "report_page",
    "verify_set",
    "write_plan",
]

_HOMES = {
    "Edit": "assembler.aligner",
    "write_plan": "assembler.aligner",
    "OpenSession": "assembler.consolidator",
    "SessionResult": "assembler.consolidator",
    "VerifyResult": "assembler.consolidator",
    "build_set": "assembler.consolidator",
    "check_session": "assembler.consolidator",
    "open_session": "assembler.consolidator",
    "verify_set": "assembler.consolidator",
    "draft_sheet": "assembler.importer.looking",
    "read_record": "assembler.record.recorded.reading",
    "report_page": "assembler.report",
    "find_retakes": "assembler.retakes",
    "load_sheet": "assembler.sheet",
}


def __getattr__(name: str) -> Any:  # noqa: ANN401 - the types stand in the imports above
    """Load a public name when it is first used: the command line's help needs none of them."""
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
