"""Plain values of a record, and the few that other papers have too."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

from assembler.epoch import epoch_date
from assembler.version import __version__

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assembler.sheet import Sheet

Json: TypeAlias = "Mapping[str, Json] | Sequence[Json] | str | int | float | bool | None"

FORMAT = 2
SOFTWARE = f"capture-assembler {__version__}"


def relative_path(sheet: Sheet, path: Path) -> str:
    """Return a capture's path relative to the sheet's folder, with ``/``; outside it, with ``..``.

    Never the path from the root: the record has to hold wherever sheet and captures are moved together.
    """
    return Path(os.path.relpath(path, sheet.folder)).as_posix()


def session_date(sheet: Sheet) -> str:
    """Return the sheet's date, else that of SOURCE_DATE_EPOCH, else nothing: never the clock's."""
    if sheet.session.date is not None:
        return sheet.session.date.isoformat()
    date = epoch_date()
    return date.isoformat() if date else ""


def because_record(rule: str, nats: float | None) -> dict[str, Json]:
    """Return the rule that decided, and its lead to one place."""
    return {"rule": rule, "nats": None if nats is None else round(nats, 1)}
