"""Assembles flawed captures of digital session tapes into one verified deliverable set.

Everything that a command does a program can do. Paths are text or anything like a path:

    load_sheet      read and check a session sheet
    draft_sheet     look through a folder of captures for a first sheet
    grow_sheet      the same for a sheet that stands and captures that are new
    check_session   import and align a session, write nothing
    find_retakes    what must be played again, from a sheet and its edit
    open_session    the same, with the captures left open: read what would be delivered
    open_known      what was found out before, for each of these to be quicker
    write_plan      the plan of an edit as text, to change by hand
    build_set       build and publish a set, with its page
    read_record     a set's record, from the bytes of its assembly.json
    report_page     the page of a record
    verify_set      check a set, and prove it against its captures
    Watch           follow captures while they are recorded
    write_demo      a small invented session, to try

Many sessions at once:

    build_collection    build a set of every session in folders
    read_collection     what has become of each, by the ledger
    verify_collection   verify sets, those first that were not looked at for longest

What is raised on purpose is an `AssemblerError`; its tree stands in `assembler.errors`.
"""

from __future__ import annotations

TYPE_CHECKING = False
"""As in ``typing``, which takes longer to load than all that is needed here."""

if TYPE_CHECKING:
    from typing import Any

    from assembler.aligner import Edit, write_plan
    from assembler.batch import BatchResult, build_collection, verify_collection
    from assembler.collection import Collection, read_collection
    from assembler.consolidator import (
        OpenSession,
        SessionResult,
        VerifyResult,
        build_set,
        check_session,
        open_session,
        verify_set,
    )
    from assembler.demo import write_demo
    from assembler.drafting import draft_sheet, grow_sheet
    from assembler.errors import (
        AssemblerError,
        CaptureError,
        ClusterError,
        LedgerError,
        PlanError,
        PublishError,
        RecordError,
        SheetError,
        TimecodeError,
        TimecodeLogError,
        WaveError,
        WorkerError,
    )
    from assembler.known import open_known
    from assembler.record.recorded.reading import read_record
    from assembler.report import report_page
    from assembler.retakes import find_retakes
    from assembler.sheet import load_sheet
    from assembler.version import __version__
    from assembler.watch import Watch

__all__ = [
    "AssemblerError",
    "BatchResult",
    "CaptureError",
    "ClusterError",
    "Collection",
    "Edit",
    "LedgerError",
    "OpenSession",
    "PlanError",
    "PublishError",
    "RecordError",
    "SessionResult",
    "SheetError",
    "TimecodeError",
    "TimecodeLogError",
    "VerifyResult",
    "Watch",
    "WaveError",
    "WorkerError",
    "__version__",
    "build_collection",
    "build_set",
    "check_session",
    "draft_sheet",
    "find_retakes",
    "grow_sheet",
    "load_sheet",
    "open_known",
    "open_session",
    "read_collection",
    "read_record",
    "report_page",
    "verify_collection",
    "verify_set",
    "write_demo",
    "write_plan",
]

_HOMES = {
    "version": ("__version__",),
    "aligner": ("Edit", "write_plan"),
    "batch": ("BatchResult", "build_collection", "verify_collection"),
    "collection": ("Collection", "read_collection"),
    "consolidator": (
        *("OpenSession", "SessionResult", "VerifyResult"),
        *("build_set", "check_session", "open_session", "verify_set"),
    ),
    "demo": ("write_demo",),
    "drafting": ("draft_sheet", "grow_sheet"),
    "known": ("open_known",),
    "record.recorded.reading": ("read_record",),
    "report": ("report_page",),
    "retakes": ("find_retakes",),
    "sheet": ("load_sheet",),
    "watch": ("Watch",),
}
"""Where public names live; those that stand nowhere here are errors."""


def __getattr__(name: str) -> Any:  # noqa: ANN401 - the types stand in the imports above
    """Load a public name when it is first used: the command line's help needs none, and an interrupt finds little."""
    if name in __all__:
        from importlib import import_module

        home = next((home for home, names in _HOMES.items() if name in names), "errors")
        return getattr(import_module(f"assembler.{home}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    """Return the public names: whoever completes a name by its first letters finds them before they are loaded."""
    return sorted({*globals(), *__all__})
