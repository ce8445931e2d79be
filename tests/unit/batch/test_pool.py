"""Workers of a batch, forked or started anew: each is on its own, and none is left."""

from __future__ import annotations

import os
import signal
from pathlib import Path

import pytest

from tests.support.processes import has_ended_within, run_apart

needs_tasks = pytest.mark.skipif(
    not Path("/proc/self/task").is_dir(), reason="the system does not tell a process its threads"
)

PROGRAM = """
import os, signal, sys, threading, time
from assembler.batch.orders import Order
from assembler.batch.workers.pool import EmbeddedPool
from assembler.collection import Row

def order(name):
    return Order(kind="build", root="none", row=Row(session=name, sheet="no such sheet"))

def workers():
    with open(f"/proc/self/task/{os.getpid()}/children") as listed:
        return [int(word) for word in listed.read().split()]

def command(process):
    with open(f"/proc/{process}/cmdline") as read:
        return read.read()

ended = threading.Event()
if sys.argv[1] == "threads":
    threading.Thread(target=ended.wait, daemon=True).start()
pool = EmbeddedPool(2)
for name in "first", "second":
    pool.give(order(name))
rows = []
while len(rows) < 2:
    rows += pool.wait(10)
"""

ANSWERED = """
for done in sorted(rows, key=lambda done: done.order.row.session):
    print(done.row.session, done.row.status, "no such sheet" in done.row.words)
print(*(command(one) == command("self") for one in workers()))
print(*(os.getsid(one) == one for one in workers()))
pool.close()
print(len(workers()))
"""

KILLED = """
first, second = workers()
for process in first, second:
    os.kill(process, signal.SIGSTOP)
    pool.give(order(str(process)))
os.kill(second, signal.SIGKILL)
print(*(done.row is None for done in pool.wait(10)))
os.kill(first, signal.SIGKILL)
print(*(done.row is None for done in pool.wait(10)))
"""

LEFT = """
first, second = workers()
os.kill(second, signal.SIGSTOP)
print(first, second, flush=True)
os.kill(os.getpid(), signal.SIGKILL)
"""


@needs_tasks
@pytest.mark.parametrize(("threads", "forked"), [("alone", True), ("threads", False)])
def test_workers_are_forked_where_no_other_thread_runs(tmp_path: Path, threads: str, *, forked: bool) -> None:
    """They do the same, in sessions of their own, out of reach of Ctrl-C; and end with their pool."""
    ran = run_apart(tmp_path, PROGRAM + ANSWERED, threads)
    assert (ran.returncode, ran.stderr) == (0, "")
    assert ran.stdout.splitlines() == [
        "first 2 True",
        "second 2 True",
        f"{forked} {forked}",
        "True True",
        "0",
    ]


@needs_tasks
@pytest.mark.parametrize("threads", ["alone", "threads"])
def test_a_death_is_seen_whatever_the_other_worker_does(tmp_path: Path, threads: str) -> None:
    """No worker holds the ends of another one's pipes."""
    ran = run_apart(tmp_path, PROGRAM + KILLED, threads)
    assert (ran.returncode, ran.stdout.split()) == (0, ["True", "True"]), ran.stderr


@needs_tasks
@pytest.mark.parametrize("threads", ["alone", "threads"])
def test_workers_of_a_killed_batch_end_whatever_the_other_one_does(tmp_path: Path, threads: str) -> None:
    """The input of each ends with the batch: no other worker holds it open."""
    ran = run_apart(tmp_path, PROGRAM + LEFT, threads)
    first, second = map(int, ran.stdout.split())
    try:
        assert has_ended_within(first, 10)
    finally:
        os.kill(second, signal.SIGKILL)
