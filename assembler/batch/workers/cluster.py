"""Workers of a Dask cluster: the same orders, sent as text to machines that see the same folders."""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING, Any

from assembler.batch.orders import Done, Order
from assembler.batch.workers.doing import do, failed_row
from assembler.collection import read_row, row_line
from assembler.errors import ClusterError
from assembler.record.values import SOFTWARE

if TYPE_CHECKING:
    from collections.abc import Callable

_CONNECT_SECONDS = 10
_WORKERS_SECONDS = 30
EXTRA = "pip install 'capture-assembler[cluster]'"


def do_text(order: str) -> str:
    """Return, as text, the row that comes of an order given as text: what a cluster's worker runs."""
    return row_line(do(Order.model_validate_json(order))).decode("ascii")


def program_name() -> str:
    """Return what a worker is, with its version."""
    return SOFTWARE


class ClusterPool:
    """The workers of a Dask cluster.

    Args:
        address: of its scheduler, ``tcp://host:port``.
        jobs: orders at once, at most; None for as many as the workers have threads.
        work: what a worker runs.

    Raises:
        ClusterError: the libraries are missing, the scheduler cannot be reached, or it has no workers that can load
            this very program.
    """

    def __init__(self, address: str, jobs: int | None, work: Callable[[str], str] = do_text) -> None:
        try:
            import distributed  # noqa: PLC0415 - an extra: the program does without it
        except ImportError as error:
            raise ClusterError(f"a cluster needs libraries that are missing ({error}): {EXTRA}") from error
        self._dask: Any = distributed
        self._jobs, self._work, self._address = jobs, work, address
        self._orders: dict[Any, Order] = {}
        self._count = 0
        try:
            # A client that is made with an address of no sense waits at its end, and complains.
            with_scheme = address if "://" in address else f"tcp://{address}"
            self._dask.comm.get_address_host_port(with_scheme, strict=True)
        except ValueError as error:
            words = f'the scheduler "{address}" cannot be reached: {_line(error)}; allowed: tcp://host:port'
            raise ClusterError(f"{words}; nothing was built") from error
        try:
            self._client: Any = distributed.Client(
                address, timeout=_CONNECT_SECONDS, set_as_default=False, direct_to_workers=False
            )
        except (OSError, ValueError, TypeError, ImportError) as error:
            raise ClusterError(
                f"the scheduler {address} cannot be reached: {_line(error)}; nothing was built"
            ) from error
        try:
            self._check_workers()
        except BaseException:
            self._client.close()
            raise

    def _check_workers(self) -> None:
        """Raise ClusterError unless a worker is there that can load this very program."""
        try:
            self._client.wait_for_workers(1, timeout=_WORKERS_SECONDS)
        except (TimeoutError, OSError) as error:
            raise ClusterError(f"the scheduler {self._address} has no workers; nothing was built") from error
        try:
            program = self._client.submit(program_name, pure=False).result(timeout=_WORKERS_SECONDS)
        except Exception as error:
            raise ClusterError(
                f"the workers of {self._address} cannot load the program: {_line(error)}; nothing was built"
            ) from error
        if program != SOFTWARE:
            words = f"the workers of {self._address} are {program}; allowed: {SOFTWARE}; nothing was built"
            raise ClusterError(words)

    def room(self) -> int:
        """Return how many orders more the workers could begin now."""
        try:
            threads: int = sum(self._client.nthreads().values())
        except Exception as error:
            raise self._lost(error) from error
        return max(1, threads if self._jobs is None else min(self._jobs, threads)) - len(self._orders)

    def give(self, order: Order) -> None:
        """Have an order done."""
        self._count += 1
        future = self._client.submit(
            self._work,
            order.model_dump_json(),
            pure=False,
            key=f"assembler-{self._count}-{order.row.session}",
        )
        self._orders[future] = order

    def wait(self, seconds: float) -> list[Done]:
        """Return what was done since the last call, after so many seconds at most if nothing was."""
        if not self._orders:
            return []
        try:
            with self._client.as_current():
                self._dask.wait(list(self._orders), timeout=seconds, return_when="FIRST_COMPLETED")
        except TimeoutError:
            pass
        except Exception as error:
            raise self._lost(error) from error
        return [self._done(future) for future in list(self._orders) if future.done()]

    def close(self) -> None:
        """Take back what was not begun. What is begun elsewhere comes to its end there, and the next batch finds it."""
        with suppress(Exception):
            self._client.cancel(list(self._orders))
        with suppress(Exception):
            self._client.close(timeout=5)

    def _done(self, future: Any) -> Done:  # noqa: ANN401 - the library has no types here
        order = self._orders.pop(future)
        try:
            return Done(order, read_row(future.result(timeout=_CONNECT_SECONDS)))
        except self._dask.KilledWorker:
            return Done(order, None, is_final=True)
        except self._dask.CancelledError as error:
            raise self._lost(error) from error
        except Exception as error:  # noqa: BLE001 - whatever a worker says instead of a row
            return Done(order, failed_row(order, f"the worker cannot do it: {_line(error)}"))

    def _lost(self, error: Exception) -> ClusterError:
        return ClusterError(
            f"the scheduler {self._address} is gone: {_line(error)}; sets that stand are kept: run the same again"
        )


def _line(error: BaseException) -> str:
    return " ".join((str(error) or type(error).__name__).split())
