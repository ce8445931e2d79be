"""What is asked of a worker, what any pool of workers can do, what came of it. An order is plain: one line of text."""

# pydantic reads the annotations while the program runs: no postponed evaluation in this module.
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, Protocol

from pydantic import BaseModel, ConfigDict

from assembler.collection import Row
from assembler.record.values import SOFTWARE


class Order(BaseModel):
    """One session to build, or one set to verify.

    Args:
        kind: which of the two.
        program: of the batch, with its version: a worker that is another one refuses.
        root: of the collection, from the root of the file system.
        row: what is known of the session; what comes of the order is this row with other values.
        taken: names that older sets of the session have, or had.
        same: rows of sets that may be made from the very same files.
        needed_bytes: that the set will take, about.
        allow_outside: the sheet's paths may lead out of its folder.
        cache_mebibytes: of what is known between runs; 0 for none.
    """

    model_config = ConfigDict(frozen=True)

    kind: Literal["build", "verify"]
    program: str = SOFTWARE
    root: str
    row: Row
    taken: tuple[str, ...] = ()
    same: tuple[Row, ...] = ()
    needed_bytes: int = 0
    allow_outside: bool = False
    cache_mebibytes: int = 0


@dataclass(frozen=True)
class Done:
    """What came of an order: a row; or None, where its worker died.

    ``is_final`` where the pool itself has tried as often as it will.
    """

    order: Order
    row: Row | None
    is_final: bool = False


def is_undone(row: Row, order: Order) -> bool:
    """Return whether an order came to nothing: no set, or nothing new known of one."""
    return row.status not in (0, 1) if order.kind == "build" else row.verified == order.row.verified


def is_recognised(row: Row, order: Order) -> bool:
    """Return whether a set stood already that was made from the very files of the order."""
    return any(row.set_name == one.set_name and row.digest == one.digest for one in order.same)


def done_words(row: Row, order: Order) -> str:
    """Return what came of an order in a line."""
    if order.kind == "verify" and not is_undone(row, order):
        return f"{row.session}: {f'damaged: {row.damage}' if row.damage else 'whole'}"
    state = (
        {0: "saved", 1: "needs a person"}.get(row.status, "failed")
        if order.kind == "build"
        else "not verified"
    )
    return f"{row.session}: {state}{f': {row.words}' if row.words else ''}"


class Pool(Protocol):
    """Workers, of whatever kind. Whoever has made it closes it."""

    def room(self) -> int:
        """Return how many orders more the workers could begin now."""

    def give(self, order: Order) -> None:
        """Have an order done; only while there is room."""

    def wait(self, seconds: float) -> list[Done]:
        """Return what was done since the last call, after so many seconds at most if nothing was.

        Raises:
            ClusterError: the workers cannot be reached any more.
        """

    def close(self) -> None:
        """End the workers and what they are at: nothing half done is left where they are this machine's."""


@dataclass(frozen=True)
class BatchResult:
    """What came of a batch.

    Args:
        root: of the collection.
        rows: what was done, a row each, in the order in which it ended.
        is_sound: whether every set is built, and leaves nothing for a person to decide; of sets that were verified,
            whether each was found whole.
        kept: rows of sessions whose sets stood already.
        left: how many were not begun when time was up.
        undone: how many orders came to nothing.
    """

    root: Path
    rows: tuple[Row, ...]
    is_sound: bool
    kept: tuple[Row, ...] = ()
    left: int = 0
    undone: int = 0
