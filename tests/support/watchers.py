"""Watches for tests: the real command on a growing folder, and the watch itself with files that a test grows."""

from __future__ import annotations

import json
import os
import queue
import signal
import subprocess
import sys
import threading
import time
from typing import TYPE_CHECKING, Any, Self

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

PATIENCE = 240.0
"""Seconds that a test waits for an event: far more than it takes, since machines that run tests are busy."""


class Watcher:
    """``assembler watch --json`` in a process of its own. Use as a context manager: it is ended.

    Args:
        source: folder or sheet.
        options: further arguments.
    """

    def __init__(self, source: Path, *options: str, as_json: bool = True) -> None:
        command = [sys.executable, "-m", "assembler", "watch", str(source), *options]
        environment = {**os.environ, "PYTHONUNBUFFERED": "1"}
        self.process = subprocess.Popen(
            [*command, *(["--json"] if as_json else [])],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env=environment,
        )
        self.lines: list[str] = []
        self._new: queue.Queue[str] = queue.Queue()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self._new.put(line.rstrip("\n"))

    @property
    def events(self) -> list[dict[str, Any]]:
        """All events so far."""
        return [json.loads(line) for line in self.lines]

    def wait_for(self, is_it: Callable[[dict[str, Any]], bool], seconds: float = PATIENCE) -> dict[str, Any]:
        """Return the first event that is as wanted, of those that came and those that will."""
        for event in self.events:
            if is_it(event):
                return event
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            try:
                self.lines.append(self._new.get(timeout=0.2))
            except queue.Empty:
                assert self.process.poll() is None, self.stderr()
                continue
            event = self.events[-1]
            if is_it(event):
                return event
        raise AssertionError(f"not told within {seconds} s; told: {self.lines[-20:]}")

    def take(self, seconds: float) -> list[str]:
        """Return the next line as a list, an empty one if none comes in time."""
        try:
            return [self._new.get(timeout=seconds)]
        except queue.Empty:
            return []

    def interrupt(self) -> int:
        """Press Ctrl-C and return the exit status; all that was printed is in ``lines``."""
        self.process.send_signal(signal.SIGINT)
        status = self.process.wait(PATIENCE)
        self._reader.join(10)
        while not self._new.empty():
            self.lines.append(self._new.get())
        return status

    def stderr(self) -> str:
        """Return what stands on standard error; the process has ended."""
        assert self.process.stderr is not None
        return self.process.stderr.read()

    def __enter__(self) -> Self:
        """Return the watcher."""
        return self

    def __exit__(self, *_: object) -> None:
        """End the process."""
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        for stream in (self.process.stdout, self.process.stderr):
            if stream is not None:
                stream.close()
