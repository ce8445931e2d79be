"""The one place that decides what happens next: orders given, deaths counted, rows written."""

from __future__ import annotations

import os
import shutil
import time
from collections import Counter, deque
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from assembler.batch.finding import find_sessions
from assembler.batch.orders import BatchResult, Order, done_words, is_recognised, is_undone
from assembler.batch.queueing import due_builds, due_verifications, is_in_time, may_start
from assembler.batch.workers.cluster import ClusterPool
from assembler.batch.workers.doing import failed_row
from assembler.batch.workers.pool import EmbeddedPool
from assembler.collection import (
    Collection,
    Ledger,
    Row,
    SessionState,
    check_root,
    has_ledger,
    read_collection,
)
from assembler.crew import cores
from assembler.errors import PublishError
from assembler.publishing.disk import size_words

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from assembler.batch.orders import Pool
    from assembler.inputs import AnyPath

    Progress = Callable[[str, float], None]
    Tell = Callable[[str], None]

CACHE_MEBIBYTES = 256
WAIT_SECONDS = 1.0
RETRIES = 2


def build_collection(
    folders: Sequence[AnyPath] | AnyPath,
    root: AnyPath,
    *,
    jobs: int | None = None,
    retries: int = RETRIES,
    scheduler: str | None = None,
    allow_outside: bool = False,
    cache_mebibytes: int = CACHE_MEBIBYTES,
    progress: Progress = lambda *_: None,
    tell: Tell = lambda _: None,
) -> BatchResult:
    """Build a set of every session in folders, as far as its set does not stand already.

    Args:
        folders: that hold sheets, at any depth; one alone is allowed.
        root: folder of the collection; it is made if only it is missing.
        jobs: sessions at once; as many as there are cores, or threads of the cluster's workers, unless said.
        retries: how often a session is given to another worker after one has died of it.
        scheduler: address of a Dask cluster's scheduler; processes of this machine do the work if there is none.
        allow_outside: sheets' paths may lead out of their folders.
        cache_mebibytes: of what is known between runs, on each machine; 0 for none.
        progress: called with what is being done and the share of it that is done.
        tell: called with a line for each session that has ended.

    Raises:
        CaptureError: a folder cannot be looked through.
        SheetError: there is no sheet in them.
        LedgerError: the root cannot be used, or another batch is at work there.
        PublishError: the sets will not fit on the disk.
        ClusterError: the cluster cannot be reached, or is gone. What is in the ledger by then stands.
    """
    root = Path(os.path.abspath(root))  # noqa: PTH100 - links are not followed
    check_root(root)
    before = read_collection(root).history if has_ledger(root) else ()
    given = [folders] if isinstance(folders, (str, os.PathLike)) else folders
    paths = [Path(folder) for folder in given]
    sessions = find_sessions(paths, root, before, progress, allow_outside=allow_outside)
    blank = Order(
        kind="build",
        root=str(root),
        row=Row(session="", sheet=""),
        allow_outside=allow_outside,
        cache_mebibytes=cache_mebibytes,
    )

    def stands(name: str) -> bool:
        return (root / name / "data/assembly.json").is_file()

    _check_room(root, due_builds(sessions, before, blank, stands).orders)
    with _at_work(root, scheduler, jobs) as (ledger, pool):
        due = due_builds(sessions, ledger.history, blank, stands)
        for row in due.renewed:
            ledger.append(row)
        run = _Run(ledger, pool, retries, progress, tell)
        rows = run.builds(due.orders)
    kept = (*due.kept, *run.kept)
    is_sound = all(row.state is SessionState.SAVED for row in (*rows, *kept))
    return BatchResult(root, tuple(rows), is_sound, kept, undone=run.undone)


def verify_collection(
    root: AnyPath,
    *,
    within_hours: float | None = None,
    jobs: int | None = None,
    retries: int = RETRIES,
    scheduler: str | None = None,
    progress: Progress = lambda *_: None,
    tell: Tell = lambda _: None,
) -> BatchResult:
    """Verify the sets of a collection, those first that were not looked at for longest.

    Args:
        root: of the collection.
        within_hours: so long at most: none is begun that, by the rate so far, would not end in time. None for all.
        jobs: as for ``build_collection``, as are the others.
        retries: as there.
        scheduler: as there.
        progress: as there.
        tell: as there.

    Raises:
        LedgerError: the root holds no ledger, or a batch is at work there.
        ClusterError: the cluster cannot be reached, or is gone.
    """
    root = Path(os.path.abspath(root))  # noqa: PTH100 - links are not followed
    read_collection(root)
    with _at_work(root, scheduler, jobs) as (ledger, pool):
        rows = Collection(root, tuple(ledger.history)).rows
        orders = due_verifications(rows, Order(kind="verify", root=str(root), row=Row(session="", sheet="")))
        run = _Run(ledger, pool, retries, progress, tell)
        done = run.verifications(orders, None if within_hours is None else 3600 * within_hours)
    is_sound = not run.undone and not any(row.damage for row in done)
    return BatchResult(root, tuple(done), is_sound, left=len(orders) - len(done), undone=run.undone)


class _Run:
    """Orders on their way through a pool."""

    def __init__(self, ledger: Ledger, pool: Pool, retries: int, progress: Progress, tell: Tell) -> None:
        self._ledger, self._pool, self._retries = ledger, pool, retries
        self._progress, self._tell = progress, tell
        self._at_work: list[Order] = []
        self._rows: list[Row] = []
        self._deaths: Counter[str] = Counter()
        self._began = time.monotonic()
        self.undone = 0
        self.kept: list[Row] = []

    def builds(self, orders: Sequence[Order]) -> list[Row]:
        """Return the rows of all orders, in the order in which they ended."""

        def may(order: Order) -> bool:
            return may_start(order, self._at_work, shutil.disk_usage(self._ledger.root).free)

        return self._run(deque(orders), len(orders), may, "building sets")

    def verifications(self, orders: Sequence[Order], seconds: float | None) -> list[Row]:
        """Return the rows of as many orders as end in the time given."""
        waiting = deque(orders)

        def may(order: Order) -> bool:
            if seconds is None:
                return True
            elapsed = time.monotonic() - self._began
            read = sum(row.set_bytes for row in self._rows)
            rate = read / elapsed / max(1, len(self._at_work) + 1) if read else None
            if is_in_time(order, rate, seconds - elapsed):
                return True
            if not self._at_work or elapsed >= seconds:
                waiting.clear()
            return False

        return self._run(waiting, len(orders), may, "verifying sets")

    def _run(self, waiting: deque[Order], count: int, may: Callable[[Order], bool], what: str) -> list[Row]:
        while waiting or self._at_work:
            while waiting and self._pool.room() > 0 and may(waiting[0]):
                order = waiting.popleft()
                self._pool.give(order)
                self._at_work.append(order)
            for done in self._pool.wait(WAIT_SECONDS):
                self._at_work.remove(done.order)
                row = done.row
                if row is None:
                    row = self._after_death(done.order, is_final=done.is_final)
                if row is None:
                    waiting.appendleft(done.order)
                    continue
                self._ledger.append(row)
                (self.kept if is_recognised(row, done.order) else self._rows).append(row)
                self.undone += is_undone(row, done.order)
                ended = len(self._rows) + len(self.kept)
                self._tell(f"{ended} of {count}: {done_words(row, done.order)}")
                self._progress(what, ended / count)
        return self._rows

    def _after_death(self, order: Order, *, is_final: bool) -> Row | None:
        """Return the row of an order whose workers died too often; None if it may be tried again."""
        name = order.row.session
        self._deaths[name] += 1
        if self._deaths[name] <= self._retries and not is_final:
            self._tell(f"{name}: its worker died; it is tried again")
            return None
        times = "again and again" if is_final else f"{self._deaths[name]} times"
        return failed_row(order, f"its worker died {times}: killed, or out of memory")


@contextmanager
def _at_work(root: Path, scheduler: str | None, jobs: int | None) -> Iterator[tuple[Ledger, Pool]]:
    """Give the ledger, locked, and workers; a cluster that cannot be reached is reported before anything is written."""
    with ExitStack() as opened:
        pool: Pool | None = None
        if scheduler is not None:
            pool = ClusterPool(scheduler, jobs)
            opened.callback(pool.close)
        ledger = opened.enter_context(Ledger(root))
        if pool is None:
            pool = EmbeddedPool(jobs or cores(), ledger.descriptor)
            opened.callback(pool.close)
        yield ledger, pool


def _check_room(root: Path, orders: Iterable[Order]) -> None:
    # A set that is likely to be recognised takes no room.
    needed = sum(order.needed_bytes for order in orders if not order.same)
    place = root if root.is_dir() else root.parent
    free = shutil.disk_usage(place).free
    if free < needed:
        raise PublishError(
            f"{place}: the sets need about {size_words(needed)}, but {size_words(free)} are free; nothing was built"
        )
