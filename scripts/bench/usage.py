"""What all processes of a command take together: processor seconds and memory, as the system counts them."""

from __future__ import annotations

import os
import subprocess
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path

EVERY_SECONDS = 0.02
TICKS = os.sysconf("SC_CLK_TCK")


@dataclass
class Usage:
    """What was seen of a command.

    Args:
        seconds: by the clock.
        stages: name, clock seconds and processor seconds of each stage, in order.
        resident: most mebibytes resident at once, summed over processes: what they share counts for each.
        own: the same with what processes share counted once.
        processes: most at once.
    """

    seconds: float = 0.0
    stages: list[tuple[str, float, float]] = field(default_factory=list)
    resident: float = 0.0
    own: float = 0.0
    processes: int = 0

    @property
    def processor(self) -> float:
        """Processor seconds of all processes."""
        return sum(spent for _, _, spent in self.stages)


def measured(command: list[str], allowed: tuple[int, ...] = (0,), folder: Path | None = None) -> Usage:
    """Run a command in a session of its own and return what it took; lines it prints name its stages.

    Args:
        command: what to run.
        allowed: statuses that are no failure.
        folder: where to run it, so that Python takes a checkout there; here unless given.

    Raises:
        SystemExit: it ended with a status that is not allowed.
    """
    usage = Usage()
    started = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, start_new_session=True, cwd=folder)
    watch = _Watch(process.pid, usage)
    begun, spent, stage = started, 0.0, "start"
    for line in process.stdout or ():
        now, used = time.perf_counter(), watch.look()
        usage.stages.append((stage, now - begun, used - spent))
        begun, spent, stage = now, used, line.strip()
    status = process.wait()
    watch.stop()
    usage.seconds = time.perf_counter() - started
    usage.stages.append((stage, time.perf_counter() - begun, watch.spent - spent))
    if status not in allowed:
        raise SystemExit(f"{command} ended with {status}")
    return usage


class _Watch:
    """Looks at all processes of a session again and again."""

    def __init__(self, session: int, usage: Usage) -> None:
        self._session, self._usage = session, usage
        self._spent: dict[int, float] = {}
        self._others: set[str] = set()
        self._memory_at = 0.0
        self._lock = threading.Lock()
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    @property
    def spent(self) -> float:
        """Processor seconds of all processes seen, to the last look."""
        return sum(self._spent.values())

    def look(self) -> float:
        """Look now, and return the processor seconds so far."""
        with self._lock:
            resident = own = 0.0
            found = 0
            is_due = time.perf_counter() - self._memory_at > 5 * EVERY_SECONDS
            # Whose processes are others' is asked once: else looking takes a fifth of a core from what is looked at.
            for name in set(os.listdir("/proc")) - self._others:  # noqa: PTH208 - a path for each takes longer
                folder = Path("/proc", name)
                fields = _fields(folder) if name.isdigit() else []
                if not fields or int(fields[3]) != self._session:
                    self._others.add(name)
                    continue
                found += 1
                self._spent[int(name)] = (int(fields[11]) + int(fields[12])) / TICKS
                if is_due:
                    sizes = _sizes(folder)
                    resident, own = resident + sizes.get("Rss", 0), own + sizes.get("Pss", 0)
            if is_due:
                self._memory_at = time.perf_counter()
            self._usage.processes = max(self._usage.processes, found)
            self._usage.resident = max(self._usage.resident, resident / 1024)
            self._usage.own = max(self._usage.own, own / 1024)
            return self.spent

    def stop(self) -> None:
        """Look no more."""
        self._ended.set()
        self._thread.join()

    def _run(self) -> None:
        while not self._ended.wait(EVERY_SECONDS):
            self.look()


def _fields(folder: Path) -> list[str]:
    """Return what the system says of a process, from its state on; nothing where it is gone."""
    try:
        return (folder / "stat").read_text().rpartition(")")[2].split()
    except OSError:
        return []


def _sizes(folder: Path) -> dict[str, int]:
    """Return the sizes of a process in kibibytes; nothing where it is gone."""
    try:
        lines = (folder / "smaps_rollup").read_text().splitlines()[1:]
    except OSError:
        return {}
    return {name: int(rest.split()[0]) for name, _, rest in (line.partition(":") for line in lines)}
