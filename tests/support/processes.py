"""Programs run in processes of their own."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path


def run_apart(folder: Path, program: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    """Run a program of one thread; what it prints goes to files, which workers that are left cannot keep waiting."""
    script = folder / "program.py"
    script.write_text(program, encoding="utf-8")
    environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1", "PYTHONPATH": str(Path.cwd())}
    command = [sys.executable, str(script), *arguments]
    with (folder / "out").open("w+") as out, (folder / "err").open("w+") as err:
        ran = subprocess.run(command, env=environment, stdout=out, stderr=err, timeout=40, check=False)
        out.seek(0)
        err.seek(0)
        return subprocess.CompletedProcess(command, ran.returncode, out.read(), err.read())


def has_ended_within(process: int, seconds: float) -> bool:
    """Return whether a process is gone, or ended and waited for by nobody, before so long."""
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        try:
            state = Path(f"/proc/{process}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()[0]
        except OSError:
            return True
        if state == "Z":
            return True
        time.sleep(0.05)
    return False
