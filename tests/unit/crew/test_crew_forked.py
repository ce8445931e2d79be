"""A process of one thread forks its crew, and one with more has the fork server start it: workers do and end alike."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

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
    with Crew(2) as crew:
        found += crew.map(stay, range(2))
    ended.set()
    print(len({worker for worker, _ in found}), {starter for _, starter in found} == {os.getpid()})
"""


@pytest.mark.skipif(not Path("/proc/self/task").exists(), reason="only here a process can count its threads")
@pytest.mark.parametrize(("threads", "told"), [("none", "5 True"), ("threads", "5 False")])
def test_workers_are_forked_where_no_thread_can_hold_a_lock(tmp_path: Path, threads: str, told: str) -> None:
    """Two crews after one another: all workers have tasks, end with their crew, and have the starter that is told."""
    script = tmp_path / "crew_of_its_own.py"
    script.write_text(SCRIPT, encoding="utf-8")
    environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1", "PYTHONPATH": str(Path.cwd())}
    ran = subprocess.run(
        [sys.executable, str(script), threads],
        env=environment,
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    assert (ran.stdout.strip(), ran.stderr) == (told, "")
