"""One order done, in whichever process: a set built, or recognised, or verified, and the row that comes of it."""

from __future__ import annotations

import datetime as dt
import os
import time
from functools import cached_property
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING

from assembler.batch.digests import (
    inputs_digest,
    record_digest,
    seen_digest,
    session_files,
    set_digest,
    shape_digest,
)
from assembler.collection import ReelRow, Row
from assembler.consolidator import build_set, check_sheet, verify_set
from assembler.errors import AssemblerError, CaptureError, PublishError
from assembler.known import open_known
from assembler.printable import printable
from assembler.record.record import record_text
from assembler.record.recorded.reading import read_unwritten
from assembler.record.values import SOFTWARE
from assembler.retakes import find_retakes
from assembler.sheet import load_sheet
from assembler.verdict.states import shares_of, worst_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assembler.aligner import Edit
    from assembler.batch.orders import Order
    from assembler.consolidator import SessionResult
    from assembler.sheet import Sheet

MOST_SETS = 9999
MOST_WORDS = 400
MOST_ASKED = 3
"""Questions that a row tells; the set's page has all."""


def do(order: Order) -> Row:
    """Return the row that comes of an order. A session that cannot be built is a row, too."""
    try:
        if order.program != SOFTWARE:
            return failed_row(
                order, f"the worker is {SOFTWARE}, the batch {order.program}; allowed: the same"
            )
        return _verified(order) if order.kind == "verify" else _Build(order).row()
    except AssemblerError as error:
        words = str(error)
    except MemoryError as error:
        words = str(error) or "out of memory"
    except OSError as error:
        words = f"{error.filename or order.row.sheet}: {error.strerror or error}"
    except Exception as error:  # noqa: BLE001 - whatever it is, other sessions go on
        words = f"a fault of the program, please report it: {type(error).__name__}: {error}"
    return failed_row(order, words)


def failed_row(order: Order, words: str) -> Row:
    """Return the row of an order that came to nothing."""
    told = _short(words)
    if order.kind == "verify":
        # Whether the set is whole is not known now: what was known of it stays.
        return order.row.model_copy(update={"words": told})
    return order.row.model_copy(update={"status": 2, "words": told, "program": SOFTWARE})


def now() -> str:
    """Return the time, UTC, to the millisecond."""
    return dt.datetime.now(dt.UTC).replace(tzinfo=None).isoformat(timespec="milliseconds") + "Z"


class _Build:
    """One session on its way to a row: recognised, found again, or built.

    Args:
        order: what is asked.
    """

    def __init__(self, order: Order) -> None:
        self._order, self._session = order, order.row.session
        self._sheet = load_sheet(order.row.sheet, allow_outside=order.allow_outside)
        self._files = session_files(self._sheet)
        self._shape = shape_digest(self._sheet, self._files)
        self._seen = seen_digest(self._sheet, self._files)
        self._known = open_known(order.cache_mebibytes)
        self._began = time.monotonic()

    @cached_property
    def _digest(self) -> str:
        """What a set would be made from: every file is read, so only where a set stands that may be this one's."""
        return inputs_digest(self._sheet, self._files)

    def row(self) -> Row:
        """Return the row of a set that stands already, or else of a new one."""
        for row in self._order.same:
            if row.digest == self._digest:
                return row.model_copy(
                    update={"session": self._session, "sheet": self._order.row.sheet, "seen": self._seen}
                )
        for target in self._targets():
            found = self._found(target) or self._built(target) or self._found(target)
            if found is not None:
                return found
        raise PublishError(
            f"{self._order.root}: too many sets of {self._session} stand there; take some away"
        )

    def _targets(self) -> Iterator[Path]:
        numbered = (f"{self._session}.{number}" for number in range(2, MOST_SETS + 1))
        for name in chain([self._session], numbered):
            if name not in self._order.taken:
                yield Path(self._order.root) / name

    def _found(self, target: Path) -> Row | None:
        """Return the row of a set of these very files that nobody could tell of any more; None if it is none."""
        if not os.path.lexists(target) or set_digest(target) != self._digest:
            return None
        result = check_sheet(self._sheet, known=self._known)
        return self._row(result, target, self._digest)

    def _built(self, target: Path) -> Row | None:
        """Return the row of a new set; None where something has its name, be it since a moment ago."""
        if os.path.lexists(target):
            return None
        try:
            outside = self._order.allow_outside
            result = build_set(self._order.row.sheet, target, allow_outside=outside, known=self._known)
        except PublishError:
            if os.path.lexists(target):
                return None
            raise
        recorded = read_unwritten(record_text(result.record))
        return self._row(result, target, record_digest(recorded, result.sheet.text))

    def _row(self, result: SessionResult, target: Path, digest: str) -> Row:
        asked = _asked(result.edit)
        return self._order.row.model_copy(
            update={
                "status": 0 if result.edit.is_sound else 1,
                "set_name": target.name,
                "set_bytes": _size_of(target),
                "places": len(asked),
                "reels": _reels(result, self._order.row.reels),
                "digest": digest,
                "seen": self._seen,
                "shape": self._shape,
                "program": SOFTWARE,
                "built": now(),
                "build_seconds": round(time.monotonic() - self._began, 3),
                "verified": "",
                "damage": "",
                "words": _short("; ".join(asked[:MOST_ASKED])),
                "title": result.sheet.session.title,
            }
        )


def _asked(edit: Edit) -> list[str]:
    """Return what asks for a person: uncured places, and notes with a question."""
    places = [
        f"reel {one.reel}, {one.track.name}: {one.kind}" for one in edit.uncured if one.accepted is None
    ]
    return [note.text for note in edit.notes if note.needs_a_person] + places


def _reels(result: SessionResult, reels: tuple[ReelRow, ...]) -> tuple[ReelRow, ...]:
    retakes = {one.name: one for one in find_retakes(result.sheet, result.edit).reels}
    prepared = {reel.name: reel.prepared for reel in reels}
    return tuple(
        ReelRow(
            name=name,
            prepared=prepared.get(name, {}),
            seconds=round(_covered_seconds(result.sheet, result, name), 3),
            states={str(state): share for state, share in _shares(result, name).items()},
            rolls=one.rolls,
            roll_seconds=round(one.seconds, 3),
        )
        for name, one in retakes.items()
    )


def _shares(result: SessionResult, reel: str) -> dict[str, float]:
    shares = shares_of(worst_of(result.edit.states.get(reel, ())))
    return {state.value: round(share, 6) for state, share in shares.items()}


def _covered_seconds(sheet: Sheet, result: SessionResult, reel: str) -> float:
    stretches = worst_of(result.edit.states.get(reel, ()))
    return (stretches[-1].end - stretches[0].start) / sheet.session.sample_rate if stretches else 0.0


def _verified(order: Order) -> Row:
    row, target = order.row, Path(order.root) / order.row.set_name
    try:
        if os.path.lexists(target):
            problems = verify_set(target).problems
            damage = [f"{one.path}: {one.text}" if one.path else one.text for one in problems]
        else:
            damage = ["the set is not there any more"]
    except CaptureError as error:
        damage = [error.problem]
    more = f", and {len(damage) - 1} more" if len(damage) > 1 else ""
    told = f"{damage[0]}{more}" if damage else ""
    return row.model_copy(update={"verified": now(), "damage": _short(told)})


def _size_of(folder: Path) -> int:
    return sum((Path(path) / name).stat().st_size for path, _, names in os.walk(folder) for name in names)


def _short(words: str) -> str:
    shown = printable(words)
    return shown if len(shown) <= MOST_WORDS else f"{shown[: MOST_WORDS - 1]}…"
