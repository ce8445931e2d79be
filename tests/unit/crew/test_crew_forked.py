"""A process of one thread forks its crew, and one with more has the fork server start it: workers do and end alike."""

from __future__ import annotations

import os
import signal
from pathlib import Path

import pytest

from tests.support.processes import has_ended_within, run_apart

SCRIPT = """
import os, sys, threading, time
from assembler.crew import Crew

def stay(_):
    time.sleep(0.2)
    return os.getpid(), os.getppid()

if __name__ == "__main__":
    ended = threading.Event()
    if sys.argv[1] == "threads":
        threading.Thread(target=ended.wait).start()
    with Crew(3) as crew:
        found = list(crew.map(stay, range(6)))
    # A thread that was joined is the system's a moment longer, and would have the next workers started apart.
    while len(os.listdir("/proc/self/task")) > 1 + (sys.argv[1] == "threads"):
        time.sleep(0.01)
    with Crew(2) as crew:
        found += crew.map(stay, range(2))
    ended.set()
    print(len({worker for worker, _ in found}), {starter for _, starter in found} == {os.getpid()})
"""

KILLED = """
import multiprocessing, os, signal, time
from assembler.crew import Crew

if __name__ == "__main__":
    with Crew(2) as crew:
        list(crew.map(time.sleep, (0.2, 0.2)))  # both are at work by then
        tasks = [crew.submit(time.sleep, 60) for _ in range(2)]
        first, last = sorted(one.pid for one in multiprocessing.active_children())
        print(first, last, flush=True)
        os.kill(last, signal.SIGSTOP)
        os.kill(os.getpid(), signal.SIGKILL)
"""
INTERRUPTED = """
import signal, time
from assembler.crew import Crew

if __name__ == "__main__":
    signal.signal(signal.SIGALRM, signal.default_int_handler)
    try:
        with Crew(2) as crew:
            crew.submit(time.sleep, 60)
            signal.setitimer(signal.ITIMER_REAL, 0.5)
    except KeyboardInterrupt:
        print("interrupted")
"""
LIMITED = """
import os, resource
from assembler.crew import Crew
from assembler.errors import WorkerError

if __name__ == "__main__":
    # One file more can be opened, and no two: as many as are open are listed, and the list itself is one.
    most = len(os.listdir("/proc/self/fd"))
    resource.setrlimit(resource.RLIMIT_NOFILE, (most, resource.getrlimit(resource.RLIMIT_NOFILE)[1]))
    try:
        with Crew(2) as crew:
            crew.submit(os.getpid)
    except WorkerError as error:
        print(error)
"""
needs_tasks = pytest.mark.skipif(
    not Path("/proc/self/task").exists(), reason="only here a process can count its threads"
)


@needs_tasks
@pytest.mark.parametrize(("threads", "told"), [("none", "5 True"), ("threads", "5 False")])
def test_workers_are_forked_where_no_thread_can_hold_a_lock(tmp_path: Path, threads: str, told: str) -> None:
    """Two crews after one another: all workers have tasks, end with their crew, and have the starter that is told."""
    ran = run_apart(tmp_path, SCRIPT, threads)
    assert (ran.returncode, ran.stdout.strip(), ran.stderr) == (0, told, "")


@needs_tasks
def test_no_worker_waits_for_another_one_to_end_with_their_starter(tmp_path: Path) -> None:
    """The starter is killed while its last worker is stopped: the first one ends all the same."""
    ran = run_apart(tmp_path, KILLED)
    first, last = map(int, ran.stdout.split())
    try:
        assert ran.returncode == -signal.SIGKILL
        assert has_ended_within(first, 10)
    finally:
        os.kill(last, signal.SIGKILL)


def test_an_interrupt_while_the_last_tasks_are_waited_for_ends_them(tmp_path: Path) -> None:
    """Whoever leaves a crew whose tasks go on, and waits no longer, leaves no worker behind."""
    ran = run_apart(tmp_path, INTERRUPTED)
    assert (ran.returncode, ran.stdout.strip(), ran.stderr) == (0, "interrupted", "")


@needs_tasks
def test_too_few_open_files_are_told_as_what_they_are(tmp_path: Path) -> None:
    """Where a worker's connection cannot be made, that is one line, and says what needs none."""
    ran = run_apart(tmp_path, LIMITED)
    assert (ran.returncode, ran.stderr) == (0, "")
    assert "no worker process can be started" in ran.stdout
    assert "--jobs 1 needs none" in ran.stdout
