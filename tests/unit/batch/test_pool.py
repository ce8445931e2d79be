"""Workers of a batch, forked or started anew: each is on its own, and none is left."""

from __future__ import annotations

import os
import signal
from pathlib import Path

import pytest

from assembler.batch.workers.pool import EmbeddedPool
from tests.support.processes import has_ended_within, run_apart

needs_tasks = pytest.mark.skipif(
    not Path("/proc/self/task").is_dir(), reason="the system does not tell a process its threads"
)

PROGRAM = """
import os, signal, sys, threading, time
from assembler.batch.orders import Order
from assembler.batch.workers import pool as pool_module
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
for name in "third", "fourth":
    pool.give(order(name))
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


TOLD_TWICE = """
first, second = workers()
os.kill(first, signal.SIGSTOP)

def interrupt(*_):
    raise KeyboardInterrupt

pool_module._PATIENCE_SECONDS = 1.0
signal.signal(signal.SIGALRM, interrupt)
signal.setitimer(signal.ITIMER_REAL, 0.2)
try:
    pool.close()
    print("closed")
except KeyboardInterrupt:
    print("interrupted", len(workers()))
"""

CLEARING_UP = """
import assembler.batch.workers.worker as worker_module

def slow(order):
    try:
        print("begun", file=sys.stderr, flush=True)
        time.sleep(60)
    finally:
        os.kill(os.getpid(), signal.SIGTERM)
        time.sleep(0.1)
        print("cleared", file=sys.stderr, flush=True)

worker_module.do = slow
pool.close()
pool = EmbeddedPool(1)
pool.give(order("third"))
time.sleep(0.5)
pool.close()
"""


@needs_tasks
def test_a_second_interrupt_leaves_no_worker_that_is_waited_for(tmp_path: Path) -> None:
    """One that hangs is killed all the same, when patience is at its end: the process can end."""
    ran = run_apart(tmp_path, PROGRAM + TOLD_TWICE, "alone")
    assert (ran.returncode, ran.stdout, ran.stderr) == (0, "interrupted 0\n", "")


@needs_tasks
def test_a_second_signal_does_not_strike_the_clearing_up(tmp_path: Path) -> None:
    """A system that shuts down ends batch and workers at once, and the batch its workers once more."""
    ran = run_apart(tmp_path, PROGRAM + CLEARING_UP, "alone")
    assert (ran.returncode, ran.stderr.splitlines()) == (0, ["begun", "cleared"])


def test_what_lies_where_the_batch_was_started_is_not_loaded(tmp_path: Path) -> None:
    """A worker that is started anew looks for modules where the batch does, and nowhere else."""
    here = tmp_path / "here"
    here.mkdir()
    (here / "queue.py").write_text("raise SystemExit('not this one')", encoding="utf-8")
    ran = run_apart(
        tmp_path, PROGRAM.replace("pool = ", f"os.chdir({str(here)!r})\npool = ") + ANSWERED, "threads"
    )
    assert (ran.returncode, ran.stderr) == (0, "")
    assert ran.stdout.splitlines()[:2] == ["first 2 True", "second 2 True"]


def test_one_order_at_a_time_is_least() -> None:
    """A pool without workers would be waited for without end."""
    assert EmbeddedPool(-1).room() == 1


LOST = """
def loses(order):
    print("begun", file=sys.stderr, flush=True)
    try:
        time.sleep(60)
    except KeyboardInterrupt:
        return order.row

worker_module.do = loses
"""


@needs_tasks
def test_an_interrupt_that_is_lost_ends_a_worker_after_its_order(tmp_path: Path) -> None:
    """Code of others may take it for its own: the worker does not wait for another order, nor the batch for it."""
    before, ours, after = CLEARING_UP.partition("worker_module.do = slow\n")
    timed = "began = time.monotonic()\npool.close()\nprint(time.monotonic() - began < 10)\n"
    program = PROGRAM + before + LOST + after.removesuffix("pool.close()\n") + timed
    ran = run_apart(tmp_path, program, "alone")
    assert ours
    assert (ran.returncode, ran.stdout, ran.stderr) == (0, "True\n", "begun\n")
