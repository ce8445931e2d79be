"""What is due, in which order, and what may start now. Nothing here looks at the disk."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from assembler.collection import Row, latest_rows, whole_sets
from assembler.record.values import SOFTWARE

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from assembler.batch.finding import FoundSession
    from assembler.batch.orders import Order


@dataclass(frozen=True)
class Due:
    """What a batch has to do.

    Args:
        orders: largest first.
        kept: rows of sessions whose sets stand already, as they are to be: nothing is to be done.
        renewed: of these, the rows that the ledger does not have yet.
    """

    orders: tuple[Order, ...]
    kept: tuple[Row, ...]
    renewed: tuple[Row, ...]


def due_builds(
    sessions: Iterable[FoundSession],
    history: Sequence[Row],
    order: Order,
    stands: Callable[[str], bool],
) -> Due:
    """Return what is to be built, and what is kept.

    Args:
        sessions: as they lie on disk.
        history: all rows of the ledger.
        order: what holds for every order, with any row.
        stands: whether a set of this name is in its place.
    """
    latest = latest_rows(history)
    sets = [row for row in whole_sets(history).values() if row.program == SOFTWARE and stands(row.set_name)]
    by_seen = {row.seen: row for row in sets if row.seen}
    by_shape: dict[str, list[Row]] = {}
    for row in sets:
        by_shape.setdefault(row.shape, []).append(row)
    names: dict[str, set[str]] = {}
    for row in history:
        if row.set_name:
            names.setdefault(row.session, set()).add(row.set_name)
    orders, kept, renewed = [], [], []
    for one in sessions:
        own, before = one.row, latest.get(one.row.session)
        whole = by_seen.get(own.seen) if own.seen else None
        if whole is not None:
            row = whole.model_copy(update={"session": own.session, "sheet": own.sheet})
            kept.append(row)
            if row != before:
                renewed.append(row)
            continue
        orders.append(
            order.model_copy(
                update={
                    "row": own if before is None else _carried(own, before),
                    "taken": tuple(sorted(names.get(own.session, ()))),
                    "same": tuple(by_shape.get(own.shape, ())) if own.shape else (),
                    "needed_bytes": one.needed_bytes,
                }
            )
        )
    orders.sort(key=lambda one: -one.needed_bytes)
    return Due(tuple(orders), tuple(kept), tuple(renewed))


def _carried(own: Row, before: Row) -> Row:
    """Return a row of what lies on disk now, with the set that stands from an earlier build."""
    return own.model_copy(
        update={
            name: getattr(before, name) for name in ("set_name", "set_bytes", "built", "verified", "damage")
        }
    )


def due_verifications(rows: Iterable[Row], order: Order) -> list[Order]:
    """Return an order for each session that has a set; what was not looked at for longest comes first."""
    found = [row for row in rows if row.set_name]
    found.sort(key=lambda row: row.verified or row.built)
    return [order.model_copy(update={"kind": "verify", "row": row}) for row in found]


def may_start(order: Order, at_work: Iterable[Order], free_bytes: int) -> bool:
    """Return whether an order's set has room on the disk beside those at work.

    These may have written much of theirs already: that is counted twice, so that the disk never fills. Where nothing
    is at work the build itself tells that there is no room.
    """
    reserved = [one.needed_bytes for one in at_work]
    return not reserved or sum(reserved) + order.needed_bytes <= free_bytes


def is_in_time(order: Order, rate: float | None, seconds_left: float) -> bool:
    """Return whether verifying a set would end in time, at so many bytes a second; None before one was measured."""
    return seconds_left > 0 and (rate is None or order.row.set_bytes <= rate * seconds_left)
