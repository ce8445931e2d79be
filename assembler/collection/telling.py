"""A collection as CSV for a spreadsheet, as plain values for JSON, and its sums in lines."""

from __future__ import annotations

import csv
import io
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from assembler.collection.grouping import groups_of, sums_of
from assembler.collection.rows import SessionState
from assembler.record.joins import plain_cell
from assembler.verdict.states import shares_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assembler.collection.rows import Row

COLUMNS = (
    "session", "title", "state", "status", "places", "rolls", "roll_seconds", "seconds", "built", "build_seconds",
    "verified", "set_name", "set_bytes", "program", "digest", "sheet", "damage", "words",
)  # fmt: skip

_STATES = {
    SessionState.SAVED: "saved",
    SessionState.ASKS: "needs a person",
    SessionState.FAILED: "failed",
    SessionState.DAMAGED: "damaged",
}


def counted(count: int, what: str) -> str:
    """Return a number of things in words."""
    return f"{count} {what}{'s' * (count != 1)}"


def counted_state(count: int, state: SessionState) -> str:
    """Return a number of sessions of one state in words."""
    words = "need a person" if state is SessionState.ASKS and count != 1 else _STATES[state]
    return f"{count} {words}"


def session_state_words(state: SessionState) -> str:
    """Return the state of a session as it is read."""
    return _STATES[state]


def collection_csv(rows: Sequence[Row]) -> str:
    """Return one line a session, its transfer notes after the columns that all have; CR LF as RFC 4180 has them.

    A text that a spreadsheet would compute has an apostrophe before it. What several reels say of one note stands in
    one cell, parted by semicolons.

    Args:
        rows: the last one of each session.
    """
    keys = sorted({key for row in rows for reel in row.reels for key in reel.prepared})
    out = io.StringIO(newline="")
    table = csv.writer(out)
    table.writerow([*COLUMNS, *(plain_cell(f"prepared {key}") for key in keys)])
    for row in rows:
        values = [getattr(row, name) for name in COLUMNS]
        notes = [
            "; ".join(dict.fromkeys(reel.prepared[key] for reel in row.reels if key in reel.prepared))
            for key in keys
        ]
        cells = [*values, *notes]
        table.writerow([plain_cell(str(cell)) if isinstance(cell, str) else cell for cell in cells])
    return out.getvalue()


def collection_json(rows: Sequence[Row]) -> dict[str, Any]:
    """Return a collection as plain values: sessions as the ledger has them, sums, groups.

    Args:
        rows: the last one of each session.
    """
    sums = sums_of(rows)
    return {
        "sessions": [row.model_dump(mode="json") for row in rows],
        "sums": {
            **asdict(sums),
            "sessions": {str(state): count for state, count in sums.sessions.items()},
            "seconds": {str(state): round(seconds, 3) for state, seconds in sums.seconds.items()},
        },
        "groups": [asdict(group) for group in groups_of(rows)],
    }


def sums_lines(rows: Sequence[Row]) -> list[str]:
    """Return the sums of a collection in lines.

    Args:
        rows: the last one of each session.
    """
    sums = sums_of(rows)
    counts = [counted_state(count, state) for state, count in sums.sessions.items() if count]
    whole = sum(sums.seconds.values())
    shares = {state: seconds / whole if whole else 0.0 for state, seconds in sums.seconds.items()}
    can_stand = ", of tapes that can stand another play" if sums.rolls else ""
    lines = [
        f"{counted(len(rows), 'session')}, {counted(sums.tapes, 'tape')}: {', '.join(counts)}",
        f"{whole / 3600:.1f} h of tape: {shares_words(shares)}",
        f"To play again: {counted(sums.rolls, 'roll')}, {sums.roll_seconds / 60:.1f} min{can_stand}",
        f"Sets: {sums.set_bytes / 1e9:.1f} GB, {sums.unverified} not verified since they were built",
    ]
    return lines if rows else ["No session is in the ledger yet"]
